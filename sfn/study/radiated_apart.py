"""What is planned to be radiated otherwise than it is known to be: no sheet and no step of a change plan orders it."""

from collections.abc import Mapping
from math import log10

from sfn.errors import Problem, Touch
from sfn.plan import Antenna, Network, Site
from sfn.plan.record import SiteName
from sfn.report.numbers import db, number
from sfn.study.lever_says import angle, kw

_ANGLES = (
    ("azimuth_deg", "azimuth"),
    ("electrical_tilt_deg", "electrical tilt"),
    ("mechanical_tilt_deg", "mechanical tilt"),
)
_PATTERN = ("horizontal", "vertical", "vertical_plane", "azimuth_from")


RADIATED_OTHERWISE = "radiated-otherwise"


def radiated_problems(network: Network, was: Mapping[str, tuple[Site, str]]) -> tuple[Problem, ...]:
    """A warning for each site that is planned to radiate otherwise than as it is known to.

    Parameters
    ----------
    network : Network
        The plan.
    was : mapping of str to (Site, str)
        By id, what a site is known to radiate, and since when or in what; of a site that is not there nothing is said.
    """
    found = []
    for n, site in enumerate(network.whole.sites):
        known, since = was.get(site.id, (site, ""))
        if parts := _apart(known, site):
            changes = ", ".join(parts)
            what = (
                f"site {SiteName(site.name)}: planned to radiate otherwise since {since}: {changes}. No field sheet "
                "and no step of a change plan orders it, and nobody has said that it is done"
            )
            found.append(_otherwise(n, site, what, {"since": since, "changes": changes}))
    return tuple(found)


def _otherwise(n: int, site: Site, what: str, values: dict[str, str]) -> Problem:
    """What is said of one site."""
    expected = (
        "an order of its own, within the licence, and then, on the site's timeline, that it radiates as planned; "
        "until then map, people and the order of steps count on what does not stand"
    )
    touches, code = (Touch(site.id),), RADIATED_OTHERWISE
    said = {"changes_english": values["changes"]}
    return Problem(f"sites[{n}]", what, expected, "warning", code=code, touches=touches, values=values, said=said)


def radiated_apart(before: Network, after: Network) -> tuple[str, ...]:
    """A sentence for each site that radiates otherwise, in the order of the document; sites that are new are not named.

    Parameters
    ----------
    before, after : Network
    """
    had = {site.id: site for site in before.whole.sites}
    found = ((site, _apart(had[site.id], site)) for site in after.whole.sites if site.id in had)
    return tuple(f"{SiteName(site.name)}: {', '.join(parts)}" for site, parts in found if parts)


def _apart(was: Site, now: Site) -> list[str]:
    """What is otherwise at one site, the new value first."""
    parts = []
    if was.on_air != now.on_air:
        parts.append("on air instead of not transmitting" if now.on_air else "not transmitting instead of on air")
    for plane, name in (("h", "horizontal"), ("v", "vertical")):
        old_kw, new_kw = getattr(was.erp_kw, plane), getattr(now.erp_kw, plane)
        if old_kw != new_kw:
            ratio = f" ({db(10 * log10(new_kw / old_kw), 1, signed=True)})" if old_kw and new_kw else ""
            parts.append(f"e.r.p. {name} {kw(new_kw)} instead of {kw(old_kw)}{ratio}")
    old, new = was.antenna or Antenna(), now.antenna or Antenna()
    for key, name in _ANGLES:
        if getattr(old, key) != getattr(new, key):
            parts.append(f"{name} {angle(getattr(new, key))} instead of {angle(getattr(old, key))}")
    if any(getattr(old, key) != getattr(new, key) for key in _PATTERN):
        parts.append("another antenna pattern")
    if was.antenna_m != now.antenna_m:
        parts.append(f"antenna {number(now.antenna_m, 1)} m above ground instead of {number(was.antenna_m, 1)} m")
    return parts
