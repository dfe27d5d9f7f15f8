"""The change plan: which sites change from what to what, in which order, and what the worst moment of it is."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from typing import Any

from sfn.check.on_sheet import settings_on_sheet, to_enter
from sfn.check.review import Review
from sfn.check.verdict import Verdict
from sfn.errors import PlanError, Problem, Touch
from sfn.field.over_smooth import smooth_says
from sfn.geodesy.sites import place
from sfn.plan import Network, Site
from sfn.plan.reported import Reported
from sfn.reception.coverage import Coverage
from sfn.solve.order import Order, State, safe_order
from sfn.study.before_change import Before
from sfn.study.moments import Measure, Moment, area_measure, difference_measure
from sfn.study.sheet import FieldLine, sheet
from sfn.study.silence import Doubles, Muted, muting_tried
from sfn.study.veil import plan_veiled
from sfn.systems.of_network import stamped_checksum
from sfn.timeline.present import key_of
from sfn.timing import DelayRow, DelayTable, delay_table
from sfn.timing.device import UNKNOWN, contributes
from sfn.timing.planes import PlaneTime, plane_times
from sfn.timing.table import feed_order
from sfn.timing.tolerated import tolerated_error, tolerated_says
from sfn.units import exact, unit_said, written


@dataclass(frozen=True, slots=True)
class RouteChange:
    """What changes on one route of a site: every field of the route, moved or not, `before` being the way back.

    `shift_us` is what the new settings move the launch by, positive = later; `planes` are the readings to expect.
    """

    row: DelayRow
    fields: tuple[FieldLine, ...]
    planes: tuple[PlaneTime, ...]
    shift_us: float
    unknown_before: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteChange:
    """One site that has something to set."""

    site: Site
    fed_from: str | None
    routes: tuple[RouteChange, ...]
    assumed_stages: tuple[str, ...]
    verdict: Verdict | None = None
    """Whether its sheet may go out; None where nobody looked."""


@dataclass(frozen=True, slots=True)
class MadeChange:
    """A field that was reported to stand as planned since its sheet was issued."""

    site: Site
    route: str
    field: FieldLine


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """The whole change.

    Parameters
    ----------
    changes : tuple of SiteChange
        In the order to make them.
    unchanged : tuple of str
        Names of the sites that keep their settings.
    order : Order
        Its places count in document order of the sites that change.
    moments : tuple of Moment
        Before the first change, after the first, ... after the last.
    measure : {'area', 'difference'}
        What the order was chosen by.
    muted : Muted or None
        Muting which site at the worst moment wins enough people and area; None where none does.
    not_muted : Muted or None
        Otherwise, what the best muting would win and lose; None too where no field strengths are there to judge by.
    waiting_us : dict of site id to float
        At the worst moment: how late the sites still are that have not changed yet. [us]
    remarks : tuple of str
        Other differences that a change of settings does not make.
    """

    network: Network
    checksum: str
    changes: tuple[SiteChange, ...]
    unchanged: tuple[str, ...]
    order: Order
    moments: tuple[Moment, ...]
    measure: str
    muted: Muted | None
    waiting_us: dict[str, float]
    tolerated_us: float
    remarks: tuple[str, ...]
    problems: tuple[Problem, ...]
    tolerated_says: str
    """That nobody gave the tolerated error, and what it is then; empty where somebody did."""
    made: tuple[MadeChange, ...] = ()
    """Fields that stand as planned since the sheets were issued, each with its way back."""
    not_muted: Muted | None = None
    contradictions: tuple[Problem, ...] = ()
    """Where an old value is not what was last reported, or the reports do not agree."""

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Its plain data; while one site that changes is withheld, nobody is told what to set."""
        return plan_veiled(made, self.problems)

    @property
    def smooth_says(self) -> str:
        """Where the plain lies that areas and differences are judged over; empty where a terrain is named."""
        return smooth_says(self.network)

    @property
    def worst(self) -> Moment | None:
        """The worst moment between the ends; None where there is no between."""
        return self.moments[self.order.worst_at] if self.order.worst_at else None


