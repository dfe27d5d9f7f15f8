"""The navigation of a network: six groups in the order of the work, and the pages of each."""

from dataclasses import dataclass

from webapp.config.addresses import to


@dataclass(frozen=True, slots=True)
class Tab:
    """One page of a network's navigation."""

    key: str
    label: str
    page: str
    """Its route."""

    def address(self, network_id: int) -> str:
        """Where it is, of one network."""
        return to(self.page, network_id)


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
        ),
    ),
    Group(
        "Coverage",
        (
            Tab("zones", "Overlap map", "zones.show"),
            Tab("point", "Reception at a point", "point.show"),
            Tab("road", "Route", "road.show"),
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
