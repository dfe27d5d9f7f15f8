"""High ground within an area that sees a chosen place, or people who are not served: places to ask about for a mast.

A point counts that is the highest within the distance asked for, and rises above the lowest ground there. What sees
what is told over the bare ground, from an antenna of the height asked for, by the model of the levels.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.field.levels import levels_at
from sfn.field.transmitter import Transmitter
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located, locate
from sfn.plan import Network
from sfn.report.numbers import km, number
from sfn.study.mast import Mast, neighbour
from sfn.study.mast_table import power_like, shared_says
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid

Doubles = NDArray[np.float64]
Bounds = tuple[float, float, float, float]
Told = Callable[[str, float], None]

LEAST_RISE_M = 20.0
"""Above the lowest ground within the distance asked for: less is level ground. Common practice, from memory."""
LEAST_APART_M, MOST_APART_M = 200.0, 20_000.0
USUAL_APART_M = 2000.0
LOOKED_N = 150
"""Points from which it is looked at what they see; the highest."""
TARGETS_N = 300
"""Places that are looked for, the ones that count most."""
USUAL_MASTS_N = 10
MOST_SAMPLES = 30_000_000


@dataclass(frozen=True, slots=True)
class AskedGround:
    """What is looked for.

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north and east of the area. [degrees]
    antenna_m, erp_kw : float
        Of the transmitter that would stand there; the e.r.p. of the stronger plane. [m, kW]
    near : tuple of (name, latitude, longitude), optional
        The place that must be seen; none: people who are not served. [degrees]
    within_m : float, optional
        How far from that place it may be. [m]
    apart_m : float
        Least distance between two. [m]
    most_n : int
        How many, those that see most.
    like : str
        As in `sfn.study.placing_found.AskedPlacing`.
    """

    bounds_deg: Bounds
    antenna_m: float
    erp_kw: float
    near: tuple[str, float, float] | None = None
    within_m: float | None = None
    apart_m: float = USUAL_APART_M
    most_n: int = USUAL_MASTS_N
    like: str = ""


def high_ground(
    network: Network,
    asked: AskedGround,
    *,
    placed: Mapping[str, Located],
    ground: Ground,
    targets: tuple[Doubles, Doubles, Doubles],
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[tuple[Mast, ...], tuple[str, ...]]:
    """High ground as masts, those that see most first, and how they were found.

    Parameters
    ----------
    network : Network
    asked : AskedGround
    placed : mapping of site id to Located
    ground : Ground
    targets : latitudes, longitudes, weights
        Of places that are not served; not looked at where a place is named. [degrees, people or km2]
    progress : callable(phase, part), optional
    cancelled : callable, optional
        Says whether to stop; what was looked at by then is the answer.

    Raises
    ------
    PlanError
        If there is no terrain, a figure is out of its range, or there is no such ground.
    """
    _refuse(asked, ground)
    area = _area(asked)
    reach = _wider(area, asked.apart_m)
    heights = ground_window(
        ground, south_deg=reach[0], west_deg=reach[1], north_deg=reach[2], east_deg=reach[3], most_samples=MOST_SAMPLES
    ).terrain
    assert heights is not None  # refused above
    lat, lon, top_m, said = _tops(heights, area, asked)
    looked = min(lat.size, LOOKED_N)
    if looked < lat.size:
        said.append(f"of these the {LOOKED_N} highest were looked at, {lat.size - looked} were not")
    goals = _goals(asked, targets)
    seen = _seen(network, asked, ground, (lat[:looked], lon[:looked], top_m[:looked]), goals, progress, cancelled)
    order = [k for k in np.lexsort((-top_m[: seen.size], -seen)).tolist() if seen[k] > 0.0]
    what = asked.near[0] if asked.near else "any of the places that are not served"
    said.append(f"{seen.size - len(order)} of {seen.size} do not see {what} over the bare ground")
    if len(order) > asked.most_n:
        said.append(f"of the {len(order)} that do, the {asked.most_n} that see most are taken")
    if not order:
        none = f"no high ground here sees {what}: {'; '.join(said)}"
        raise PlanError([Problem("high_ground", none, "a wider area, a higher antenna, or masts of your own",
                                 code="no-high-ground", fields=("within_km",))])  # fmt: skip
    masts = []
    for n, k in enumerate(order[: asked.most_n], start=1):
        beside = neighbour(network, placed, float(lat[k]), float(lon[k]), asked.like)
        text = f"{lat[k]:.5f}, {lon[k]:.5f}"
        sees = "" if asked.near else f"; it sees {number(float(seen[k]), 0)} of those looked for"
        told = (
            "high ground of the terrain, not a mast: whether anything may be built there, and whether there is power "
            f"and a way, nobody has looked at{sees}"
        )
        mast_name = f"High ground {n} ({number(float(top_m[k]), 0)} m)"
        power = power_like(asked.erp_kw, beside)
        masts.append(
            Mast(
                mast_name, {"text": text}, locate(text=text), round(float(top_m[k]), 1), asked.antenna_m, power,
                said=(told, shared_says(beside)),
            )
        )  # fmt: skip
    return tuple(masts), tuple(said)


def _refuse(asked: AskedGround, ground: Ground) -> None:
    """Figures out of range, and no terrain to look in."""
    wrong = []
    if ground.terrain is None:
        expected = "terrain in the network's document, or masts of your own"
        wrong.append(Problem("terrain", "names no heights to look for high ground in", expected, code="no-terrain"))
    for name, value, least, most, unit in (
        ("apart_m", asked.apart_m, LEAST_APART_M, MOST_APART_M, "m"),
        ("antenna_m", asked.antenna_m, 1.0, 1000.0, "m"),
        ("erp_kw", asked.erp_kw, 1e-6, 10_000.0, "kW"),
        ("within_m", asked.within_m or LEAST_APART_M, LEAST_APART_M, 200_000.0, "m"),
        ("most_n", float(asked.most_n), 1.0, 100.0, "places"),
    ):
        if not least <= value <= most:
            expected = f"{least:g} to {most:g} {unit}"
            wrong.append(Problem(name, f"cannot be {value:g} {unit}", expected, code="out-of-range", fields=(name,)))
    if wrong:
        raise PlanError(wrong)


def _area(asked: AskedGround) -> Bounds:
    """The rectangle that is looked through: what is asked for, and about the place where one is named."""
    south, west, north, east = asked.bounds_deg
    if asked.near is None or asked.within_m is None:
        return asked.bounds_deg
    _, lat, lon = asked.near
    about = _wider((lat, lon, lat, lon), asked.within_m)
    return max(south, about[0]), max(west, about[1]), min(north, about[2]), min(east, about[3])


def _wider(bounds_deg: Bounds, by_m: float) -> Bounds:
    """A rectangle with so much more on each side."""
    south, west, north, east = bounds_deg
    up = by_m / METRES_PER_DEGREE_M
    across = up / max(float(np.cos(np.radians(max(abs(south), abs(north))))), 0.01)
    return max(-90.0, south - up), west - across, min(90.0, north + up), east + across


def _tops(heights: HeightGrid, area: Bounds, asked: AskedGround) -> tuple[Doubles, Doubles, Doubles, list[str]]:
    """Points that are the highest about them, the highest first: latitudes, longitudes, heights, and in words."""
    from scipy.ndimage import maximum_filter, minimum_filter

    known = np.isfinite(heights.height_m)
    if not known.any():
        raise PlanError([Problem("terrain", "has no height in this area", "an area that it covers", code="no-terrain")])
    middle_deg = (area[0] + area[2]) / 2
    down_m = heights.step_lat_deg * METRES_PER_DEGREE_M
    along_m = heights.step_lon_deg * METRES_PER_DEGREE_M * max(float(np.cos(np.radians(middle_deg))), 0.01)
    size = tuple(2 * max(1, int(asked.apart_m / step)) + 1 for step in (down_m, along_m))
    high = np.where(known, heights.height_m, -np.inf)
    low = np.where(known, heights.height_m, np.inf)
    rise = high - minimum_filter(low, size=size, mode="nearest")
    row, column = np.nonzero(known & (high == maximum_filter(high, size=size, mode="nearest")) & (rise >= LEAST_RISE_M))
    lat = heights.north_deg - row * heights.step_lat_deg
    lon = heights.west_deg + column * heights.step_lon_deg
    top = heights.height_m[row, column].astype(np.float64)
    inside = (lat >= area[0]) & (lat <= area[2]) & (lon >= area[1]) & (lon <= area[3])
    if asked.near is not None and asked.within_m is not None:
        inside &= inverse(np.full(lat.size, asked.near[1]), np.full(lat.size, asked.near[2]), lat, lon)[0] <= (
            asked.within_m
        )
    order = np.flatnonzero(inside)[np.argsort(-top[inside], kind="stable")]
    kept: list[int] = []
    for k in order.tolist():
        here = np.full(len(kept), lat[k]), np.full(len(kept), lon[k])
        if not kept or float(inverse(*here, lat[kept], lon[kept])[0].min()) >= asked.apart_m:
            kept.append(k)
    where = f" within {km(asked.within_m, 0)} of {asked.near[0]}" if asked.near and asked.within_m else " in the area"
    said = [
        f"{len(kept)} points{where} are the highest within {km(asked.apart_m, 1)} each way and rise "
        f"{LEAST_RISE_M:g} m or more above the lowest ground there, heights every {number(down_m, 0)} m"
    ]
    if near := order.size - len(kept):
        said.append(f"{near} as high, nearer than that to another, were left out")
    if heights.averaged_n > 1:
        said.append(f"heights are means of {heights.averaged_n} x {heights.averaged_n} samples: sharp tops are missed")
    lats, lons, tops = (np.asarray(one[kept], dtype=np.float64) for one in (lat, lon, top))
    return lats, lons, tops, said


def _goals(asked: AskedGround, targets: tuple[Doubles, Doubles, Doubles]) -> tuple[Doubles, Doubles, Doubles]:
    """What must be seen: the place, or the places not served that count most."""
    if asked.near is not None:
        return np.array([asked.near[1]]), np.array([asked.near[2]]), np.ones(1)
    most = np.argsort(-targets[2], kind="stable")[:TARGETS_N]
    lat, lon, weight = (one[most[targets[2][most] > 0.0]] for one in targets)
    if not lat.size:
        what, expected = "nobody is without service: there is nobody to see", "a place that must be seen"
        raise PlanError([Problem("high_ground", what, expected, code="all-served", fields=("near",))])
    return lat, lon, weight


def _seen(
    network: Network, asked: AskedGround, ground: Ground, tops: tuple[Doubles, Doubles, Doubles],
    goals: tuple[Doubles, Doubles, Doubles], progress: Told | None, cancelled: Callable[[], bool] | None,
) -> Doubles:  # fmt: skip
    """What each point sees of what is looked for; of the first ones alone where it was stopped."""
    lat, lon, weight = goals
    about = [np.concatenate([tops[k], goals[k]]) for k in (0, 1)]
    box = _wider((about[0].min(), about[1].min(), about[0].max(), about[1].max()), asked.apart_m)
    window: GroundWindow = ground_window(ground, south_deg=box[0], west_deg=box[1], north_deg=box[2], east_deg=box[3])
    found: list[float] = []
    for n, (at_lat, at_lon, top_m) in enumerate(zip(*tops, strict=True)):
        if cancelled is not None and cancelled():
            break
        if progress is not None:
            progress(f"what high ground sees, {n + 1} of {tops[0].size}", n / tops[0].size)
        mast = Transmitter(
            "high-ground", float(at_lat), float(at_lon), float(top_m), asked.antenna_m, asked.erp_kw, 0.0,
            network.frequency_mhz, network.delta_n, network.surface_refractivity_n0,
        )  # fmt: skip
        levels = levels_at(mast, lat, lon, rx_height_m=network.receiver.height_m, ground=window)
        found.append(float(weight[levels.line_of_sight].sum()))
    return np.array(found)
