"""The navigation of a network: its pages in the order of the work."""

from collections.abc import Callable
from dataclasses import dataclass

from webapp import addresses


@dataclass(frozen=True, slots=True)
class Tab:
    """One entry of a network's navigation."""

    key: str
    label: str
    address: Callable[[int], str]


# In the order of the work. A page adds its line when it lands; its context says `tab = KEY`.
TABS = (
    Tab("network", "Sites & chains", addresses.network),
    Tab("terrain", "Terrain", addresses.terrain),
    Tab("delays", "Delays", addresses.delays),
    Tab("zones", "Overlap map", addresses.zones),
    Tab("offsets", "Offsets", addresses.offsets),
    Tab("point", "Point", addresses.point),
    Tab("signals", "Signals", addresses.signals),
    Tab("path", "Path", addresses.path),
    Tab("road", "Road", addresses.road),
    Tab("links", "Link plan", addresses.links),
    Tab("losses", "Losses", addresses.losses),
    Tab("clocks", "Clocks", addresses.clocks),
    Tab("off-air", "Off air", addresses.off_air),
    Tab("change", "Change plan", addresses.change),
    Tab("sheets", "Sheets", addresses.sheets),
    Tab("readings", "Readings", addresses.readings),
    Tab("timeline", "Timeline", addresses.timeline),
    Tab("ages", "Ages", addresses.ages),
    Tab("measurements", "Measurements", addresses.measurements),
    Tab("revisions", "Revisions", addresses.revisions),
)
