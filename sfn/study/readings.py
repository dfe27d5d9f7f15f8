"""What a technician typed at a site, held against the plan: questions, launches, scatter, the state of the site."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

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


def plan_of(made: Sheet, route: str) -> dict[str, float]:
    """What a sheet plans for a route: every field's value, and the launch. [own units, us]

    Raises
    ------
    ValueError
        If the route is not on the sheet.
    """
    planned = route_of(made, route)
    return {"launch_us": planned.row.launch_us, **{f"field {line.name}": line.value for line in planned.fields}}


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
