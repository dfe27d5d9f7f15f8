"""The navigation of a network: six groups in the order of the work, and the pages of each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sfn.study.lever_typed import TYPED
from webapp.config.addresses import to

# What an address says of a try: see `webapp.standing.tries`. Forms without a script send one field a site.
TRIED = ("offset", "clock", "route", "off", "state", "strategy", "backoff_us", "threshold_db", *TYPED)
TRIED_BY_FORM = ("offset-", "clock-", *(f"{name}-" for name in TYPED))


def tried_in(query: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """What of an address is a try."""
    return tuple((name, value) for name, value in query if value and (name in TRIED or name.startswith(TRIED_BY_FORM)))


@dataclass(frozen=True, slots=True)
class Tab:
    """One page of a network's navigation."""

    key: str
    label: str
    page: str
    """Its route."""
    tries: bool = False
    """Whether it shows a try, and hands it on to the others that do."""

    def address(self, network_id: int, tried: Sequence[tuple[str, str]] = ()) -> str:
        """Where it is, of one network; with what is tried, where it shows that."""
        return to(self.page, network_id, query=list(tried)) if self.tries and tried else to(self.page, network_id)


@dataclass(frozen=True, slots=True)
class Group:
    """One step of the job; it opens on its first page."""

    label: str
    tabs: tuple[Tab, ...]

    def holds(self, key: str) -> bool:
        """Whether a page is one of it."""
        return any(tab.key == key for tab in self.tabs)


# In the order of the work. A page adds its line when it lands; its context says `TAB = KEY`.
GROUPS = (
    Group(
        "Describe",
        (
            Tab("network", "Sites & chains", "network.show"),
            Tab("terrain", "Terrain", "terrain.show"),
            Tab("people", "People", "people.show"),
            Tab("others", "Other stations", "others.show"),
            Tab("off-air", "Off-air relays", "off_air.show"),
            Tab("revisions", "Revisions", "revisions.show"),
        ),
    ),
    Group(
        "Feed",
        (
            Tab("links", "Link plan", "links.show"),
            Tab("losses", "Packet loss", "losses.show"),
            Tab("clocks", "Holdover & failures", "clocks.show"),
        ),
    ),
    Group(
        "Set timing",
        (
            Tab("delays", "Delays", "delays.show"),
            Tab("offsets", "Timing offsets", "offsets.show"),
            Tab("plans", "Plans of change", "plans.show"),
            Tab("placing", "New transmitter", "placing.show"),
        ),
    ),
    Group(
        "Coverage",
        (
            Tab("zones", "Overlap map", "zones.show", tries=True),
            Tab("point", "Reception at a point", "point.show", tries=True),
            Tab("road", "Route", "road.show", tries=True),
            Tab("path", "Path profile", "path.show"),
            Tab("signals", "Signal list", "signals.show"),
        ),
    ),
    Group(
        "Put on air",
        (
            Tab("change", "Change plan", "change.show"),
            Tab("sheets", "Field sheets", "sheets.show_all"),
            Tab("readings", "Site readings", "readings.show"),
        ),
    ),
    Group(
        "Prove",
        (
            Tab("measurements", "Measurements", "measurements.show"),
            Tab("drives", "Drive tests", "drives.show"),
            Tab("timeline", "Timeline", "timeline.show"),
            Tab("ages", "Data confidence", "ages.show"),
        ),
    ),
)
