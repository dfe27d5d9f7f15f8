"""What a technician typed at a site, held against the plan: questions, launches, scatter, the state of the site."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from sfn.by_identity import ByIdentity
from sfn.plan import DelayField
from sfn.plan.number_text import number_written
from sfn.study.asks import Asks, asks
from sfn.study.sheet import RouteSheet, Sheet
from sfn.survey.at_site import Advice
from sfn.survey.lock_sheet import question_lock
from sfn.survey.readings import (
    Launch,
    Restarts,
    State,
    measured_launch,
    restart_tolerance,
    state,
)
from sfn.survey.rules import Asked
from sfn.timing.device import contributes
from sfn.units import exact


@dataclass(frozen=True, slots=True)
class Reading:
    """One visit: as-set values by field name in the field's own unit, and readings against one pulse per second.

    An as-set value of None says that nobody knows it any more.
    """

    route: str = "main"
    as_set: Mapping[str, str | None] = field(default_factory=dict)
    readings_us: tuple[float, ...] = ()
    plane: str = ""
    test_cable_us: float = 0.0
    demodulator_us: float = 0.0
    locks: Mapping[str, str] = field(default_factory=dict)
    """Lines of the lock sheet, as typed."""
    replaced: bool = False
    """The device was replaced: what was known of its settings and launches is over."""
    typed_in: tuple[str, ...] = ()
    """Name of the field that each reading was typed in; otherwise ``reading-1`` and so on."""

    @property
    def names(self) -> tuple[str, ...]:
        """The field of each reading."""
        return self.typed_in or tuple(f"reading-{n}" for n in range(1, len(self.readings_us) + 1))


@dataclass(frozen=True, slots=True)
class Question:
    """Something typed that looks like a slip. `field` is ``set-N`` or ``reading-N``, counted from 1, or the field's
    own name.
    """

    field: str
    asked: Asked

    @property
    def text(self) -> str:
        """In English."""
        return self.asked.text


@dataclass(frozen=True, slots=True)
class SetLine:
    """One delay field in its own unit: as set (`value`), as planned (`before`), and what the difference does."""

    name: str
    unit: str
    value: float
    before: float
    off_us: float


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading held against the plan. `off_us` is the mean launch minus the planned one, positive = late."""

    questions: tuple[Question, ...]
    settings: tuple[SetLine, ...]
    launches: tuple[Launch, ...]
    scatter: Restarts | None
    planned_us: float
    measured_us: float | None
    off_us: float | None
    tolerated_us: float
    as_set_agrees: bool | None
    state: State
    advice: Advice
    """What to do at the site with it."""
    worst_us: float | None
    """The reading that is farthest off the plan, positive = late."""

    @property
    def launch_off(self) -> bool:
        """Whether a launch was read that is farther off than is tolerated."""
        return self.worst_us is not None and abs(self.worst_us) > self.tolerated_us


def judged(
    made: Sheet, reading: Reading, *, deadline: str | None = None, ask: bool = True, going_back: bool = False
) -> Judged:
    """Hold what was typed at a site against its sheet.

    Parameters
    ----------
    made : Sheet
        The field sheet of the site, in the revision meant.
    reading : Reading
    deadline : str, optional
        By when the old values go back; otherwise what the work order says.
    ask : bool
        Whether slips are looked for; without, there are no questions.
    going_back : bool
        Whether `made` is a sheet of `sfn.study.going_back`: it asks for the old values.

    Returns
    -------
    judged : Judged
        ``launch = reading - test cable - demodulator + latency from the plane to the antenna``. Settings agree when
        every field that the route has stands exactly as planned; with some fields not typed nothing is concluded.

    Raises
    ------
    ValueError
        If the route or the plane is not on the sheet, a setting is no number, or a latency is negative.
    """
    route = route_of(made, reading.route)
    planned = route.row.launch_us
    table = _table(made, route, deadline, ask, going_back)
    launches = _launches(route, reading)
    typed, seen = _typed(route, reading, table), dict(zip(reading.names, map(exact, reading.readings_us), strict=True))
    asked = [Question(name, one) for name, one in table.questions(typed, seen)]
    asked += [
        Question(f"lock-{name}", one)
        for name, said in (reading.locks.items() if ask else ())
        for one in question_lock(name, said, lock=made.site.lock, tolerance_us=made.tolerated_us)
    ]
    advised, worst_us = table.advised(typed, seen)
    values = [launch.launch_us for launch in launches]
    measured = sum(values) / len(values) if values else None
    lines = _lines(made, route, reading)
    whole = len(lines) == len(route.fields) and bool(lines)
    wrong = any(line.off_us != 0 for line in lines)
    agrees = False if wrong else True if whole else None
    worst = max(values, key=lambda value: abs(value - planned)) if values else None
    return Judged(
        tuple(asked),
        lines,
        launches,
        restart_tolerance(values) if len(values) > 1 else None,
        planned,
        measured,
        None if measured is None else measured - planned,
        made.tolerated_us,
        agrees,
        state(
            as_set_agrees=agrees,
            measured_us=worst,
            planned_us=planned,
            tolerance_us=made.tolerated_us,
            split=table.settings(typed) == "split",
        ),
        advised,
        None if worst_us is None else float(worst_us),
    )


