"""What revisions say happened to each site: planned settings, values of "set now", stages, corrections."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sfn.plan import Network, Site, Stage
from sfn.plan.planned import PlannedState
from sfn.timeline.event import Event, Kind
from sfn.timeline.held import Held, instant
from sfn.timing import DelayTable, delay_table

_DAY = timedelta(days=1) - timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class Saved:
    """One revision as the engine reads it: number, when in UTC, author, reason, document."""

    number: int
    at: datetime
    author: str
    reason: str
    network: Network


class Story:
    """What a network's revisions changed at its sites, revision by revision: each is looked at once.

    What the first revision says is told as happening at it: nobody can tell since when. A revision that leaves a site
    as it was is no event of the site, and one in which it could not be worked out planned nothing.
    """

    def __init__(self) -> None:
        self.events: tuple[Event, ...] = ()
        self.number = 0
        """The newest revision that was looked at; 0 before the first."""
        self._planned: dict[tuple[str, str], Mapping[str, Any]] = {}
        self._set_now: dict[tuple[str, str], Mapping[str, Any]] = {}
        self._stages: dict[str, Stage] = {}
        self._on_air: dict[str, bool] = {}
        self._corrections: dict[tuple[int, str], tuple[str, float]] = {}
        self._states: dict[str, PlannedState] = {}

    def add(self, save: Saved) -> None:
        """The next revision."""
        table, made = delay_table(save.network), list[Event]()
        for site in save.network.sites:
            made += _planned(self._planned, save, site, table)
            made += _set_now(self._set_now, save, site, first=self.number == 0)
            made += _on_air(self._on_air, save, site)
            made += _stage_events(self._stages, save, site)
            made += _corrected(self._corrections, save, site)
        made += _planned_states(self._states, save)
        self._stages = {stage.id: stage for stage in save.network.stages}
        self.number, self.events = save.number, (*self.events, *made)


def revision_events(saves: Sequence[Saved]) -> tuple[Event, ...]:
    """Everything that revisions, the oldest first, changed at the sites of a network; see `Story`."""
    story = Story()
    for save in saves:
        story.add(save)
    return story.events


def _planned_states(known: dict[str, PlannedState], save: Saved) -> Iterator[Event]:
    """Planned states that a revision adds, changes or drops; they stand at the day on which they are to hold."""
    now = {state.name: state for state in save.network.planned or ()}
    for name in [name for name in known if name not in now]:
        state = known.pop(name)
        yield _state_event(save, state, Held.sure(save.at), dropped=True)
    for name, state in now.items():
        if known.get(name) == state:
            continue
        known[name] = state
        day = datetime.combine(date.fromisoformat(state.date), time(), UTC)
        yield _state_event(save, state, Held(day, day, day + _DAY, day_alone=True), dropped=False)


def _state_event(save: Saved, state: PlannedState, held: Held, *, dropped: bool) -> Event:
    """One planned state on the timeline."""
    changes = [change.model_dump(mode="json", exclude_none=True) for change in state.changes]
    told = {"state": state.name, "until": state.until, "note": state.note, "common_delay_us": state.common_delay_us}
    values = {"revision": save.number, "reason": save.reason, **told, "changes": changes, "dropped": dropped}
    name = f"revision-{save.number}-state-{hashlib.sha256(state.name.encode()).hexdigest()[:8]}"
    others = tuple(change.site for change in state.changes)
    return Event(name, "", "planned-state", held, save.at, save.author, values, others)


def _event(
    save: Saved, site: Site, kind: Kind, mark: str, values: Mapping[str, Any], *, held: Held | None = None
) -> Event:
    """One event of a revision."""
    told = {"revision": save.number, "reason": save.reason, **values}
    name = "-".join(filter(None, (f"revision-{save.number}", site.id, kind, mark)))
    return Event(name, site.id, kind, held or Held.sure(save.at), save.at, save.author, told)


def _planned(
    known: dict[tuple[str, str], Mapping[str, Any]], save: Saved, site: Site, table: DelayTable
) -> Iterator[Event]:
    """What each route is to be set to, where that changed."""
    for row in (row for row in table.rows if row.site_id == site.id):
        fields = {one.name: {"value": one.value, "unit": one.unit} for one in row.fields}
        told = {"set_us": row.set_us, "launch_us": row.launch_us, "offset_us": site.offset_us, "fields": fields}
        if known.get((site.id, row.route)) != told:
            known[site.id, row.route] = told
            yield _event(save, site, "planned", row.route, {"route": row.route, **told})


def _set_now(
    known: dict[tuple[str, str], Mapping[str, Any]], save: Saved, site: Site, *, first: bool
) -> Iterator[Event]:
    """What the document says is set now, where that changed; of the first revision all that it says."""
    units = {own.name: own.unit for own in site.delay_fields}
    said: dict[str, Mapping[str, float | None]] = {"": {own.name: own.set for own in site.delay_fields}}
    said |= {chain.route: dict(chain.set) for chain in site.chains if chain.set is not None}
    for route, values in said.items():
        before = known.get((site.id, route), {})
        known[site.id, route] = values
        moved = {name: value for name, value in values.items() if value != before.get(name)}
        if not moved:
            continue
        fields = {
            name: {"value": value, "unit": units.get(name, ""), "before": before.get(name)}
            for name, value in moved.items()
        }
        # What a site starts with was typed with the site; it is told, and is nobody's report.
        yield _event(save, site, "set-in-plan", route, {"route": route, "fields": fields, "first": first or not before})


def _on_air(known: dict[str, bool], save: Saved, site: Site) -> Iterator[Event]:
    """Whether it radiates, where that changed."""
    before = known.get(site.id)
    known[site.id] = site.on_air
    if before is not None and before != site.on_air:
        yield _event(save, site, "on-air" if site.on_air else "off-air", "", {})


def _stage_events(known: Mapping[str, Stage], save: Saved, site: Site) -> Iterator[Event]:
    """Firmware or mode changed, a latency measured: of every stage that the site's chains pass."""
    stages = {stage.id: stage for stage in save.network.stages}
    used = [stages[i] for chain in site.chains for i in chain.stages if i in stages]
    used += [stages[i] for stage in used for i in stage.inside if i in stages]
    for stage in {one.id: one for one in used}.values():
        before = known.get(stage.id)
        changed = (stage.firmware, stage.changed)
        if stage.changed and (before is None or (before.firmware, before.changed) != changed):
            values: dict[str, Any] = {
                "stage": stage.id,
                "firmware": stage.firmware,
                "before": before and before.firmware,
            }
            held = _on_day(stage.changed, save.at)
            yield _event(save, site, "stage-changed", stage.id, values, held=held)
        measured = (stage.latency_us, stage.source, stage.date)
        if stage.source == "measured" and stage.date and (
            before is None or (before.latency_us, before.source, before.date) != measured
        ):  # fmt: skip
            values = {
                "stage": stage.id, "latency_us": stage.latency_us, "before_us": before and before.latency_us,
                "measured_with": stage.measured_with,
            }  # fmt: skip
            held = _on_day(stage.date, save.at)
            yield _event(save, site, "stage-measured", stage.id, values, held=held)


