"""A try of power, direction, pattern and tilts in words: what it is, what it leaves open, what a licence is asked."""

from collections.abc import Iterator, Mapping
from math import log10

import numpy as np

from sfn.errors import Problem, Touch
from sfn.field.path import radiated
from sfn.field.transmitter import transmitter
from sfn.geodesy.position import Located
from sfn.plan import Antenna, Network, Site
from sfn.report.numbers import db, number
from sfn.study.lever_move import beyond_move, moved_says
from sfn.study.lever_try import ALL_ROUND, Lever, has_tables, levered, moves
from sfn.units import THIN

CAUTION = (
    "power, direction, pattern, tilt, height and place are bounds of a licence: nothing is changed at a mast before "
    "its e.r.p. and contours are held against the licence and exposure near the antenna is looked at again; local "
    "codes and licensed practice govern"
)
_NOT_HERE = "is not worked out with this try (page Off-air relays, command repeaters)"
# More than this above the plan, in any direction, is asked about.
ASKED_FROM_DB = 0.05


def lever_says(site: Site, lever: Lever, network: Network, typed: Lever | None = None) -> str:
    """What is tried at one site, in words; `typed`: before the terrain gave a height, where it may have."""
    now, north = levered(site, lever, network), ""
    before, after = site.antenna or Antenna(), now.antenna or Antenna()
    if after.azimuth_from != "true north":
        north = f" from {after.azimuth_from}"
    parts = []
    if now.erp_kw != site.erp_kw:
        had, has = (max(one.erp_kw.h, one.erp_kw.v) for one in (site, now))
        parts.append(f"{kw(has)} e.r.p. instead of {kw(had)} ({db(10 * log10(has / had), 1, signed=True)})")
    if lever.pattern:
        names = {one.id: one.name for one in network.sites}
        theirs = "no pattern, alike all round," if lever.pattern == ALL_ROUND else f"pattern of {names[lever.pattern]}"
        parts.append(f"{theirs} instead of {'its own' if has_tables(site.antenna) else 'none'}{_turned(lever, after)}")
    if lever.azimuth_deg is not None:
        parts.append(f"azimuth {angle(after.azimuth_deg)}{north} instead of {angle(before.azimuth_deg)}")
    for key, words in (("electrical_tilt_deg", "electrical tilt"), ("mechanical_tilt_deg", "mechanical tilt")):
        if getattr(lever, key) is not None:
            parts.append(f"{words} {angle(getattr(after, key))} instead of {angle(getattr(before, key))}")
    if now.antenna_m != site.antenna_m:
        parts.append(
            f"antenna {number(now.antenna_m, 1)} m above ground instead of {number(site.antenna_m, 1)} m (whether the "
            "mast carries it there is not known here)"
        )
    if moves(lever, site):
        parts.append(moved_says(site, now, typed or lever))
    said = f"{site.name}: {', '.join(parts)}"
    if site.level_shift is not None:
        said += "; its levels stay corrected by drive tests of the antenna as it was"
        said += " and where it was" if moves(lever, site) else ""
    return said


def _turned(lever: Lever, after: Antenna) -> str:
    """Where a taken pattern points, as far as nobody says so: direction and tilts are the site's own."""
    own = (
        ("azimuth_deg", "azimuth"),
        ("electrical_tilt_deg", "electrical tilt"),
        ("mechanical_tilt_deg", "mechanical tilt"),
    )
    said = [f"{words} {angle(getattr(after, key))}" for key, words in own if getattr(lever, key) is None]
    return f" ({', '.join(said)}: the site's own)" if said and lever.pattern != ALL_ROUND else ""


def beyond_levels(network: Network, levers: Mapping[str, Lever], moved: Mapping[str, Site]) -> Iterator[str]:
    """What a try of levers leaves open: what relays hear, what feeds a moved site, and the caution."""
    names = {site.id: site.name for site in network.sites}
    for site in network.sites:
        if site.fed_off_air_from is None:
            continue
        if site.fed_off_air_from in levers:
            yield (
                f"{site.name} receives {names[site.fed_off_air_from]} off air: whether it still hears it well enough "
                f"{_NOT_HERE}; its own e.r.p. is taken as planned"
            )
        if site.id in levers:
            yield f"{site.name} is fed off air: whether it then hears itself {_NOT_HERE}"
    yield from beyond_move(network, moved)
    yield CAUTION


def lever_doubts(network: Network, levers: Mapping[str, Lever], placed: Mapping[str, Located]) -> tuple[Problem, ...]:
    """Sites that would radiate more than planned in some direction: what a licence is asked about."""
    found = []
    for site in network.sites:
        if site.id not in levers:
            continue
        more_db, towards_deg = _most_more(site, levered(site, levers[site.id], network), network, placed[site.id])
        if more_db > ASKED_FROM_DB:
            found.append(
                Problem(
                    f"power-{site.id}",
                    f"{site.name} would radiate up to {db(more_db)} more than planned towards the horizon "
                    f"(at {angle(towards_deg)})",
                    "no more than the licence allows in any direction; hold its contour against the licence's",
                    "warning",
                    code="more-radiated-than-planned",
                    touches=(Touch(site.id),),
                    values={"more_db": more_db, "towards_deg": towards_deg},
                )
            )
    return tuple(found)


def _most_more(site: Site, now: Site, network: Network, at: Located) -> tuple[float, float]:
    """The greatest increase of what is radiated towards the horizon, and its bearing. [dB, degrees]"""
    bearing = np.arange(360.0)
    radiates = (transmitter(one, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg) for one in (site, now))
    before, after = (np.subtract(*radiated(one, bearing, elevation_deg=0.0, plane=None)) for one in radiates)
    if not np.isfinite(before).any():
        return 0.0, 0.0
    most = int(np.nanargmax(after - before))
    return float((after - before)[most]), float(bearing[most])


def kw(value: float) -> str:
    """An e.r.p. with its unit, watts below one kilowatt."""
    return f"{value * 1000:.4g}{THIN}W" if value < 1.0 else f"{value:.4g}{THIN}kW"


def angle(value_deg: float) -> str:
    """An angle in degrees."""
    return f"{number(value_deg, 1)}°"
