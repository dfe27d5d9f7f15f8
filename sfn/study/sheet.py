"""What a site's field sheet says in numbers; its words stand in the template."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sfn.by_identity import ByIdentity
from sfn.chain import outdated, rests_on_assumption
from sfn.check.on_sheet import settings_on_sheet, to_enter
from sfn.check.review import Review
from sfn.check.verdict import Verdict
from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Forms, Located, three_forms
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network, Site
from sfn.plan.reported import Reported, WayBack
from sfn.study.veil import route_veiled, verdict_veiled, why_withheld
from sfn.systems.of_network import service_of, stamped_checksum
from sfn.timeline.present import key_of
from sfn.timeline.way_back import way_back
from sfn.timing import DelayRow
from sfn.timing.planes import PlaneTime, plane_times
from sfn.timing.setting import Commissioning
from sfn.timing.tolerated import tolerated_error, tolerated_says
from sfn.units import exact


@dataclass(frozen=True, slots=True)
class StageLine:
    """One stage of a chain as the sheet lists it."""

    id: str
    kind: str
    latency_us: float
    tolerance_us: float | None
    tolerance_kind: str
    source: str
    date: str
    reference_plane: str
    assumed: bool
    changed: str
    """Day of a change of firmware or mode since its figure was taken; empty where it holds."""
    measured_with: str = ""
    """Instruments, cables and filter delays that the reading used; empty where nothing is said."""


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One delay field: what to set, what stands there now (`before`), what to go back to; in the field's own unit.

    `before` and `change` are None where nobody knows what is set now. `enter` is what is typed into the device: the
    change where it takes that (`sfn.check.on_sheet.to_enter`).
    """

    name: str
    unit: str
    value: float
    before: float | None
    change: float | None
    entry: str
    least: float
    greatest: float
    sign: str
    back: WayBack
    enter: float | None

    @property
    def enter_back(self) -> float | None:
        """What is typed to go back once `value` stands there; None where nobody knows what to go back to."""
        if self.back.value is None or self.entry == "absolute":
            return self.back.value
        return float(exact(self.back.value) - exact(self.value))


@dataclass(frozen=True, slots=True)
class RouteSheet:
    """One route of the site."""

    row: DelayRow
    stages: tuple[StageLine, ...]
    fields: tuple[FieldLine, ...]
    planes: tuple[PlaneTime, ...]
    verdict: Verdict
    preset: bool
    """Whether the device keeps a setting of its own for this route."""
    trials: Commissioning | None
    """Of a commissioning sheet: how far can be tried without crossing a coarse step; None on any other."""

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Its plain data, without a setting where that is withheld."""
        if self.verdict.state != "withheld":
            return made
        made = made | {"verdict": verdict_veiled(made["verdict"], self.verdict)}
        return route_veiled(made, why_withheld(self.verdict.reasons))


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Sheet:
    """One site's field sheet. `verdict` is that of the main route: it decides whether the sheet may go out."""

    network: Network
    site: Site
    located: Located
    forms: Forms
    routes: tuple[RouteSheet, ...]
    common_delay_us: float
    tolerated_us: float
    tolerated_says: str
    """That nobody gave the tolerated error, and what it is then; empty where somebody did."""
    assumed_stages: tuple[str, ...]
    fed_from: str | None
    is_fm: bool
    checksum: str
    verdict: Verdict
    problems: tuple[Problem, ...]
    """What withholds it."""

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Its plain data; the common delay tells the setting where that is withheld."""
        if self.verdict.state != "withheld":
            return made
        return made | {"common_delay_us": None, "verdict": verdict_veiled(made["verdict"], self.verdict)}


def sheet(reviewed: Review, site_id: str, *, issued_at: datetime | None = None) -> Sheet:
    """The field sheet of one site.

    Parameters
    ----------
    reviewed : Review
        The network with all that is wrong with it, and what follows.
    site_id : str
    issued_at : datetime, optional
        When it was first issued: what it put there since is no way back.

    Raises
    ------
    PlanError
        If there is no such site, or its position cannot be read.
    """
    made = _SHEETS.get(reviewed, lambda _: {})
    if (site_id, issued_at) not in made:
        made[site_id, issued_at] = _sheet(reviewed, site_id, issued_at)
    return made[site_id, issued_at]


_SHEETS: ByIdentity[Review, dict[tuple[str, datetime | None], Sheet]] = ByIdentity()


def _sheet(reviewed: Review, site_id: str, issued_at: datetime | None) -> Sheet:
    """The same, worked out."""
    network, table = reviewed.network, reviewed.table
    site = next((s for s in network.sites if s.id == site_id), None)
    if site is None:
        known = ", ".join(s.id for s in network.sites)
        raise PlanError(
            [
                Problem(
                    "site",
                    f"there is no site {site_id!r}",
                    f"one of {known}",
                    code="unknown-site",
                    values={"site": site_id},
                )
            ]
        )
    at = reviewed.placed.get(site_id)
    if at is None:
        raise PlanError(problem for problem in placed_sites(network).problems if problem.touching(site_id))
    rows = [row for row in table.rows if row.site_id == site_id]
    carried = service_of(network)
    parent = next((s.name for s in network.sites if s.id == site.fed_off_air_from), None)
    verdict = reviewed.of(site_id)
    return Sheet(
        network,
        site,
        at,
        three_forms(at.lat_deg, at.lon_deg),
        tuple(_route(site, row, reviewed.of(site_id, row.route), network.reported, issued_at) for row in rows),
        table.common_delay_us,
        tolerated_error(network),
        tolerated_says(network),
        tuple(dict.fromkeys(name for row in rows for name in row.assumed_stages)),
        parent,
        carried.kind == "fm",
        stamped_checksum(network),
        verdict,
        tuple(reason.problem for reason in verdict.because("withheld")),
    )


def _route(
    site: Site, row: DelayRow, verdict: Verdict, reported: Reported | None, issued_at: datetime | None
) -> RouteSheet:
    """One route of the sheet."""
    stages = tuple(
        StageLine(
            stage.id,
            stage.kind,
            float(latency),
            stage.tolerance_us,
            stage.tolerance_kind or "",
            stage.source or "not stated",
            stage.date or "",
            stage.reference_plane or "",
            rests_on_assumption(stage),
            str(stage.changed) if outdated(stage) else "",
            stage.measured_with or "",
        )
        for stage, latency in zip(row.own.stages, row.own.stage_us, strict=True)
    )
    settings, trials = settings_on_sheet(site, row, verdict, reported)
    preset = next(chain.set is not None for chain in site.chains if chain.route == row.route)
    fields = tuple(
        FieldLine(
            made.name,
            made.unit,
            made.value,
            made.before,
            made.change,
            field.entry,
            field.least,
            field.greatest,
            field.sign,
            way_back(
                reported,
                key_of(site, row.route, made.name),
                planned=made.value,
                now=made.before,
                issued_at=issued_at,
                other=made.before if row.now_us == row.set_us else None,
            ),
            to_enter(site, row.route, field, made),
        )
        for made, field in zip(settings, site.delay_fields, strict=True)
    )
    return RouteSheet(row, stages, fields, plane_times(row), verdict, preset, trials)
