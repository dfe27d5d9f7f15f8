"""What heights of treetops and roofs that count as bare ground do to levels, in words: map, place, way."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sfn.geodesy.line import inverse
from sfn.terrain.dem import heights
from sfn.terrain.ground import Ground
from sfn.terrain.profile import path_points
from sfn.terrain.treetops import WAY_STEP_M, Flags, Floats, on_treetops
from sfn.units import grouped

BARE = "no ground cover is known that would be taken off them"
# P.1812 at 98 MHz, 20 km from an antenna 150 m up: a receiver on level woods is 11 dB above one in them (a test).
STANDS = (
    "receivers count as standing on top, and levels come out too strong where there are trees or houses: by 10 dB and "
    "more in woods of 15 m 20 km from an FM site, by twice that at higher frequencies"
)


@dataclass(frozen=True, slots=True)
class Way:
    """How much of a way lies over treetops that count as bare ground. [m]"""

    site_name: str
    bare_m: float
    length_m: float


def way_over(ground: Ground | None, name: str, start_deg: tuple[float, float], end_deg: tuple[float, float]) -> Way:
    """How much of the way from a site to a place lies over treetops that count as bare ground.

    Parameters
    ----------
    ground : Ground or None
    name : str
        Of the site.
    start_deg, end_deg : tuple of float
        Latitude and longitude of the site and of the place. [degrees]
    """
    length_m = float(inverse(*start_deg, *end_deg)[0])
    if ground is None or ground.terrain is None or not ground.surface:
        return Way(name, 0.0, length_m)
    at_m, lat, lon = path_points(*start_deg, *end_deg, step_m=WAY_STEP_M)
    bare = on_treetops(ground, lat, lon, heights(ground.terrain, lat, lon))
    return Way(name, length_on(at_m, bare), length_m)


def length_on(distance_m: Floats, flags: Flags) -> float:
    """Length of a line where a flag of its points is set; a piece between two points counts by both. [m]"""
    return float((np.diff(distance_m) * (flags[:-1].astype(float) + flags[1:]) / 2).sum())


def place_says(stands: bool, ways: Iterable[Way]) -> str:
    """What a point must say: whether the place itself is concerned, and how much of the ways; empty where nothing is.

    Parameters
    ----------
    stands : bool
        Whether the receiving place counts as bare ground.
    ways : iterable of Way
    """
    told = [
        f"{way.bare_m / 1000:.1f} of {way.length_m / 1000:.1f} km of the way from {way.site_name}"
        for way in ways
        if way.bare_m >= WAY_STEP_M / 2
    ]
    here = f"At this place heights are those of treetops and roofs, and {BARE}: {STANDS}" if stands else ""
    if not told:
        return here
    on = ", ".join(told)
    if here:
        return f"{here}. The same holds of {on}"
    return f"No ground cover is known, and treetops and roofs count as bare ground, on {on}"


def line_says(bare_m: float, length_m: float) -> str:
    """What a road must say; empty where none of it is concerned.

    Parameters
    ----------
    bare_m, length_m : float
        Length that is concerned, and all of it. [m]
    """
    if bare_m <= 0.0:
        return ""
    on = f"On {bare_m / 1000:.1f} of {length_m / 1000:.1f} km ({_pct(bare_m, length_m)} %)"
    return f"{on} treetops and roofs count as bare ground: {BARE}; {STANDS}"


def area_says(
    bare_km2: float,
    of_km2: float,
    *,
    people: float | None = None,
    served_km2: float | None = None,
    served_people: float | None = None,
) -> str:
    """What a map must say; empty where no place of it is concerned.

    Parameters
    ----------
    bare_km2, of_km2 : float
        Area that is concerned, and all that is judged. [km2]
    people, served_km2, served_people : float, optional
        Who lives there, and what of it counts as served.
    """
    if bare_km2 <= 0.0:
        return ""
    who = f", {grouped(round(people))} people," if people is not None else ""
    on = f"On {_km2(bare_km2)} km2 of the {_km2(of_km2)} km2 judged ({_pct(bare_km2, of_km2)} %){who}"
    said = f"{on} treetops and roofs count as bare ground: {BARE}; {STANDS}"
    if served_km2 is None:
        return said
    served = "" if served_people is None else f" with {grouped(round(served_people))} people"
    return f"{said}. {_km2(served_km2)} km2{served} of it count as served"


def _km2(value: float) -> str:
    """Whole ones, or as small as it is."""
    return grouped(round(value)) if value >= 10.0 else f"{value:.1f}"


def _pct(part: float, whole: float) -> str:
    """A share; what is more than nothing is never 0."""
    pct = 100.0 * part / whole if whole else 100.0
    return "below 0.1" if pct < 0.1 else f"{pct:.1f}"