_TABLES: ByIdentity[Sheet, dict[tuple[str, str | None, bool], Asks]] = ByIdentity()


def _table(made: Sheet, route: RouteSheet, deadline: str | None, ask: bool, going_back: bool) -> Asks:
    """The table of a route; without questions kept with its sheet: an office judges all readings of a site by it."""
    if ask:
        return asks(made, route, deadline=deadline, questions=True, going_back=going_back)
    kept, key = _TABLES.get(made, lambda _: {}), (route.row.route, deadline, going_back)
    if key not in kept:
        kept[key] = asks(made, route, deadline=deadline, questions=False, going_back=going_back)
    return kept[key]


def _typed(route: RouteSheet, reading: Reading, table: Asks) -> dict[str, Fraction]:
    """What was typed, by the names that the rules use; lock lines are read by themselves."""
    typed = {
        f"set-{n}": number_written(said)
        for n, line in enumerate(route.fields, 1)
        if (said := reading.as_set.get(line.name)) is not None
    }
    typed |= {"test_cable_us": exact(reading.test_cable_us), "demodulator_us": exact(reading.demodulator_us)}
    return typed | ({"plane_us": table.planes_us[reading.plane]} if reading.plane in table.planes_us else {})


def route_of(made: Sheet, name: str) -> RouteSheet:
    """The part of a sheet that is about one route; raises ValueError, naming those there are."""
    for route in made.routes:
        if route.row.route == name:
            return route
    raise ValueError(f"route must be one of {', '.join(r.row.route for r in made.routes)}, got {name!r}")


@dataclass(frozen=True, slots=True)
class SiteState:
    """A site at a glance: its state, and of one route the newest settings and launches that count.

    The route is the main one, or the first that disagrees. `scatter` is that of all launches since a field was last
    turned, however many visits they took; `locks` are questions about the newest lock-sheet readings.
    """

    state: State
    settings: Judged | None
    measured: Judged | None
    route: str
    scatter: Restarts | None
    locks: tuple[str, ...]


def plan_of(made: Sheet, route: str) -> dict[str, float]:
    """What a sheet plans for a route: every field's value, and the launch. [own units, us]

    Raises
    ------
    ValueError
        If the route is not on the sheet.
    """
    planned = route_of(made, route)
    return {"launch_us": planned.row.launch_us, **{f"field {line.name}": line.value for line in planned.fields}}


def site_state(made: Sheet, readings: Sequence[tuple[Reading, bool]]) -> SiteState:
    """State of a site from all readings, in the order in which they held: each field stands as it was reported last.

    Parameters
    ----------
    made : Sheet
        The sheet of the newest revision.
    readings : sequence of (Reading, bool)
        Each with whether it was made under the plan that the newest revision has for its route. An older one counts
        only where it agrees with the newest: a field that stands where an older plan put it is not wrong, it is not
        changed yet.
    """
    routes = [route.row.route for route in made.routes]
    of_route = {name: [one for one in readings if one[0].route == name or one[0].replaced] for name in routes}
    states = [_route_state(made, name, of_route[name]) for name in routes]
    odd: tuple[State, ...] = ("disagrees", "split")
    shown = next((one for state in odd for one in states if one.state == state), states[0])
    locks: dict[str, tuple[Asked, ...]] = {}
    for reading, _ in readings:
        for name, typed in reading.locks.items():
            locks[name] = tuple(question_lock(name, typed, lock=made.site.lock, tolerance_us=made.tolerated_us))
    wrong = tuple(one.text for told in locks.values() for one in told)
    return replace(shown, state="disagrees" if wrong else shown.state, locks=wrong)


