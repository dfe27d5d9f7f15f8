"""The fields in which power, direction, pattern and tilts of one site are tried."""

from dataclasses import dataclass

from sfn.geodesy.position import locate
from sfn.plan import Antenna, Network, Site
from sfn.report.numbers import number
from sfn.study.lever_says import kw
from sfn.study.lever_try import ALL_ROUND, Lever, has_tables, levered
from sfn.study.lever_typed import TYPED, lever_texts
from sfn.study.what_if import WhatIf


@dataclass(frozen=True, slots=True)
class LeverField:
    """One figure: its name in the form, its label, what is tried, what the plan has, its unit, what helps."""

    name: str
    label: str
    value: str
    plan: str
    unit: str
    help: str
    idle: str = ""
    """Why it would do nothing as things stand; empty where it would do something."""


@dataclass(frozen=True, slots=True)
class LeverTry:
    """Power and antenna of one site in the form of what is tried."""

    fields: tuple[LeverField, ...]
    """Power, azimuth, tilts, height, place."""
    pattern: str
    """Whose pattern is tried; empty for the site's own."""
    patterns: tuple[tuple[str, str], ...]
    """Whose may be, and what each is called; the first is as planned."""
    is_tried: bool
    """Whether anything is."""
    kept: tuple[tuple[str, str], ...]
    """Every name with what is tried, as a save sends it."""


def lever_try(network: Network, site: Site, what: WhatIf) -> LeverTry:
    """The fields of one site."""
    lever = what.levers.get(site.id, Lever())
    texts, plan = lever_texts(lever), site.antenna or Antenna()
    now = levered(site, lever, network).antenna or Antenna()
    planes = (now, *((now.vertical_plane,) if now.vertical_plane else ()))
    turns, tilts = any(one.horizontal for one in planes), any(one.vertical for one in planes)
    unmoved = "" if lever.position else "with a position only; the terrain's if empty"
    flat = "" if tilts else "no vertical pattern: a tilt does nothing"
    still = "" if turns or (tilts and now.mechanical_tilt_deg) else "no horizontal pattern: turning does nothing"
    power, north = kw(max(site.erp_kw.h, site.erp_kw.v)), f"from {plan.azimuth_from}"
    electrical, mechanical = number(plan.electrical_tilt_deg, 1), number(plan.mechanical_tilt_deg, 1)
    fields = tuple(
        LeverField(name, name.replace("-", " "), texts.get(name, ""), *rest)
        for name, *rest in (
            ("power", power, "", "as 3 dB, -6 dB, 2.5 kW", ""),
            ("azimuth", number(plan.azimuth_deg, 1), "°", north, still),
            ("electrical-tilt", electrical, "°", "downwards, alike all round", flat),
            ("mechanical-tilt", mechanical, "°", "downwards towards the azimuth", flat),
            ("antenna-height", number(site.antenna_m, 1), "m", "above ground; works out this site's levels anew", ""),
            ("position", _stands(site), "", "latitude, longitude on WGS84; works out this site's levels anew", ""),
            ("ground-height", number(site.ground_m, 1), "m", "above sea level there; the terrain's if empty", unmoved),
        )
    )
    own = "its own pattern" if has_tables(site.antenna) else "alike all round, as planned"
    having = [one for one in network.sites if one.id != site.id and has_tables(one.antenna)]
    bare = ((ALL_ROUND, "alike all round"),) if has_tables(site.antenna) else ()
    patterns = (("", own), *((one.id, f"pattern of {one.name}") for one in having), *bare)
    kept = tuple((name, texts.get(name, "")) for name in TYPED)
    return LeverTry(fields, lever.pattern, patterns, bool(lever), kept)


def _stands(site: Site) -> str:
    """Where a site stands, on WGS84 whatever its document counts in."""
    at = locate(**site.position.model_dump(exclude_none=True))
    return f"{at.lat_deg:.6f}, {at.lon_deg:.6f}"