def change_plan(
    network: Network,
    *,
    old: Network | None = None,
    coverage: Coverage | None = None,
    reviewed: Review | None = None,
    issued_at: Mapping[str, datetime] | None = None,
    people: Doubles | None = None,
) -> ChangePlan:
    """The plan for bringing a revision on air.

    Parameters
    ----------
    network : Network
        The revision to bring on air, or the part of it that can be read.
    old : Network, optional
        The revision that is on air, with its computed settings; none: what the document says is set now.
    coverage : Coverage, optional
        Levels that were computed before. With them the order goes by the area served, else by delay differences.
    reviewed : Review, optional
        The whole network with all that is wrong with it: each change bears its verdict, the plan what withholds any.
    issued_at : mapping of site id to datetime, optional
        When each site's sheet of this revision was first issued.
    people : ndarray, shape (M,), optional
        Inhabitants of each pixel of `coverage`.

    Raises
    ------
    PlanError
        If a position cannot be read, the service is not known, or a field's present value or sign is not: then
        nobody can tell what a change does, nor go back.
    """
    placed = place(network)
    table = delay_table(network, placed=placed) if reviewed is None or network.left_out else reviewed.table
    before = Before.of(old, issued_at or {})
    _refuse_unknown(network, before)
    found = [
        made
        for site in network.sites
        if (made := _site_change(site, table, before, reviewed, network.reported)) is not None
    ]
    launches = _Launches.of(network, table, found)
    by_difference = difference_measure(network, placed=placed)
    by_area = None if coverage is None else area_measure(network, coverage, changes_n=len(found))
    chosen: Measure = by_area if by_area is not None and by_area.orders else by_difference
    order = safe_order(
        len(found), lambda made: chosen.badness(launches.after(made)), most_states_n=chosen.most_states_n
    )
    names = [found[i].site.name for i in order.changes]
    moments = tuple(
        by_difference.moment(launches.after(state), after=name, area=by_area)
        for state, name in zip(order.states, ("", *names), strict=True)
    )
    worst = launches.after(order.states[order.worst_at])
    changed = {one.site.id for one in found}
    tried: tuple[Muted, ...] = ()
    if coverage is not None and order.worst_at and not network.unjudged:
        tried = muting_tried(network, coverage, worst, by_difference.suspects(worst), people=people)
    chosen_mute = next((one for one in tried if one.worth_it), None)
    return ChangePlan(
        network,
        stamped_checksum(network),
        tuple(found[i] for i in order.changes),
        tuple(site.name for site in network.sites if site.id not in changed),
        order,
        moments,
        "area" if chosen is by_area else "difference",
        chosen_mute,
        launches.waiting_us(order.states[order.worst_at]),
        tolerated_error(network),
        _remarks(network.whole, old),
        _stopped(network, found),
        tolerated_says(network),
        () if reviewed is None else tuple(_made(reviewed, issued_at or {})),
        None if chosen_mute else max((one for one in tried if one.won_km2 > 0), key=lambda one: one.won, default=None),
        (*_reports(network), *(() if old is None else _against_reports(network, found))),
    )


def _made(reviewed: Review, issued_at: Mapping[str, datetime]) -> Iterator[MadeChange]:
    """What is done already; only what was issued can be."""
    there = {row.site_id for row in reviewed.table.rows} & set(reviewed.placed)
    for site in reviewed.network.sites:
        if site.id not in issued_at or site.id not in there:
            continue
        for route in sheet(reviewed, site.id, issued_at=issued_at[site.id]).routes:
            yield from (
                MadeChange(site, route.row.route, line)
                for line in route.fields
                if (line.before == line.value or route.row.now_us == route.row.set_us)
                and line.back.value != line.before
            )


def _reports(network: Network) -> tuple[Problem, ...]:
    """Where what was reported of the settings contradicts itself, or the document."""
    return () if network.reported is None else tuple(p for p in network.reported.problems if p.touches)


def _against_reports(network: Network, changes: list[SiteChange]) -> Iterator[Problem]:
    """Old values of an older revision that are not what was last reported."""
    for change in changes:
        for route in change.routes:
            for line in route.fields:
                key = key_of(change.site, route.row.route, line.name)
                stood = None if network.reported is None else network.reported.now(key)
                if stood is None or stood.value is None or stood.value == line.before:
                    continue
                says = (
                    "a value nobody knows" if line.before is None else f"{written(line.before)} {unit_said(line.unit)}"
                )
                what = (
                    f"site {change.site.name} ({route.row.route}): the older revision puts {line.name} at {says};"
                    f" {written(stood.value)} {unit_said(line.unit)} was reported by {stood.who} on"
                    f" {stood.held_at:%Y-%m-%d %H:%M} UTC"
                )
                yield Problem(
                    "against", what, "the plan against what is set now, or one more reading", "warning",
                    code="plan-old-value-contradicted", touches=(Touch(change.site.id, route.row.route),),
                    fields=(line.name,), values={"plan": line.before, "reported": stood.value},
                )  # fmt: skip


def _stopped(network: Network, changes: list[SiteChange]) -> tuple[Problem, ...]:
    """What withholds the changes: under the site whose step it is, with whose doubt it is and where that stands."""
    return tuple(
        dict.fromkeys(
            replace(
                reason.problem,
                where=f"sites[{network.places[one.site.id]}]",
                touches=tuple(dict.fromkeys((Touch(one.site.id), *reason.problem.touches))),
                values={**reason.problem.values, "whose": reason.whose, "doubt_at": reason.problem.where},
            )
            for one in changes
            if one.verdict is not None
            for reason in one.verdict.because("withheld")
        )
    )


