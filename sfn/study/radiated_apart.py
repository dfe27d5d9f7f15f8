"""What two states of a network radiate otherwise: no sheet and no step of a change plan orders it."""

from math import log10

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
        parts.append("on the air instead of off it" if now.on_air else "off the air instead of on it")
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
