"""Zones of P.1812 made of what somebody has: water classes of a land cover, or polygons of land or sea.

| zone | P.1812, 3.3 | rule here |
|---|---|---|
| sea | seas, water that holds a circle of 100 km | water 2 km wide, of 100 km2, and low; or such a circle |
| coast | land within 50 km of the sea, below 100 m | distance to the nearest sea sample, height where known |
| inland | all other land | |

Made once, kept as a raster of its own that the network then names: paths and maps read it like any other.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import rasterio.features
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.terrain.cover import ZONE_VALUES
from sfn.terrain.dem import Terrain, window
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid, sample_nearest
from sfn.terrain.meaning import CLASSES, HOLDS_TAG
from sfn.terrain.sea import COAST_KM

COAST_HEIGHT_M = 100.0
OPEN_M = 1000.0
LEAST_SEA_KM2 = 100.0
CIRCLE_KM = 50.0
# The tide, and what elevation models have of the sea's level.
SEA_LEVEL_M = 10.0
# 400 x 400 km at 200 m.
MOST_SAMPLES = 4_000_000
POLYGON_STEP_DEG = 1.0 / 480.0
MOST_POLYGON_BYTES = 50_000_000

Bools = NDArray[np.bool_]
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Zones:
    """Zones made, and what they rest on.

    Parameters
    ----------
    grid : HeightGrid
        0 inland, 1 coast, 2 sea; NaN where the source says nothing.
    says : tuple of str
        The rule in words, and what was assumed.
    """

    grid: HeightGrid
    says: tuple[str, ...]

    @property
    def shares_pct(self) -> dict[str, float]:
        """Part of the known area that each zone has. [%]"""
        known = self.grid.height_m[np.isfinite(self.grid.height_m)]
        return {
            name: 100.0 * float(np.mean(known == value)) if known.size else 0.0 for name, value in ZONE_VALUES.items()
        }


def zones_of_classes(cover: Terrain, *, water: tuple[int, ...], terrain: Terrain | None, bounds_deg: Bounds) -> Zones:
    """Zones of a land cover whose classes of open water are named.

    Parameters
    ----------
    cover : Terrain
        Classes, opened with ``blended=False``.
    water : tuple of int
        Classes of sea and lakes.
    terrain : Terrain or None
        Heights: lakes lie above the sea, and coast below 100 m. None: every large lake counts as sea.
    bounds_deg : tuple of float
        South, west, north and east. [degrees]

    Raises
    ------
    PlanError
        If none of the classes occurs.
    """
    classes = _read(cover, bounds_deg)
    at_water = np.isin(classes.height_m, np.asarray(water, dtype=np.float32))
    if not at_water.any():
        named = ", ".join(str(number) for number in water)
        raise PlanError(
            [
                Problem(
                    "water", f"no sample of {cover.name} is of class {named}", "the classes of sea and lakes",
                    code="no-water-class", fields=("water",),
                )
            ]
        )  # fmt: skip
    height_m = _heights(terrain, classes)
    sea = open_sea(at_water, height_m=height_m, step_m=_steps_m(classes))
    rule = "water of 100 km² and more that is 2 km wide and lies at sea level, or holds a circle of 100 km"
    assumed = "no terrain is named, so large lakes count as sea"
    return _zones(classes, sea, height_m, (f"Sea is {rule}.", *((f"Assumed: {assumed}.",) if terrain is None else ())))


def zones_of_polygons(path: Path, *, of: str, terrain: Terrain | None, bounds_deg: Bounds) -> Zones:
    """Zones of a GeoJSON file with polygons of land, or of sea, in WGS84.

    Parameters
    ----------
    path : Path
    of : {'land', 'sea'}
        What its polygons are.
    terrain, bounds_deg
        As in `zones_of_classes`.

    Raises
    ------
    PlanError
        If the file is no GeoJSON of polygons, or none of them touches the area.
    """
    south, west, north, east = bounds_deg
    rows, columns = (int(np.ceil((b - a) / POLYGON_STEP_DEG)) for a, b in ((south, north), (west, east)))
    step = POLYGON_STEP_DEG * max(1.0, (rows * columns / MOST_SAMPLES) ** 0.5)
    rows, columns = (int(np.ceil((b - a) / step)) for a, b in ((south, north), (west, east)))
    shapes = _polygons(path)
    inside = rasterio.features.rasterize(
        shapes, out_shape=(rows, columns), transform=rasterio.transform.from_origin(west, north, step, step),
        fill=0, default_value=1, dtype="uint8",
    ).astype(np.bool_)  # fmt: skip
    if of == "sea" and not inside.any():
        raise PlanError(
            [Problem("coastline", f"no polygon of {path.name} touches the area of the network", "polygons of the sea",
                     code="no-polygons-here", fields=("coastline",))]
        )  # fmt: skip
    grid = HeightGrid(inside.astype(np.float32), north - step / 2, west + step / 2, step, step)
    sea = inside if of == "sea" else ~inside
    return _zones(grid, sea, _heights(terrain, grid), (f"Sea is by the polygons of {of} in {path.name}.",))


def open_sea(at_water: Bools, *, height_m: NDArray[np.float32], step_m: tuple[float, float]) -> Bools:
    """Where water is sea: no rivers, no ponds, no lakes above the sea but the largest.

    Parameters
    ----------
    at_water : ndarray of bool
    height_m : ndarray
        Terrain at the samples, NaN where not known: then it says nothing. [m]
    step_m : tuple of float
        Between rows, and between columns. [m]
    """
    from scipy.ndimage import distance_transform_edt, label

    from_land_m = distance_transform_edt(at_water, sampling=step_m)
    wide = from_land_m >= OPEN_M
    bodies, count = label(wide, structure=np.ones((3, 3)))
    keep = np.zeros(count + 1, dtype=np.bool_)
    for number in range(1, count + 1):
        own = bodies == number
        level = height_m[own & np.isfinite(height_m)]
        low = not level.size or abs(float(np.median(level))) <= SEA_LEVEL_M
        large = own.sum() * step_m[0] * step_m[1] >= LEAST_SEA_KM2 * 1e6
        keep[number] = (low and large) or float(from_land_m[own].max()) >= CIRCLE_KM * 1000.0
    core = keep[bodies]
    if not core.any():
        return np.asarray(core)
    return np.asarray(at_water & (distance_transform_edt(~core, sampling=step_m) <= 2.0 * OPEN_M))


def write_zones(made: Zones, folder: Path, *, stem: str = "zones") -> Path:
    """Keep zones as a GeoTIFF of classes 0, 1 and 2; the folder is made where need be.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    grid, path = made.grid, folder / f"{stem}.tif"
    values = np.where(np.isfinite(grid.height_m), grid.height_m, 255.0).astype(np.uint8)
    part = path.with_suffix(".part.tif")
    with rasterio.open(
        part, "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=1, dtype="uint8",
        crs="EPSG:4326", nodata=255, compress="deflate", tiled=True,
        transform=rasterio.transform.from_origin(
            grid.west_deg - grid.step_lon_deg / 2, grid.north_deg + grid.step_lat_deg / 2, grid.step_lon_deg,
            grid.step_lat_deg,
        ),
    ) as out:  # fmt: skip
        out.write(values, 1)
        out.update_tags(**{HOLDS_TAG: CLASSES}, zones="0 inland, 1 coast, 2 sea", rule=" ".join(made.says))
    part.replace(path)
    return path


