"""A change under way: which step is made, whose turn it is, what stands where, and what everybody goes back to.

The steps and their old values are written down when the change begins, out of the change plan: afterwards the plan
itself moves with every report. What stands at a site is what the timeline says; a step is made when every field of it
was reported at its new value since the beginning, from a telephone or to the control room on a call, or all of them at
another split of the same total: the launch is the planned one, and the state says so.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import floor
from typing import Any, Literal

from sfn.plan import FieldName, Network, Site, SiteName
from sfn.plan.reported import Key, Source
from sfn.study.change_plan import ChangePlan
from sfn.study.readings import Judged
from sfn.study.sheet import FieldLine
from sfn.timeline.held import not_sooner
from sfn.timeline.present import key_of
from sfn.timing.device import contributes

State = Literal["made", "split", "disagrees", "turn", "waits", "to go back", "as before"]
_MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class StepField:
    """One field of a step: to what (None: withheld since), and back to what (None: nobody knows), in its own unit.

    `or_back` is what else was said to stand there before the change: at the issue, or reported since. One of them was
    found so and the other is a slip, and nobody but the people there knows which.
    """

    route: str
    name: str
    unit: str
    value: float | None
    back: float | None
    or_back: tuple[float, ...] = ()

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "StepField":
        """From what was kept; changes of before have no second way back."""
        return cls(**{**kept, "name": FieldName(kept["name"]), "or_back": tuple(kept.get("or_back", ()))})


@dataclass(frozen=True, slots=True)
class Step:
    """One site, as it was written down when the change began."""

    site_id: str
    site_name: str
    fields: tuple[StepField, ...]
    before: bool = False
    """Made before the change began: it goes back with the others."""

    @property
    def unsure(self) -> bool:
        """Whether more than one old value was said to have stood there."""
        return any(one.or_back for one in self.fields)

    def as_json(self) -> dict[str, Any]:
        """As it is kept."""
        fields = [{key: getattr(one, key) for key in StepField.__dataclass_fields__} for one in self.fields]
        return {"site": self.site_id, "name": self.site_name, "fields": fields, "before": self.before}

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "Step":
        """From what was kept."""
        return cls(kept["site"], SiteName(kept["name"]), tuple(map(StepField.of, kept["fields"])), kept["before"])


@dataclass(frozen=True, slots=True)
class Standing:
    """What a field stands at by the timeline, and who says so; `since` tells whether that was since the beginning."""

    field: StepField
    value: float | None
    who: str
    source: Source | None
    held_at: datetime | None
    since: bool


@dataclass(frozen=True, slots=True)
class Read:
    """The latest launches read at a site since the change began."""

    found: Judged
    who: str
    held_at: datetime
    taken_back: bool = False
    """Read with the setting that was taken back: it says nothing of what is on air after going back."""
    near_order: bool = False
    """Clocks leave open on which side of the order to go back it was read."""


@dataclass(frozen=True, slots=True)
class LiveStep:
    """A step now. `early` says that it was made before a step that comes first; `said` are names of who said so.

    `split` says that its fields make up the planned total on every route, divided otherwise than planned.
    """

    number: int
    step: Step
    state: State
    fields: tuple[Standing, ...]
    read: Read | None
    made_at: datetime | None
    early: bool
    said: tuple[str, ...]
    split: bool = False

    @property
    def sources(self) -> tuple[tuple[str, str], ...]:
        """Who said what stands there since the change began, and whether it was read, told, or a device replaced."""
        return tuple(dict.fromkeys((one.who, one.source) for one in self.fields if one.since and one.source))


@dataclass(frozen=True, slots=True)
class LiveChange:
    """The whole change now.

    Parameters
    ----------
    steps : tuple of LiveStep
        In the order in which they are to be made, or taken back: then the last is the first.
    left_min : int
        Whole minutes to the roll-back deadline, negative after it. [min]
    """

    steps: tuple[LiveStep, ...]
    begun_at: datetime
    deadline_at: datetime
    going_back: bool
    left_min: int

    @property
    def turn(self) -> LiveStep | None:
        """Whose turn it is; None where everything is made, or back."""
        return next((one for one in self.steps if one.state in ("turn", "disagrees", "to go back")), None)

    @property
    def finished(self) -> bool:
        """Whether nothing is left to do."""
        return self.turn is None


def steps_of(plan: ChangePlan) -> tuple[Step, ...]:
    """The steps of a change plan with the old values, and what was made before it."""
    changing = {one.site.id for one in plan.changes}
    names = {one.site.id: one.site.name for one in plan.made}
    names |= {change.site.id: change.site.name for change in plan.changes}
    # A device that keeps one setting for all routes is set once, as its first route wants it.
    lines: dict[str, dict[Key, StepField]] = {}
    for one in plan.made:
        if one.site.id not in changing:
            _add(lines, one.site, one.route, one.field)
    before_n = len(lines)
    for change in plan.changes:
        for route in change.routes:
            for line in route.fields:
                _add(lines, change.site, route.row.route, line)
    return tuple(
        Step(site, names[site], tuple(fields.values()), before=n < before_n)
        for n, (site, fields) in enumerate(lines.items())
    )


def plan_mark(plan: ChangePlan) -> str:
    """What tells a change plan from every other: each field that moves, its new value and the one to go back to.

    The same before and after some of its steps are made, and in whatever order; another once an old value is another.
    """
    moves = [
        [step.site_id, one.route, one.name, one.unit, one.value, one.back]
        for step in steps_of(plan)
        for one in step.fields
        if one.value != one.back
    ]
    said = json.dumps(sorted(moves, key=lambda one: [str(part) for part in one[:3]]), allow_nan=False)
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def _add(lines: dict[str, dict[Key, StepField]], site: Site, route: str, line: FieldLine) -> None:
    """Add a field to the step of its site, once."""
    back = line.back
    told = (back.at_issue, *(other.value for other in back.others))
    others = tuple(dict.fromkeys(value for value in told if value is not None and value != back.value))
    made = StepField(route, line.name, line.unit, line.value, back.value, others)
    lines.setdefault(site.id, {}).setdefault(key_of(site, route, line.name), made)


def live_change(
    network: Network,
    steps: Sequence[Step],
    *,
    begun_at: datetime,
    deadline_at: datetime,
    now: datetime,
    going_back: bool = False,
    read: Mapping[str, Read] | None = None,
) -> LiveChange:
    """Where a change stands.

    Parameters
    ----------
    network : Network
        The revision that is brought on air, with what was reported.
    steps : sequence of Step
        In the order of the plan.
    begun_at, deadline_at, now : datetime
        By the server's clock, in UTC.
    going_back : bool
        Whether the control room has ordered everything back.
    read : mapping of site id to Read, optional
        The latest launches since the beginning.
    """
    found = [_step(network, n, one, begun_at, (read or {}).get(one.site_id)) for n, one in enumerate(steps, 1)]
    found = _back(found) if going_back else _forward(found)
    left_min = floor((deadline_at - now).total_seconds() / _MINUTE_S)
    return LiveChange(tuple(found), begun_at, deadline_at, going_back, left_min)


def _forward(steps: list[LiveStep]) -> list[LiveStep]:
    """Made, made with another split, disagreeing, whose turn, waiting; and what was made before its turn."""
    made: list[LiveStep] = []
    ahead = False  # somebody before is not done
    latest: datetime | None = None
    for one in steps:
        planned = all(_stands(field, field.field.value) for field in one.fields) or one.step.before
        done = planned or one.split
        strays = [f for f in one.fields if f.since and f.value not in (f.field.value, f.field.back)]
        wrong = done and one.read is not None and one.read.found.advice.does in ("repeat", "roll back")
        early = done and not one.step.before and (ahead or _before(one.made_at, latest))
        if done:
            state: State = "disagrees" if wrong else "made" if planned else "split"
            latest = max((at for at in (latest, one.made_at) if at is not None), default=None)
        else:
            state = "disagrees" if strays else "waits" if ahead else "turn"
        ahead = ahead or not done or wrong
        made.append(replace(one, state=state, early=early, made_at=one.made_at if done else None))
    return made


def _back(steps: list[LiveStep]) -> list[LiveStep]:
    """The last made goes back first; a site that was never changed stands as before."""
    return [
        replace(
            one,
            state="as before" if all(_stands(f, f.field.back, ever=True) for f in one.fields) else "to go back",
            early=False,
        )
        for one in reversed(steps)
    ]


def _before(at: datetime | None, other: datetime | None) -> bool:
    """Whether one instant lies before another, both known."""
    return at is not None and other is not None and at < other


def _stands(one: Standing, wanted: float | None, *, ever: bool = False) -> bool:
    """Whether a field was reported there since the change began; one that does not move, at any time."""
    return wanted is not None and one.value == wanted and (ever or one.since or one.field.value == one.field.back)


def _split(site: Site, fields: Sequence[Standing]) -> bool:
    """Whether fields, all reported since, give every route of the site its planned total, divided otherwise."""
    if any(one.value is None or one.field.value is None for one in fields):
        return False
    if not all(one.since or one.value == one.field.value == one.field.back for one in fields):
        return False
    stands = {key_of(site, one.field.route, one.field.name): one for one in fields}
    for chain in site.chains:
        keys = ((own, key_of(site, chain.route, own.name)) for own in site.delay_fields)
        moved = [(own, stands[key]) for own, key in keys if key in stands]
        if sum(contributes(own, one.value or 0.0) - contributes(own, one.field.value or 0.0) for own, one in moved):
            return False
    return any(one.value != one.field.value for one in fields)


def _step(network: Network, number: int, step: Step, begun_at: datetime, read: Read | None) -> LiveStep:
    """A step with what stands there, its state still open."""
    site = next((one for one in network.sites if one.id == step.site_id), None)
    fields = []
    for one in step.fields:
        key = None if site is None else key_of(site, one.route, one.name)
        stood = None if key is None or network.reported is None else network.reported.now(key)
        if stood is None:  # nobody ever reported it: it stands where the plan of the change says that it did
            fields.append(Standing(one, one.back, "", None, None, since=False))
        else:
            since = not_sooner(stood.latest, begun_at)
            fields.append(Standing(one, stood.value, stood.who, stood.source, stood.held_at, since))
    moved = [one for one in fields if one.since]
    made_at = max((one.held_at for one in moved if one.held_at is not None), default=None)
    words = {"read": "at the site", "told": "told to the control room", "replaced": "device replaced"}
    said = tuple(dict.fromkeys(f"{one.who}, {words[one.source]}" for one in moved if one.source is not None))
    split = site is not None and _split(site, fields)
    return LiveStep(number, step, "waits", tuple(fields), read, made_at, early=False, said=said, split=split)
