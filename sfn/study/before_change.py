"""What the fields stand at before a change: what is set now, or what an older revision that is on air gives."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sfn.check.on_sheet import issued_settings
from sfn.plan import Network, Site
from sfn.plan.reported import Reported, WayBack
from sfn.timeline.present import key_of
from sfn.timeline.way_back import way_back
from sfn.timing import delay_table
from sfn.timing.device import present_values
from sfn.timing.setting import FieldSetting


@dataclass(frozen=True, slots=True)
class Before:
    """The older revision's computed settings, by site, route and field; None: what is set now counts."""

    values: Mapping[tuple[str, str, str], tuple[str, float]] | None
    issued_at: Mapping[str, datetime]

    @classmethod
    def of(cls, old: Network | None, issued_at: Mapping[str, datetime]) -> "Before":
        """From an older revision."""
        if old is None:
            return cls(None, issued_at)
        sites = {site.id: site for site in old.sites}
        values = {
            (row.site_id, row.route, made.name): (made.unit, made.value)
            for row in delay_table(old).rows
            for made in issued_settings(sites[row.site_id], row, old.reported) or row.fields
        }
        return cls(values, issued_at)

    def back(self, site: Site, route: str, made: FieldSetting, value: float, *, reported: Reported | None) -> WayBack:
        """What a field goes back to: as the sheet says it, or what the older revision gives."""
        if self.values is not None:
            return WayBack(value)
        key, since = key_of(site, route, made.name), self.issued_at.get(site.id)
        return way_back(reported, key, planned=made.value, now=value, issued_at=since)

    def value(self, site: Site, route: str, name: str) -> tuple[float | None, bool]:
        """What a field stands at before the change, and whether the older revision says so."""
        field = next(own for own in site.delay_fields if own.name == name)
        chain = next(c for c in site.chains if c.route == route)
        now = present_values(site, chain)[name]
        if self.values is None:
            return now, True
        unit, value = self.values.get((site.id, route, name), ("", 0.0))
        return (value, True) if unit == field.unit else (now, False)
