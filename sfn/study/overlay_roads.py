"""Roads out of an overlay: its lines, those of one name that meet end to end taken as one, ready to drive along.

| symbol | name | unit |
|---|---|---|
| R | roads | |
| V | vertices of a road | |
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.field.around import METRES_PER_DEGREE_M
from sfn.geodesy.line import inverse
from sfn.report.numbers import number
from sfn.study.overlay import SIMPLIFIED_M
from sfn.survey.track import Track, track_of

Floats = NDArray[np.float64]

# Natural Earth is drawn for maps at 1:10 million: a tenth of a millimetre on one. From memory, not looked up.
FETCHED_BESIDE_M = 1000.0


@dataclass(frozen=True, slots=True)
class Road:
    """One line of an overlay.

    Parameters
    ----------
    number : int
        Its place in the list, from 0, the longest first.
    name : str
        Empty where the overlay has none.
    lat_deg, lon_deg : ndarray, shape (V,)
        [degrees]
    length_m : float
        Along geodesics between its vertices. [m]
    """

    number: int
    name: str
    lat_deg: Floats
    lon_deg: Floats
    length_m: float


@dataclass(frozen=True, slots=True)
class NearRoad:
    """A road beside a place. [m]"""

    road: Road
    away_m: float


def roads_of(document: Mapping[str, Any]) -> tuple[Road, ...]:
    """The lines of an overlay, shape (R,), the longest first.

    Parameters
    ----------
    document : mapping
        GeoJSON of `sfn.study.overlay.Overlay`. Pieces that bear one name and meet end to end, where no third one of
        that name begins, are one road; lines without a name stay as they are.
    """
    import shapely

    named: dict[str, list[Any]] = {}
    lines: list[tuple[str, Any]] = []
    for feature in document["features"]:
        kind, held = feature["geometry"]["type"], feature["geometry"]["coordinates"]
        parts = {"LineString": [held], "MultiLineString": held}.get(kind, [])
        pieces = [shapely.linestrings(part) for part in parts]
        name = str((feature.get("properties") or {}).get("name") or "")
        if name and pieces:
            named.setdefault(name, []).extend(pieces)
        else:
            lines += [("", piece) for piece in pieces]
    for name, pieces in named.items():
        merged = shapely.line_merge(shapely.multilinestrings(pieces))
        lines += [(name, one) for one in shapely.get_parts(merged)]
    measured = []
    for name, line in lines:
        lon, lat = shapely.get_coordinates(line).T
        length_m = float(inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])[0].sum())
        if length_m > 0:
            measured.append((length_m, name, lat, lon))
    measured.sort(key=lambda one: (-one[0], one[1], tuple(one[2][:1])))
    return tuple(Road(n, name, lat, lon, length_m) for n, (length_m, name, lat, lon) in enumerate(measured))


def roads_near(roads: tuple[Road, ...], lat_deg: float, lon_deg: float, *, within_m: float) -> tuple[NearRoad, ...]:
    """Roads that pass a place, the nearest first.

    Parameters
    ----------
    roads : tuple of Road
    lat_deg, lon_deg : float
        [degrees]
    within_m : float
        At most so far. [m] Up to some tens of kilometres; the earth counts as a sphere (0.6 % of the distance).
    """
    east_m = METRES_PER_DEGREE_M * float(np.cos(np.radians(lat_deg)))
    found = []
    for road in roads:
        x, y = (road.lon_deg - lon_deg) * east_m, (road.lat_deg - lat_deg) * METRES_PER_DEGREE_M
        if x.min() > within_m or x.max() < -within_m or y.min() > within_m or y.max() < -within_m:
            continue
        away_m = _away(x, y)
        if away_m <= within_m:
            found.append(NearRoad(road, away_m))
    return tuple(sorted(found, key=lambda one: one.away_m))


def _away(x: Floats, y: Floats) -> float:
    """Distance of the origin from a line of straight pieces. [as x and y]"""
    dx, dy = np.diff(x), np.diff(y)
    square = dx * dx + dy * dy
    share = np.clip(-(x[:-1] * dx + y[:-1] * dy) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    return float(np.hypot(x[:-1] + share * dx, y[:-1] + share * dy).min())


def road_track(
    roads: tuple[Road, ...], chosen: int, named: str, *, overlay: str, fetched: bool, credit: str = ""
) -> Track:
    """A road as a line to drive along, with what is doubtful of where it lies.

    Parameters
    ----------
    roads : tuple of Road
    chosen : int
        Number of the road.
    named : str
        Its name, as the page showed it.
    overlay : str
        What the overlay is called.
    fetched : bool
        Whether it is one that `country` brought.
    credit : str
        Whose data its lines are.

    Raises
    ------
    PlanError
        If there is no such road, or another one now.
    """
    if not 0 <= chosen < len(roads) or roads[chosen].name != named:
        what = f"{overlay} has no such road any more"
        raise PlanError([Problem("road", what, "one that the page shows now", code="road-gone", fields=("road",))])
    road = roads[chosen]
    name = f"{road.name or 'a line'} ({overlay})"
    made = track_of(list(zip(road.lat_deg.tolist(), road.lon_deg.tolist(), strict=True)), source=name)
    off_m = FETCHED_BESIDE_M if fetched else SIMPLIFIED_M
    own = f"{number(SIMPLIFIED_M, 0)} m beside the line of its file"
    off = "a kilometre or more beside the road" if fetched else own
    what = f"is taken as the overlay draws it, cut to the network's area: it may lie {off}"
    told = Problem(
        name, what, "a track driven with a receiver, where metres count", "warning", code="road-drawn",
        values={"beside_m": off_m},
    )  # fmt: skip
    return Track(name, made.lat_deg, made.lon_deg, (*made.problems, told), credit)