def source_document(folder: str) -> dict[str, Any]:
    """The document's ``zones`` for what `write_zones` kept in a folder."""
    return {
        "folder": folder, "classes": [{"number": value, "zone": name} for name, value in ZONE_VALUES.items()]
    }  # fmt: skip


def _numbers(nested: Any) -> Iterator[float]:
    """Every number of nested lists."""
    for one in nested:
        if isinstance(one, list):
            yield from _numbers(one)
        else:
            yield float(one)


def _zones(grid: HeightGrid, sea: Bools, height_m: NDArray[np.float32], says: tuple[str, ...]) -> Zones:
    """Sea, and beside it coast, by distance and height."""
    from scipy.ndimage import distance_transform_edt

    values = np.zeros(sea.shape, dtype=np.float32)
    if sea.any():
        near = distance_transform_edt(~sea, sampling=_steps_m(grid)) <= COAST_KM * 1000.0
        values[near & ~(height_m >= COAST_HEIGHT_M)] = ZONE_VALUES["coast"]
    values[sea] = ZONE_VALUES["sea"]
    values[np.isnan(grid.height_m)] = np.nan
    rule = "Coast is land within 50 km of it and below 100 m (ITU-R P.1812, 3.3)."
    return Zones(HeightGrid(values, grid.north_deg, grid.west_deg, grid.step_lat_deg, grid.step_lon_deg), (*says, rule))


def _read(source: Terrain, bounds_deg: Bounds) -> HeightGrid:
    """A source inside bounds, coarse enough to be looked at whole."""
    south, west, north, east = bounds_deg
    return window(
        source, south_deg=south, west_deg=west, north_deg=north, east_deg=east, most_samples=MOST_SAMPLES
    )  # fmt: skip


def _heights(terrain: Terrain | None, grid: HeightGrid) -> NDArray[np.float32]:
    """Terrain at the samples of a grid, NaN where not known. [m]"""
    rows, columns = grid.height_m.shape
    if terrain is None:
        return np.full((rows, columns), np.nan, dtype=np.float32)
    lat = grid.north_deg - grid.step_lat_deg * np.arange(rows)
    lon = grid.west_deg + grid.step_lon_deg * np.arange(columns)
    held = _read(terrain, (float(lat[-1]), float(lon[0]), float(lat[0]), float(lon[-1])))
    return sample_nearest(held, lat[:, None], lon[None, :]).astype(np.float32)


def _steps_m(grid: HeightGrid) -> tuple[float, float]:
    """Between rows, and between columns in the middle of a grid. [m]"""
    middle_deg = grid.north_deg - grid.step_lat_deg * grid.height_m.shape[0] / 2
    narrow = float(np.cos(np.radians(middle_deg)))
    return METRES_PER_DEGREE_M * grid.step_lat_deg, METRES_PER_DEGREE_M * grid.step_lon_deg * narrow


def _polygons(path: Path) -> list[Any]:
    """The polygons of a GeoJSON file."""
    bad = Problem(
        "coastline", f"{path.name} is no GeoJSON with polygons", "a GeoJSON file of land or sea in WGS84, up to 50 MB",
        code="coastline-unreadable", fields=("coastline",),
    )  # fmt: skip
    try:
        if path.stat().st_size > MOST_POLYGON_BYTES:
            raise PlanError([bad])
        held = json.loads(path.read_text(encoding="utf-8"))
        features = held["features"] if held.get("type") == "FeatureCollection" else [held]
        shapes = [f["geometry"] if f.get("type") == "Feature" else f for f in features]
        # Numbers that are none, or not finite, would end GDAL's drawing in its own words.
        if not np.isfinite(list(_numbers([s["coordinates"] for s in shapes if s]))).all():
            raise PlanError([bad])
        found = [s for s in shapes if s and s["type"] in ("Polygon", "MultiPolygon") and s["coordinates"]]
        if not found or not all(rasterio.features.is_valid_geom(s) for s in found):
            raise PlanError([bad])
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise PlanError([bad]) from None
    return found
