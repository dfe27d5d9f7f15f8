"""What a field sheet asks for at every delay field: which split of the total, and what is typed into the device.

Sheet, change plan, delay table, its files and the readings all take it from here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from sfn.check.verdict import MAIN, Verdict
from sfn.plan import DelayField, Network, Site
from sfn.plan.reported import Reported
from sfn.timing import DelayRow, DelayTable, FieldSetting
from sfn.timing.device import contributes
from sfn.timing.failover import shares_fields
from sfn.timing.setting import Commissioning, commissioning_of, commissioning_stands
from sfn.units import exact


@dataclass(frozen=True, slots=True)
class SheetField:
    """One field as its sheet gives it, in the field's own unit.

    `value` is the total that then stands there. `enter` is what is typed into the device: the same where it takes the
    setting itself, the change where it takes that; None where nobody can say it beforehand.
    """

    made: FieldSetting
    entry: Literal["absolute", "incremental"]
    enter: float | None

    @property
    def name(self) -> str:
        """The field's name."""
        return self.made.name

    @property
    def unit(self) -> str:
        """Its unit."""
        return self.made.unit

    @property
    def value(self) -> float:
        """The total that is to stand there."""
        return self.made.value

    @property
    def before(self) -> float | None:
        """What stands there now; None where nobody knows."""
        return self.made.before


def on_sheet(
    network: Network, table: DelayTable, verdicts: Mapping[tuple[str, str], Verdict]
) -> dict[tuple[str, str], tuple[SheetField, ...]]:
    """What the sheets ask for, by site and route, the fields in document order.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the same network.
    verdicts : mapping of (site id, route) to Verdict
    """
    sites = {site.id: site for site in network.sites}
    return {
        (row.site_id, row.route): sheet_fields(
            sites[row.site_id], row, verdicts.get((row.site_id, row.route)), network.reported
        )
        for row in table.rows
    }


def sheet_fields(
    site: Site, row: DelayRow, verdict: Verdict | None, reported: Reported | None
) -> tuple[SheetField, ...]:
    """What the sheet of one route asks for; arguments as `settings_on_sheet`."""
    settings, _ = settings_on_sheet(site, row, verdict, reported)
    return tuple(
        SheetField(made, field.entry, to_enter(site, row.route, field, made))
        for made, field in zip(settings, site.delay_fields, strict=True)
    )


def to_enter(site: Site, route: str, field: DelayField, made: FieldSetting) -> float | None:
    """What is typed into the device, in the field's unit.

    Parameters
    ----------
    site : Site
    route : str
    field : DelayField
        Of that site.
    made : FieldSetting
        What it is to be set to.

    Returns
    -------
    amount : float or None
        The setting itself, or of a field with ``entry: incremental`` the change against what is set now. None where
        that is not known, and for a standby of a device that keeps one setting for all routes: what stands there when
        the control room orders it is not what stands there now.
    """
    if field.entry == "absolute":
        return made.value
    own = next(chain.set for chain in site.chains if chain.route == route)
    if route != MAIN and (own is None or field.name not in own):
        return None
    return made.change


def settings_on_sheet(
    site: Site, row: DelayRow, verdict: Verdict | None, reported: Reported | None
) -> tuple[tuple[FieldSetting, ...], Commissioning | None]:
    """The settings that a sheet, the change plan and the readings go by.

    Parameters
    ----------
    site : Site
    row : DelayRow
        One of its routes.
    verdict : Verdict or None
        Of that route.
    reported : Reported or None
        Of the network; it holds what was issued.

    Returns
    -------
    settings : tuple of FieldSetting
        Where the sheet is issued, what it was issued with, however the fields stand since: paper is not printed anew.
        Else those of the delay table; for a first try the same total with the finer fields near the middle of their
        range, so that a correction of some microseconds turns one field only (not where a standby shares some of the
        fields with main: it is worked out beside the table's setting of them). A withheld sheet tries nothing.
    trials : Commissioning or None
        How far that correction may go.
    """
    tries = verdict is not None and verdict.commissioning and verdict.state != "withheld"
    if (issued := issued_settings(site, row, reported)) is not None:
        turned = tries and len(issued) > 1 and issued != row.fields
        return issued, commissioning_stands(site.delay_fields, issued) if turned else None
    if not tries or len(row.fields) < 2 or shares_fields(site):
        return row.fields, None
    if row.now_us is not None and row.now_us == row.set_us:  # set like this already, whichever way it is split
        return tuple(_kept(made, field) for made, field in zip(row.fields, site.delay_fields, strict=True)), None
    found = commissioning_of(site.delay_fields, row.fields)
    return found.settings, found


def issued_settings(site: Site, row: DelayRow, reported: Reported | None) -> tuple[FieldSetting, ...] | None:
    """What the sheet of a route was issued with; None where it is not, or adds up to another delay than the row's."""
    asked = {} if reported is None else reported.issued.get((site.id, row.route), {})
    if not row.fields or {made.name for made in row.fields} != set(asked):
        return None
    total_us = sum(contributes(own, asked[own.name]) for own in site.delay_fields)
    if float(total_us) != row.set_us:  # both are one exact sum, rounded once
        return None
    return tuple(_set_to(made, own, asked[own.name]) for made, own in zip(row.fields, site.delay_fields, strict=True))


def _set_to(made: FieldSetting, field: DelayField, value: float) -> FieldSetting:
    """A field at another value."""
    if value == made.value:
        return made
    stands = contributes(field, value)
    change = None if made.before is None else float(exact(value) - exact(made.before))
    left_us = float(exact(made.greatest_us) - stands)
    return replace(made, value=value, set_us=float(stands), headroom_us=left_us, change=change)


def _kept(made: FieldSetting, field: DelayField) -> FieldSetting:
    """A field that stays where it stands."""
    before = made.value if made.before is None else made.before
    stands = contributes(field, before)
    left_us = float(exact(made.greatest_us) - stands)
    return replace(made, value=before, set_us=float(stands), headroom_us=left_us, change=0.0)