def _corrected(known: dict[tuple[int, str], tuple[str, float]], save: Saved, site: Site) -> Iterator[Event]:
    """Launch errors taken up since the revision before."""
    for n, one in enumerate(save.network.corrections or ()):
        if site.id not in one.stages:
            continue
        amount_us = one.amounts_us.get(site.id, 0.0)
        before = known.get((n, site.id))
        known[n, site.id] = (one.stages[site.id], amount_us)
        if before == (one.stages[site.id], amount_us):
            continue
        moved_us = round(amount_us - (before[1] if before else 0.0), 4)
        values = {"stage": one.stages[site.id], "moved_us": moved_us, "measurements_n": len(one.rows)}
        at = instant(one.taken_at)
        held = Held.sure(save.at) if at is None else Held.sure(min(at, save.at))
        yield _event(save, site, "corrected", str(n + 1), values, held=held)


def _on_day(day: str, saved_at: datetime) -> Held:
    """Some time on a day; no later than the revision that says so."""
    try:
        begins = datetime.combine(datetime.fromisoformat(day), time(), UTC)
    except ValueError:
        return Held(saved_at, saved_at, saved_at, f"{day!r} is no day")
    at = min(begins, saved_at)
    return Held(
        at, at, min(begins + _DAY, saved_at) if begins <= saved_at else at, "the day alone is known", day_alone=True
    )
