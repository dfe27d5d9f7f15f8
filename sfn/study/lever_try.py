"""Levers besides delay, tried at a site: power, the antenna's direction, pattern, tilts and height, and another place.

But for height and place none of them changes the path between site and place: levels follow by what is radiated there
(`sfn.field.gain`). Hung higher or moved, the levels of that one site are computed anew.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import isfinite
from typing import Any

from sfn.errors import Problem, Touch
from sfn.plan import Antenna, Network, Site
from sfn.plan.number_text import number_written
from sfn.plan.position import Position, Power

ALL_ROUND = "-"
"""Instead of a site whose pattern is taken: alike in all directions. No site has such an id."""
LEAST_DB, MOST_DB = -60.0, 30.0
LEAST_KW, MOST_KW = 1e-6, 10_000.0
HANGS = ("position", "ground_m", "antenna_m")
"""Fields of a site by which its antenna hangs where it does: what paths from it start from."""
TABLES = ("horizontal", "vertical", "vertical_plane")
EXPECTED_POWER = "a change in dB or an e.r.p., as 3 dB, -6 dB, 2.5 kW or 400 W"


@dataclass(frozen=True, slots=True)
class Lever:
    """What is tried at one site; None or empty: as planned.

    Parameters
    ----------
    power_db : float, optional
        Added to the e.r.p. of both planes. [dB]
    erp_kw : float, optional
        E.r.p. of the stronger plane, instead; the other plane follows in proportion. [kW]
    azimuth_deg : float, optional
        Where the pattern's angle 0 points, from the north that the document counts from. [degrees]
    pattern : str
        Id of the site whose tables of attenuation are taken, or `ALL_ROUND`; direction and tilts stay the site's own.
    electrical_tilt_deg, mechanical_tilt_deg : float, optional
        Downwards. [degrees]
    antenna_m : float, optional
        Middle of the antenna above ground. [m]
    position : str
        Where the site stands, as a position of the document is written on WGS84.
    ground_m : float, optional
        Ground above sea level there: what `sfn.study.lever_move.grounded` looks up in the terrain where nobody typed
        it. [m]
    """

    power_db: float | None = None
    erp_kw: float | None = None
    azimuth_deg: float | None = None
    pattern: str = ""
    electrical_tilt_deg: float | None = None
    mechanical_tilt_deg: float | None = None
    antenna_m: float | None = None
    position: str = ""
    ground_m: float | None = None

    def __bool__(self) -> bool:
        """Whether anything is tried."""
        return self != Lever()


# Name of a try's figure, in words, its bounds and unit.
BOUNDS = {
    "power_db": ("a change of power", LEAST_DB, MOST_DB, "dB"),
    "erp_kw": ("an e.r.p.", LEAST_KW, MOST_KW, "kW"),
    "azimuth_deg": ("an azimuth", -180.0, 360.0, "degrees"),
    "electrical_tilt_deg": ("an electrical tilt", -20.0, 20.0, "degrees"),
    "mechanical_tilt_deg": ("a mechanical tilt", -20.0, 20.0, "degrees"),
    "antenna_m": ("an antenna height", 1.0, 1000.0, "m"),
    "ground_m": ("a height of the ground", -500.0, 9000.0, "m"),
}


def power_written(text: str) -> Lever:
    """A typed power: a change in dB, or an e.r.p. in kW or W.

    Raises
    ------
    ValueError
        If it is none; the message can stand before `EXPECTED_POWER`.

    Examples
    --------
    >>> power_written("-3 dB").power_db, power_written("400W").erp_kw
    (-3.0, 0.4)
    """
    plain = text.strip()
    for unit, name, factor in (("db", "power_db", 1.0), ("kw", "erp_kw", 1.0), ("w", "erp_kw", 1e-3)):
        if plain.lower().endswith(unit):
            value = float(number_written(plain[: -len(unit)])) * factor
            return Lever(power_db=value) if name == "power_db" else Lever(erp_kw=value)
    raise ValueError(f"{text!r} does not say whether it is dB, kW or W")


def power_text(lever: Lever) -> str:
    """The same as it is written; empty where no power is tried."""
    if lever.power_db is not None:
        return f"{lever.power_db:.12g} dB"
    return "" if lever.erp_kw is None else f"{lever.erp_kw:.12g} kW"


def levered(site: Site, lever: Lever, network: Network) -> Site:
    """A site with something tried, as a document would have it; the very site where nothing differs."""
    new: dict[str, object] = {}
    erp_kw = _power(site.erp_kw, lever)
    if erp_kw != site.erp_kw:
        new["erp_kw"] = erp_kw
    antenna = _antenna(site, lever, network)
    if antenna != site.antenna:
        new["antenna"] = antenna
    if lever.antenna_m not in (None, site.antenna_m):
        new["antenna_m"] = lever.antenna_m
    if moves(lever, site):
        new["position"] = Position(text=lever.position)
        if lever.ground_m is not None:
            new["ground_m"] = lever.ground_m
    return site.model_copy(update=new) if new else site


def moves(lever: Lever, site: Site) -> bool:
    """Whether a lever has a site stand elsewhere than in the plan, or its ground lie otherwise there."""
    return bool(lever.position) and (
        site.position != Position(text=lever.position) or lever.ground_m not in (None, site.ground_m)
    )


def _power(plan: Power, lever: Lever) -> Power:
    """What is radiated in both planes, with as many digits as a document keeps."""
    greatest_kw = max(plan.h, plan.v)
    if lever.power_db is not None:
        ratio = 10.0 ** (lever.power_db / 10.0)
    elif lever.erp_kw is not None and greatest_kw > 0.0:
        ratio = lever.erp_kw / greatest_kw
    else:
        return plan
    return plan if ratio == 1.0 else Power(h=float(f"{plan.h * ratio:.12g}"), v=float(f"{plan.v * ratio:.12g}"))


def _antenna(site: Site, lever: Lever, network: Network) -> Antenna | None:
    """The antenna with its tables, direction and tilts as tried; None stays None where it would be alike all round."""
    made = site.antenna or Antenna()
    if lever.pattern == ALL_ROUND:
        made = made.model_copy(update=dict.fromkeys(TABLES))
    elif lever.pattern and lever.pattern != site.id:
        theirs = next((one.antenna for one in network.sites if one.id == lever.pattern), None) or Antenna()
        made = made.model_copy(update={name: getattr(theirs, name) for name in TABLES})
    given = {
        name: value
        for name in ("azimuth_deg", "electrical_tilt_deg", "mechanical_tilt_deg")
        if (value := getattr(lever, name)) is not None
    }
    made = made.model_copy(update=given)
    return None if site.antenna is None and made == Antenna() else made


def lever_problems(network: Network, levers: Mapping[str, Lever]) -> Iterator[Problem]:
    """Figures that no site has, patterns that the network has not, and what would do nothing where it is tried.

    Sites that the network does not have are not asked about here.
    """
    sites = {site.id: site for site in network.sites}
    for name, lever in levers.items():
        if name not in sites:
            continue
        wrong = [*_figures(name, lever), *_pattern(network, name, lever)]
        yield from wrong or _idle(network, sites[name], lever)


def _figures(site: str, lever: Lever) -> Iterator[Problem]:
    """Figures out of their bounds, and two powers."""
    for key, (words, least, greatest, unit) in BOUNDS.items():
        value = getattr(lever, key)
        if value is None or (isfinite(value) and least <= value <= greatest):
            continue
        yield _no(
            site, key, f"{words} of {value:g} {unit} cannot be tried", f"{least:g} to {greatest:g} {unit}",
            code="out-of-range", tried=value,
        )  # fmt: skip
    if lever.power_db is not None and lever.erp_kw is not None:
        yield _no(site, "erp_kw", "a change in dB and an e.r.p. are two powers", "one of them", code="two-powers")


def _pattern(network: Network, site: str, lever: Lever) -> Iterator[Problem]:
    """A pattern of a site that the network has not, or that has none."""
    if lever.pattern in ("", ALL_ROUND):
        return
    known = {one.id: one for one in network.sites}
    having = [one.id for one in network.sites if has_tables(one.antenna)]
    expected = f"one of {', '.join((*having, ALL_ROUND))} ({ALL_ROUND}: alike in all directions)"
    if lever.pattern not in known:
        yield _no(site, "pattern", f"there is no site {lever.pattern!r}", expected, code="unknown-site")
    elif not has_tables(known[lever.pattern].antenna):
        yield _no(site, "pattern", f"site {lever.pattern} has no pattern", expected, code="site-without-pattern")


def _idle(network: Network, site: Site, lever: Lever) -> Iterator[Problem]:
    """What would change nothing, so that nobody takes the map for its answer."""
    antenna = _antenna(site, lever, network) or Antenna()
    planes = (antenna, *((antenna.vertical_plane,) if antenna.vertical_plane else ()))
    round_about = any(one.horizontal for one in planes)
    up_and_down = any(one.vertical for one in planes)
    if (lever.power_db is not None or lever.erp_kw is not None) and not max(site.erp_kw.h, site.erp_kw.v) > 0.0:
        yield _no(
            site.id, "power_db", f"{site.name} radiates nothing in the plan, which no factor changes",
            "an e.r.p. in the document", code="nothing-radiated",
        )  # fmt: skip
    if lever.ground_m is not None and not lever.position:
        yield _no(
            site.id, "ground_m", f"{site.name} has its ground's height from the document where it is not moved",
            "a position tried beside it; a wrong height is corrected in the document", code="option-idle",
        )  # fmt: skip
    if lever.azimuth_deg is not None and not round_about and not (up_and_down and antenna.mechanical_tilt_deg):
        yield _no(
            site.id, "azimuth_deg", f"{site.name} has no horizontal pattern, so that turning it does nothing",
            "a pattern tried beside it, or in the document", code="option-idle",
        )  # fmt: skip
    for key in ("electrical_tilt_deg", "mechanical_tilt_deg"):
        if getattr(lever, key) is not None and not up_and_down:
            yield _no(
                site.id, key, f"{site.name} has no vertical pattern, so that tilting it does nothing",
                "a pattern tried beside it, or in the document", code="option-idle",
            )  # fmt: skip


def _no(site: str, key: str, what: str, expected: str, *, code: str, tried: float | None = None) -> Problem:
    """A problem of one figure of a site."""
    values: dict[str, Any] = {} if tried is None else {key: tried}
    return Problem(f"{FIELDS[key]}-{site}", what, expected, code=code, touches=(Touch(site),), values=values)


# What forms, addresses and commands call each figure.
FIELDS = {
    "power_db": "power",
    "erp_kw": "power",
    "azimuth_deg": "azimuth",
    "pattern": "pattern",
    "electrical_tilt_deg": "electrical-tilt",
    "mechanical_tilt_deg": "mechanical-tilt",
    "antenna_m": "antenna-height",
    "position": "position",
    "ground_m": "ground-height",
}


def hung_as(network: Network, now: Network) -> Network:
    """A network with its antennas where they hang in a try of it, and else as it stands; the very one where all do."""
    tried = {site.id: {name: getattr(site, name) for name in HANGS} for site in now.sites}
    sites = tuple(
        site
        if all(getattr(site, name) == value for name, value in tried.get(site.id, {}).items())
        else site.model_copy(update=tried[site.id])
        for site in network.sites
    )
    if all(one is site for one, site in zip(sites, network.sites, strict=True)):
        return network
    return network.model_copy(update={"sites": sites})


def has_tables(antenna: Antenna | None) -> bool:
    """Whether an antenna has any table of attenuation."""
    return antenna is not None and any(getattr(antenna, name) is not None for name in TABLES)


def differing(lever: Lever, site: Site, network: Network) -> Lever:
    """Only what a site does not have already, so that an address that repeats the plan is no try."""
    kept, plan = lever, Lever()
    for key in FIELDS:
        without = Lever(**{name: getattr(plan if name == key else kept, name) for name in FIELDS})
        if without != kept and levered(site, without, network) == levered(site, kept, network):
            kept = without
    if kept.position is not None and kept.ground_m is None:
        # Of another place the ground is what was said of it, also where it is as high as at the planned one.
        kept = replace(kept, ground_m=lever.ground_m)
    return kept
