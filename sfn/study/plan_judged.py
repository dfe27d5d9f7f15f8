"""One plan judged over the whole map, from the network as a document would have it with the plan."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

from sfn.chain import MAIN
from sfn.geodesy.position import Located
from sfn.plan import Network, Place, Site
from sfn.plan.may_change import ChangeCosts
from sfn.reception.coverage import Coverage
from sfn.reception.radiated import as_radiated
from sfn.report.numbers import us
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.solve.options import Choice, Seen
from sfn.study.lever_says import lever_doubts, lever_says
from sfn.study.losers import changed_places, lost_areas, names_near
from sfn.study.optimise_devices import changed_sites
from sfn.study.plan_levers import SiteLevers, as_changed, site_cost
from sfn.study.plans_found import Plan, SiteChange, sampling
from sfn.study.served import Doubles, State, counted_km2, state
from sfn.timing import DelayTable, delay_table

SAME_US = 1e-6


@dataclass(frozen=True, slots=True)
class Judged:
    """What plans of one network are held against.

    Parameters
    ----------
    network : Network
        As it is planned.
    base : Network
        The same with its common delay held as it is.
    computed : Coverage
    what : Objective
    levers : sequence of SiteLevers
    costs : ChangeCosts
    limits : Limits
    table : DelayTable
        Of `network`.
    before : State
    people : ndarray, shape (M,), or None
    named : sequence of Place
    placed : mapping of site id to Located
    executor : Executor or None
    """

    network: Network
    base: Network
    computed: Coverage
    what: Objective
    levers: Sequence[SiteLevers]
    costs: ChangeCosts
    limits: Limits
    table: DelayTable
    before: State
    people: Doubles | None
    named: Sequence[Place]
    placed: Mapping[str, Located]
    executor: Executor | None

    def plan(self, seen: Seen) -> Plan:
        """A plan that the search came to, with its settings in force."""
        offsets = self._offsets(seen)
        planned, table = self._with_common_delay(seen.chosen, offsets)
        levels = as_radiated(planned, self.computed)
        after = state(planned, levels, self.what, table.launches(), people=self.people, executor=self.executor)
        changes = self._changes(seen.chosen, table)
        weight, was, now = self.what.weight, self.before.served, after.served
        names = {site.id: site.name for site in self.network.sites}
        counted = self.people if self.people is not None else counted_km2(self.computed)
        tried = {one.site.id: one.lever(choice) for one, choice in zip(self.levers, seen.chosen, strict=True)}
        return Plan(
            sum(change.cost for change in changes), planned, changes,
            None if planned.common_delay == self.network.common_delay else planned.common_delay.value_us,
            after, float(weight[now & ~was].sum()), float(weight[was & ~now].sum()),
            sampling(weight, self.before, after),
            changed_places(self.computed, self.named, self.before, after),
            lost_areas(self.computed, self.before, after, counted, near=names_near(self.named, self.placed, names)),
            lever_doubts(self.network, {name: lever for name, lever in tried.items() if lever}, self.placed),
        )  # fmt: skip

    def _offsets(self, seen: Seen) -> dict[str, float]:
        """Its offsets; those of sites that it stops transmitting are left as they are, where no limit minds."""
        offsets = seen.offsets_us.copy()
        for i, one in enumerate(self.levers):
            if not one.on_air(seen.chosen[i]):
                back = offsets.copy()
                back[i] = self.limits.now_us[i]
                offsets = back if self.limits.kept(back) else offsets
        return dict(zip((one.site.id for one in self.levers), offsets.tolist(), strict=True))

    def _with_common_delay(self, chosen: Sequence[Choice], offsets: Mapping[str, float]) -> tuple[Network, DelayTable]:
        """The network with the plan; its common delay is held only where other devices would be set otherwise."""
        free, held = (as_changed(one, self.levers, chosen, offsets) for one in (self.network, self.base))
        tables = [delay_table(one, placed=self.placed) for one in (free, held)]
        launches = [table.launches() for table in tables]
        apart = [launches[0][name] - launches[1][name] for name in launches[0]]
        alike = max(apart) - min(apart) < SAME_US
        if alike and set(changed_sites(self.table, tables[0])) <= set(changed_sites(self.table, tables[1])):
            return free, tables[0]
        return held, tables[1]

    def _changes(self, chosen: Sequence[Choice], table: DelayTable) -> tuple[SiteChange, ...]:
        """What is changed, site by site."""
        moved = set(changed_sites(self.table, table))
        offsets = {row.site_id: row.offset_us for row in table.rows}
        made = []
        for one, choice in zip(self.levers, chosen, strict=True):
            site, fields = one.site, one.chosen(choice)
            sets = one.on_air(choice) and site.id in moved
            cost = site_cost(site, fields, moved=sets, costs=self.costs)
            if abs(offsets[site.id] - site.offset_us) > SAME_US:
                fields = {**fields, "offset_us": offsets[site.id]}
            if sets or any(name != "offset_us" for name in fields):
                settings = _settings(self.table, table, site.id) if sets else ()
                said = _says(self.network, one, choice, fields)
                made.append(SiteChange(site.id, cost, fields, said, settings))
        return tuple(made)


def _settings(before: DelayTable, after: DelayTable, site: str) -> tuple[tuple[str, float, float, str], ...]:
    """Delay fields of the main route with another value: name, planned before, planned now, unit."""
    was = {field.name: field.value for field in before.row(site, MAIN).fields}
    return tuple(
        (field.name, float(was[field.name]), float(field.value), field.unit)
        for field in after.row(site, MAIN).fields
        if field.value != was[field.name]
    )


def _says(network: Network, one: SiteLevers, choice: Choice, fields: Mapping[str, object]) -> str:
    """What changes at a site, in words."""
    site: Site = one.site
    said, lever = [], one.lever(choice)
    if "on_air" in fields:
        said.append("put on air" if one.on_air(choice) else "stops transmitting")
    if lever:
        said.append(lever_says(site, lever, network).removeprefix(f"{site.name}: "))
    if "offset_us" in fields:
        now = float(str(fields["offset_us"]))
        said.append(f"offset {us(now, 1, signed=True)} instead of {us(site.offset_us, 1, signed=True)}")
    return f"{site.name}: {', '.join(said) or 'its delay is set anew'}"
