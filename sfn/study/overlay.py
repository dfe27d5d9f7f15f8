"""Lines and places of one's own over a map: clipped to the network's area, simplified, and what was lost said.

Areas are drawn by their outlines. Lines are simplified by Douglas and Peucker's rule (shapely), so that none moves by
more than `SIMPLIFIED_M`; what is kept is drawn, and its roads can be driven along (`sfn.study.overlay_roads`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

from sfn.country.sets import SETS, Bounds
from sfn.country.shelf import Shelf
from sfn.errors import PlanError
from sfn.report.numbers import number
from sfn.study.overlay_files import EXPECTED, MOST_VERTICES_N, kind_of, laid_out, refused
from sfn.units import counted, grouped

SIMPLIFIED_M = 10.0
LONGEST_DEGREE_M = 111_700.0  # of latitude, at a pole of WGS84; no degree is longer
MOST_KEPT_N = 100_000
MOST_NAMED_N = 300
"""Names that a map of a region can show; longer lists keep their shapes and lose their names."""
AROUND_RATIO = 0.1
GPX_VERTICES = ("track_points", "route_points")  # of lines that are there as lines
LONGEST_NAME_N, CUT = 80, "\N{HORIZONTAL ELLIPSIS}"
NAME_FIELDS = ("name", "NAME", "Name", "title", "label")


@dataclass(frozen=True, slots=True)
class Overlay:
    """Shapes for a map.

    Parameters
    ----------
    document : dict
        GeoJSON on WGS84: lines, multi-lines and points, each with its ``name`` where it has one.
    vertices_n : int
    says : tuple of str
        What was left out, cut and simplified.
    """

    document: dict[str, Any]
    vertices_n: int
    says: tuple[str, ...]


def read_overlay(content: bytes, *, bounds_deg: Bounds) -> Overlay:
    """Shapes of a file that somebody brings.

    Parameters
    ----------
    content : bytes
        GeoJSON, GPX, KML, GeoPackage or a zipped Shapefile.
    bounds_deg : tuple of float
        South, west, north and east of the network's area. [degrees]

    Raises
    ------
    PlanError
        If the file cannot be read, is too large, tells no coordinate system, or has nothing in the area.
    """
    kind = kind_of(content)
    with laid_out(content, kind) as path:
        return _read(path, bounds_deg)


def country_file(shelf: Shelf, key: str) -> Path | None:
    """The archive of coast, borders or roads, the last by name; None where none was fetched."""
    return max((shelf.folder / key).glob("*.zip"), default=None)


def country_overlay(shelf: Shelf, key: str, *, bounds_deg: Bounds) -> Overlay | None:
    """Coast or borders of Natural Earth, where they were fetched; None where they were not, or the area has none.

    Parameters
    ----------
    shelf : Shelf
    key : str
        ``coast``, ``borders`` or ``roads`` of `sfn.country.sets`.
    bounds_deg : tuple of float
        [degrees]
    """
    file = country_file(shelf, key)
    if file is None:
        return None
    try:
        found = read_overlay(file.read_bytes(), bounds_deg=bounds_deg)
    except PlanError as error:
        if error.problems[0].code == "nothing-here":
            return None
        raise
    return Overlay(found.document, found.vertices_n, (f"{SETS[key].attribution}.", *found.says))


def _read(path: Path, bounds_deg: Bounds) -> Overlay:
    """All layers of a file."""
    import shapely
    from pyogrio import list_layers
    from pyogrio.errors import DataLayerError, DataSourceError
    from pyogrio.raw import read

    west, east = bounds_deg[1], bounds_deg[3]
    high, wide = AROUND_RATIO * (bounds_deg[2] - bounds_deg[0]), AROUND_RATIO * (east - west)
    area = (west - wide, bounds_deg[0] - high, east + wide, bounds_deg[2] + high)
    shapes: list[NDArray[np.object_]] = []
    names: list[str] = []
    seen_n, vertices_n = 0, 0
    try:
        layers = [
            str(name) for name, geometry in list_layers(path) if geometry is not None and name not in GPX_VERTICES
        ]
        for layer in layers:
            # As text, for of dates nothing is needed and numpy 2.5 warns of what pyogrio makes of them.
            meta, _, held, fields = read(path, layer=layer, datetime_as_string=True)
            made = shapely.from_wkb(held)
            made = np.where(shapely.is_missing(made), shapely.Point(), made)
            vertices_n += int(shapely.get_num_coordinates(made).sum())
            if vertices_n > MOST_VERTICES_N:
                most = grouped(MOST_VERTICES_N)
                raise refused(f"the file has more than {most} vertices", "a file cut to the region", "file-too-large")
            seen_n += len(made)
            shapes.append(_on_wgs84(shapely.force_2d(made), meta.get("crs")))
            names += _names(list(meta["fields"]), fields, len(made))
    except (DataSourceError, DataLayerError, shapely.errors.ShapelyError, UnicodeDecodeError) as error:
        raise refused(f"the file cannot be read: {error}", EXPECTED, "file-unreadable") from None
    if not seen_n:
        raise refused("the file holds no shapes", EXPECTED, "file-empty")
    return _clipped(np.concatenate(shapes), names, area, seen_n)


def _clipped(shapes: NDArray[np.object_], names: list[str], area: Sequence[float], seen_n: int) -> Overlay:
    """Shapes inside the area, areas by their outlines, simplified."""
    import shapely

    is_area = np.isin(shapely.get_type_id(shapes), (3, 6))
    shapes = np.where(is_area, shapely.boundary(shapes), shapes)
    cut = shapely.clip_by_rect(shapes, *area)
    kept = ~shapely.is_empty(cut)
    if not kept.any():
        raise refused(
            "nothing in the file lies in the network's area",
            "shapes around the sites; is the coordinate system told right?", "nothing-here",
        )  # fmt: skip
    before_n = int(shapely.get_num_coordinates(cut).sum())
    made = shapely.simplify(cut[kept], SIMPLIFIED_M / LONGEST_DEGREE_M, preserve_topology=False)
    after_n = int(shapely.get_num_coordinates(made).sum())
    if after_n > MOST_KEPT_N:
        told, most = grouped(after_n), grouped(MOST_KEPT_N)
        raise refused(
            f"{told} vertices are left in the network's area", f"at most {most}: fewer kinds of lines", "file-too-large"
        )
    says = []
    if seen_n > int(kept.sum()):
        says.append(f"{grouped(seen_n - int(kept.sum()))} of {grouped(seen_n)} shapes lie outside the area: left out.")
    says.append(
        f"Cut to the network's area and a tenth around it: {', '.join(number(side, 3) + '°' for side in area)}."
    )
    if after_n < before_n:
        says.append(
            f"Simplified from {grouped(before_n)} to {grouped(after_n)} vertices: no line moved by more than "
            f"{number(SIMPLIFIED_M, 0)} m."
        )
    if is_area[kept].any():
        says.append("Areas are drawn by their outlines.")
    named = [name for name, here in zip(names, kept, strict=True) if here]
    if sum(map(bool, named)) > MOST_NAMED_N:
        says.append(f"More than {MOST_NAMED_N} names: none is shown.")
        named = [""] * len(named)
    if cut_n := sum(len(name) == LONGEST_NAME_N and name.endswith(CUT) for name in named):
        says.append(f"{counted(cut_n, 'name')} longer than {LONGEST_NAME_N} characters, cut there (“{CUT}”).")
    features = [
        {"type": "Feature", "properties": {"name": name} if name else {}, "geometry": _geometry(shape)}
        for shape, name in zip(made, named, strict=True)
        if not shape.is_empty
    ]
    return Overlay({"type": "FeatureCollection", "features": features}, after_n, tuple(says))


def _geometry(shape: Any) -> dict[str, Any]:
    """GeoJSON of a shape, to 0.1 m."""
    import json

    import shapely

    made: dict[str, Any] = json.loads(shapely.to_geojson(shapely.transform(shape, lambda at: np.round(at, 6))))
    return made


def _on_wgs84(shapes: NDArray[np.object_], system: str | None) -> NDArray[np.object_]:
    """Shapes with longitude and latitude on WGS84."""
    import shapely

    if not system:
        raise refused("no coordinate system is told", "one, or longitude and latitude on WGS84", "system-unknown")
    try:
        crs = CRS.from_user_input(system)
    except CRSError as error:
        raise refused(
            f"the coordinate system cannot be used: {error}", "one that PROJ knows", "system-unknown"
        ) from None
    if crs.equals("EPSG:4326", ignore_axis_order=True) or crs.equals("OGC:CRS84", ignore_axis_order=True):
        return shapes
    there = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)

    def carried(at: NDArray[np.float64]) -> NDArray[np.float64]:
        lon, lat = there.transform(at[:, 0], at[:, 1])
        return np.column_stack([lon, lat])

    made: NDArray[np.object_] = shapely.transform(shapes, carried)
    finite = np.isfinite(shapely.get_coordinates(made)).all()
    if not finite:
        raise refused("some shapes cannot be carried to WGS84", "shapes inside their coordinate system", "out-of-range")
    return made


def _names(fields: list[str], columns: Sequence[Any], count: int) -> list[str]:
    """What each shape is called; empty where nothing tells."""
    wanted = next((one for one in NAME_FIELDS if one in fields), None)
    if wanted is None:
        return [""] * count
    return ["" if text is None else _shown(str(text).strip()) for text in columns[fields.index(wanted)]]


def _shown(name: str) -> str:
    """A name as a map shows it; the end of what is cut stays to be seen."""
    return name if len(name) <= LONGEST_NAME_N else name[: LONGEST_NAME_N - 1] + CUT
