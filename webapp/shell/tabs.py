"""The navigation of a network: its pages in the order of the work."""

from dataclasses import dataclass

from webapp.config.addresses import to


@dataclass(frozen=True, slots=True)
class Tab:
    """One entry of a network's navigation."""

    key: str
    label: str
    page: str
    """Its route."""

    def address(self, network_id: int) -> str:
        """Where it is, of one network."""
        return to(self.page, network_id)


# In the order of the work. A page adds its line when it lands; its context says `tab = KEY`.
TABS = (
    Tab("network", "Sites & chains", "network.show"),
    Tab("terrain", "Terrain", "terrain.show"),
    Tab("delays", "Delays", "delays.show"),
    Tab("zones", "Overlap map", "zones.show"),
    Tab("offsets", "Offsets", "offsets.show"),
    Tab("point", "Point", "point.show"),
    Tab("signals", "Signals", "signals.show"),
    Tab("path", "Path", "path.show"),
    Tab("road", "Road", "road.show"),
    Tab("links", "Link plan", "links.show"),
    Tab("losses", "Losses", "losses.show"),
    Tab("clocks", "Clocks", "clocks.show"),
    Tab("off-air", "Off air", "off_air.show"),
    Tab("change", "Change plan", "change.show"),
    Tab("sheets", "Sheets", "sheets.show_all"),
    Tab("readings", "Readings", "readings.show"),
    Tab("timeline", "Timeline", "timeline.show"),
    Tab("ages", "Ages", "ages.show"),
    Tab("measurements", "Measurements", "measurements.show"),
    Tab("revisions", "Revisions", "revisions.show"),
)