def _refuse_unknown(network: Network, before: Before) -> None:
    """No plan where what is to be changed, or which way it moves the launch, is not known."""
    unknown = []
    for site in network.sites:
        for j, field in enumerate(site.delay_fields):
            where = f"sites[{network.places[site.id]}].delay_fields[{j}]"
            who, touches, fields = f"site {site.name}: ", (Touch(site.id),), (field.name,)
            if any(before.value(site, chain.route, field.name)[0] is None for chain in site.chains):
                what = f"{who}what {field.name} is set to now is not known, so no change of it can be planned"
                expected = "the present value, read off the device"
                unknown.append(
                    Problem(
                        f"{where}.set", what, expected, code="present-value-unknown", touches=touches, fields=fields
                    )
                )
            if field.sign == UNKNOWN:
                what = f"{who}which way {field.name} moves the launch is not known, so no change of it can be planned"
                expected = "later or earlier, as a small change measured on the device shows"
                unknown.append(
                    Problem(f"{where}.sign", what, expected, code="device-sign-unknown", touches=touches, fields=fields)
                )
    if unknown:
        raise PlanError(unknown)


def _site_change(
    site: Site, table: DelayTable, before: Before, reviewed: Review | None, reported: Reported | None
) -> SiteChange | None:
    """One site; None where every field of every route keeps its value."""
    verdicts = {} if reviewed is None else reviewed.verdicts
    routes = [
        _route_change(site, row, before, verdicts.get((site.id, row.route)), reported)
        for row in table.rows
        if row.site_id == site.id
    ]
    issued = {} if reported is None or before.values is not None else reported.issued
    moved = tuple(
        route
        for route in routes
        if any(exact(f.value) != exact(f.before) for f in route.fields)
        # Another split of what was issued launches alike: nobody is sent to turn it.
        and not (route.shift_us == 0 and (site.id, route.row.route) in issued)
    )
    if not moved:
        return None
    parent = next((row.site_name for row in table.rows if row.site_id == site.fed_off_air_from), None)
    assumed = tuple(dict.fromkeys(name for route in moved for name in route.row.assumed_stages))
    return SiteChange(site, parent, moved, assumed, None if reviewed is None else reviewed.of(site.id))


def _route_change(
    site: Site, row: DelayRow, before: Before, verdict: Verdict | None, reported: Reported | None
) -> RouteChange:
    """One route, whether anything moves or not."""
    lines, shift, unknown = [], Fraction(0), []
    settings, _ = settings_on_sheet(site, row, verdict, reported)
    for made, field in zip(settings, site.delay_fields, strict=True):
        value, known = before.value(site, row.route, made.name)
        assert value is not None  # `_refuse_unknown`
        shift += contributes(field, made.value) - contributes(field, value)
        unknown += [] if known else [made.name]
        lines.append(
            FieldLine(
                made.name,
                made.unit,
                made.value,
                value,
                float(exact(made.value) - exact(value)),
                field.entry,
                field.least,
                field.greatest,
                field.sign,
                before.back(site, row.route, made, value, reported=reported),
                # Against another value than what stands there nobody can say what to type.
                to_enter(site, row.route, field, made) if field.entry == "absolute" or value == made.before else None,
            )
        )
    return RouteChange(row, tuple(lines), plane_times(row), float(shift), tuple(unknown))


@dataclass(frozen=True, slots=True)
class _Launches:
    """Launches of every site with some changes made: a site fed off air moves with its parent."""

    planned_us: dict[str, float]
    parents: dict[str, str | None]
    shifts_us: tuple[tuple[str, float], ...]

    @classmethod
    def of(cls, network: Network, table: DelayTable, found: list[SiteChange]) -> "_Launches":
        """From the delay table; only main routes are on air."""
        shifts = tuple((one.site.id, sum(r.shift_us for r in one.routes if r.row.route == "main")) for one in found)
        return cls(table.launches(), {s.id: s.fed_off_air_from for s in feed_order(network)}, shifts)

    def waiting_us(self, state: State) -> dict[str, float]:
        """How much later than planned each unchanged site's own settings make it. [us]"""
        return {site: -shift for i, (site, shift) in enumerate(self.shifts_us) if i not in state and shift}

    def after(self, state: State) -> dict[str, float]:
        """Launches with the changes of a state made and the others not. [us]"""
        own, late = self.waiting_us(state), dict[str, float]()
        for site, parent in self.parents.items():
            late[site] = own.get(site, 0.0) + (late[parent] if parent else 0.0)
        return {site: planned + late[site] for site, planned in self.planned_us.items()}


def _remarks(network: Network, old: Network | None) -> tuple[str, ...]:
    """What else differs from the older revision, in words."""
    if old is None:
        return ()
    then, now = ({site.id: site for site in one.sites} for one in (old, network))
    said = [f"{site.name} is new in this revision" for name, site in now.items() if name not in then]
    said += [f"{site.name} is no longer in the plan" for name, site in then.items() if name not in now]
    for name in then.keys() & now.keys():
        if then[name].on_air != now[name].on_air:
            said.append(f"{now[name].name} {'goes on air' if now[name].on_air else 'stops transmitting'}")
        if then[name].erp_kw != now[name].erp_kw or then[name].antenna != now[name].antenna:
            said.append(f"{now[name].name} changes its power or antenna: not part of this change of settings")
    if (old.service, old.frequency_mhz) != (network.service, network.frequency_mhz):
        said.append("service or frequency differ: not part of this change of settings")
    return tuple(said)