def _route_state(made: Sheet, name: str, readings: Sequence[tuple[Reading, bool]]) -> SiteState:
    """State of one route."""
    stood: dict[str, tuple[str, bool]] = {}
    measured: Judged | None = None
    launches: list[float] = []
    plane, route = "", route_of(made, name)
    for reading, current in readings:
        if reading.replaced:
            stood, measured, launches = {}, None, []
            continue
        found: Judged | None = None
        try:
            typed = _numbers_typed(route, reading)
            if reading.readings_us or not current:  # of many readings, most are settings of today's plan
                found = judged(made, reading, ask=False)
        except ValueError:  # typed for a plane or field that the newest revision no longer has
            continue
        unknown = [name for name, text in reading.as_set.items() if text is None and name in stood]
        stood = {name: one for name, one in stood.items() if name not in unknown}
        # What was measured before a field was turned says nothing of what is on air now.
        if unknown or any(_turned_since(stood, name, text) for name, text in typed.items()):
            measured = None
        counts = found is None or current or found.state not in ("disagrees", "split")
        stood |= {name: (text, counts) for name, text in typed.items()}
        if not counts:
            measured = None
        elif found is not None and found.launches:
            if measured is None or reading.plane != plane:
                launches = []
            launches += [launch.launch_us for launch in found.launches]
            measured, plane = found, reading.plane
    settings = (
        judged(made, Reading(name, {field: typed for field, (typed, _) in stood.items()}), ask=False) if stood else None
    )
    if settings is not None and any(line.off_us != 0 and not stood[line.name][1] for line in settings.settings):
        settings = None  # a field stands where an older plan put it: not changed yet
    scatter = restart_tolerance(launches) if measured is not None and len(launches) > 1 else None
    stands: State = "planned" if settings is None else settings.state
    if measured is not None and stands in ("planned", "set"):
        stands = "measured"
    if measured is not None and measured.launch_off:
        stands = "disagrees"
    return SiteState(stands, settings, measured, name, scatter, ())


def _numbers_typed(route: RouteSheet, reading: Reading) -> dict[str, str]:
    """Settings of a route's fields as they were typed; raises ValueError, as `judged` does, where one is no number."""
    typed = {line.name: text for line in route.fields if (text := reading.as_set.get(line.name)) is not None}
    for text in typed.values():
        number_written(text)
    return typed


def _turned_since(stood: Mapping[str, tuple[str, bool]], name: str, typed: str) -> bool:
    """Whether a field was reported at another setting before."""
    if name not in stood or stood[name][0] == typed:
        return False
    return float(number_written(stood[name][0])) != float(number_written(typed))


def with_set_now(tree: Mapping[str, Any], site_id: str, found: SiteState) -> dict[str, Any]:
    """The document in which a site's fields stand where they were read: the way back of the next change.

    Parameters
    ----------
    tree : mapping
        The network document as it was typed.
    site_id : str
    found : SiteState
        Of that site; without settings nothing changes.
    """
    made: dict[str, Any] = copy.deepcopy(dict(tree))
    site = next(one for one in made["sites"] if one["id"] == site_id)
    own = next((chain.get("set") or {} for chain in site["chains"] if chain["route"] == found.route), {})
    for line in () if found.settings is None else found.settings.settings:
        value = int(line.value) if float(line.value).is_integer() else line.value
        if line.name in own:  # this route has a setting of its own
            own[line.name] = value
        else:
            next(one for one in site["delay_fields"] if one["name"] == line.name)["set"] = value
    return made


def _field(made: Sheet, name: str) -> DelayField:
    """A delay field of the site."""
    return next(own for own in made.site.delay_fields if own.name == name)


def _lines(made: Sheet, route: RouteSheet, reading: Reading) -> tuple[SetLine, ...]:
    """Settings that were typed, with what each difference does to the launch."""
    lines = []
    for planned in route.fields:
        typed = reading.as_set.get(planned.name)
        if typed is None:
            continue
        own, value = _field(made, planned.name), float(number_written(typed))
        off = contributes(own, value) - contributes(own, planned.value)
        lines.append(SetLine(planned.name, planned.unit, value, planned.value, float(off)))
    return tuple(lines)


def _launches(route: RouteSheet, reading: Reading) -> tuple[Launch, ...]:
    """Launches from readings at one plane."""
    if not reading.readings_us:
        return ()
    planes = {time.plane: time.passes_us for time in route.planes}
    if reading.plane not in planes:
        raise ValueError(f"plane must be one of {', '.join(planes)}, got {reading.plane!r}")
    behind = max(0.0, route.row.launch_us - planes[reading.plane])
    return tuple(
        measured_launch(
            value,
            test_cable_us=reading.test_cable_us,
            demodulator_us=reading.demodulator_us,
            planned_us=route.row.launch_us,
            plane_us=behind,
        )
        for value in reading.readings_us
    )
