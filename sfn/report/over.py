"""Lines and names that lie over a map: a user's own, and coast, borders and roads where they were fetched.

Whoever draws a map, as a picture or as a drawing of a page, takes them from here, so that they look alike on each and
whose data they are stands beside each.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Doubles = NDArray[np.float64]
LEAST_APART_PX = 1.0  # vertices nearer to each other than this are one on a drawing
MOST_NAMES_N = 12  # more would cover a drawing
# How each looks; webapp/static/map-over.js has the same for maps that move.
_INK = {"places": "#1c2a31", "names": "#1c2a31", "coast": "#1d4f73", "borders": "#3d3346", "roads": "#4a4a42"}
_WIDTHS = {"coast": 1.6, "borders": 1.8, "roads": 1.4}
_DASHES: dict[str, tuple[int, tuple[int, ...]]] = {"borders": (0, (7, 3, 2, 3))}
_OWN: tuple[tuple[str, tuple[int, ...]], ...] = (("#5a2a6b", ()), ("#7a2e12", (6, 3)), ("#16424c", (2, 4)))
_OWN_WIDTH = 2.0


@dataclass(frozen=True, slots=True)
class Over:
    """One set of lines and names.

    Parameters
    ----------
    key : str
        ``coast``, ``borders``, ``roads``, or whatever else it is kept under.
    name : str
        What people call it.
    credit : str
        Whose data it is; empty where nobody asked for that.
    document : mapping
        GeoJSON on WGS84: lines and points, each with its ``name`` where it has one.
    nth : int
        Its place among all of them, by which one's own sets are told apart.
    """

    key: str
    name: str
    credit: str
    document: Mapping[str, Any]
    nth: int = 0

    @property
    def ink(self) -> str:
        """Its colour on paper."""
        return _INK.get(self.key, _OWN[self.nth % len(_OWN)][0])

    @property
    def width(self) -> float:
        """Of its lines. [points, pixels]"""
        return _WIDTHS.get(self.key, _OWN_WIDTH)

    @property
    def dashes(self) -> tuple[int, tuple[int, ...]]:
        """Of its lines, as matplotlib has them; solid where there are none."""
        return _DASHES.get(self.key, (0, () if self.key in _INK else _OWN[self.nth % len(_OWN)][1]))


@dataclass(frozen=True, slots=True)
class DrawnOver:
    """One set on a drawing: the path of its lines and points in pixels, and names with their places."""

    key: str
    name: str
    credit: str
    path: str
    names: tuple[tuple[str, int, int], ...]


def credits_of(over: Sequence[Over]) -> str:
    """Whose data lies over a map, each once; empty where nobody asked for that."""
    return "; ".join(dict.fromkeys(one.credit for one in over if one.credit))


def lines_of(document: Mapping[str, Any]) -> Iterator[Doubles]:
    """Every line of a GeoJSON document, shape (N, 2): longitude, latitude. [degrees]"""
    for feature in document.get("features", ()):
        yield from _lines(feature.get("geometry") or {})


def points_of(document: Mapping[str, Any]) -> Iterator[tuple[str, float, float]]:
    """Every point: its name, empty where it has none, longitude and latitude. [degrees]"""
    for feature in document.get("features", ()):
        name = str((feature.get("properties") or {}).get("name") or "")
        for lon, lat in _points(feature.get("geometry") or {}):
            yield name, lon, lat


def drawn_over(
    over: Sequence[Over],
    *,
    north_deg: float,
    west_deg: float,
    lat_per_px: float,
    lon_per_px: float,
    width: int,
    height: int,
    taken: Sequence[tuple[int, int]] = (),
) -> tuple[DrawnOver, ...]:
    """What lies over a drawing whose degrees are evenly spaced, cut to it; sets with nothing on it are left out.

    Parameters
    ----------
    over : sequence of Over
    north_deg, west_deg : float
        The drawing's top left corner. [degrees]
    lat_per_px, lon_per_px : float
        [degrees]
    width, height : int
        [pixels]
    taken : sequence of (x, y)
        Where names stand already: none of a place is written on them. [pixels]
    """
    names_at = list(taken)
    made = []
    for one in over:
        pieces = []
        for line in lines_of(one.document):
            x, y = _pixels(line, north_deg, west_deg, lat_per_px, lon_per_px)
            pieces += [_path(x[part], y[part]) for part in _inside(x, y, width, height)]
        named: list[tuple[str, int, int]] = []
        for name, lon, lat in points_of(one.document):
            at = _pixels(np.array([[lon, lat]]), north_deg, west_deg, lat_per_px, lon_per_px)
            px, py = round(float(at[0][0])), round(float(at[1][0]))
            if not (0 <= px <= width and 0 <= py <= height):
                continue
            pieces.append(f"M{px - 2} {py}h4M{px} {py - 2}v4")
            room = all(abs(py - b) >= 11 or abs(px - a) >= 80 for a, b in names_at)
            if name and room and len(named) < MOST_NAMES_N:
                names_at.append((px, py))
                named.append((name, px, py))
        if pieces:
            made.append(DrawnOver(one.key, one.name, one.credit, "".join(pieces), tuple(named)))
    return tuple(made)


def _lines(geometry: Mapping[str, Any]) -> Iterator[Doubles]:
    """Lines of a geometry."""
    kind, at = geometry.get("type"), geometry.get("coordinates") or ()
    if kind == "LineString":
        yield np.array(at, dtype=np.float64)[:, :2]
    elif kind == "MultiLineString":
        for line in at:
            yield np.array(line, dtype=np.float64)[:, :2]
    elif kind == "GeometryCollection":
        for part in geometry.get("geometries", ()):
            yield from _lines(part)


def _points(geometry: Mapping[str, Any]) -> Iterator[tuple[float, float]]:
    """Points of a geometry."""
    kind, at = geometry.get("type"), geometry.get("coordinates") or ()
    if kind == "Point" and at:
        yield float(at[0]), float(at[1])
    elif kind == "MultiPoint":
        for lon, lat in at:
            yield float(lon), float(lat)
    elif kind == "GeometryCollection":
        for part in geometry.get("geometries", ()):
            yield from _points(part)


def _pixels(
    line: Doubles, north_deg: float, west_deg: float, lat_per_px: float, lon_per_px: float
) -> tuple[Doubles, Doubles]:
    """Places of a drawing, on whichever side of the date line it lies."""
    east = (line[:, 0] - west_deg + 180.0) % 360.0 - 180.0
    return east / lon_per_px, (north_deg - line[:, 1]) / lat_per_px


def _inside(x: Doubles, y: Doubles, width: int, height: int) -> Iterator[slice]:
    """Stretches of a line that touch the drawing, with the vertex before and after each."""
    away = 4 * max(width, height)  # a jump over the date line, or from far out of the drawing
    out = (x < 0) * 1 | (x > width) * 2 | (y < 0) * 4 | (y > height) * 8
    near = (np.abs(x) < away) & (np.abs(y) < away)
    seen = near[:-1] & near[1:] & ((out[:-1] & out[1:]) == 0) & (np.abs(np.diff(x)) < away)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(np.int8)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        yield slice(int(first), int(last) + 1)


def _path(x: Doubles, y: Doubles) -> str:
    """A line as an SVG path, vertices that stand on each other left out."""
    kept = [0]
    for k in range(1, len(x)):
        if k == len(x) - 1 or abs(x[k] - x[kept[-1]]) + abs(y[k] - y[kept[-1]]) >= LEAST_APART_PX:
            kept.append(k)
    return "M" + "L".join(f"{x[k]:.1f} {y[k]:.1f}" for k in kept)
