"""Readings typed at a site: form fields to the engine's record and to what is kept, and back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import number_written
from sfn.study.readings import Judged, Question, Reading, judged, plan_of, route_of
from sfn.study.sheet import RouteSheet, Sheet
from sfn.timeline.held import Held, held, instant
from sfn.units import grouped, written
from webapp.store.entries import Entry
from webapp.store.timeline import READING as READING, REPLACED, as_kept, entry_name, held_of

READINGS_N = 5
LOCKS = (
    ("carrier_reference", "Carrier reference"),
    ("pilot_source", "Pilot source"),
    ("pilot_phase", "Pilot phase, degrees"),
    ("deviation", "Peak deviation, kHz"),
    ("composite_polarity", "Composite polarity"),
    ("pre_emphasis", "Pre-emphasis, µs"),
    ("rds_source", "RDS source"),
)
LEVELS = (
    ("forward_power", "Forward power, with unit"),
    ("reflected_power", "Reflected power, with unit"),
    ("input_level", "Input level, with unit"),
)
LONGEST_TEXT_N, LONGEST_INITIALS_N = 4000, 40
"""Characters of a remark, a lock line or a level, and of initials: what is longer is refused, never cut."""
# A telephone's clock may be a little fast; an hour is another time zone.
_AHEAD, _BEHIND = timedelta(minutes=15), timedelta(days=366)
LABELS = {
    **{f"lock-{key}": label for key, label in LOCKS},
    **{f"level-{key}": label.removesuffix(", with unit") for key, label in LEVELS},
    "test_signal": "Test signal",
    "remarks": "Remarks",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """One sending from a site."""

    reading: Reading
    body: dict[str, Any]
    initials: str
    held: Held
    """When it held, by the server's clock."""
    confirmed: frozenset[str] = field(default_factory=frozenset)

    def open_questions(self, found: Judged) -> tuple[Question, ...]:
        """Questions that were not confirmed yet."""
        return tuple(q for q in found.questions if f"{q.field}: {q.text}" not in self.confirmed)


@dataclass(frozen=True, slots=True)
class Kept:
    """A reading in the office: who, when, under which revision, and what it comes to."""

    entry: Entry
    reading: Reading
    found: Judged | None
    """None where the sheet no longer has its route, plane or field."""

    @property
    def held(self) -> Held:
        """When it held, by the server's clock."""
        return held_of(self.entry)

    @property
    def name(self) -> str:
        """By which the timeline names it."""
        return entry_name(self.entry)


def typed_reading(form: Mapping[str, str], made: Sheet, *, now: datetime) -> Typed:
    """What was typed, every number checked.

    Raises
    ------
    PlanError
        With each field that cannot be read.
    """
    problems: list[Problem] = []

    def number(name: str, least: float, greatest: float, unit: str) -> float | None:
        """A number of a field; None where it is empty."""
        text = form.get(name, "").strip()
        if not text:
            return None
        expected = f"a number from {written(least)} to {written(greatest)} {unit}"
        figures = {"typed": text, "least": written(least), "greatest": written(greatest), "unit": unit}
        try:
            value = float(number_written(text))
        except ValueError as wrong:
            problems.append(Problem(name, str(wrong), expected, code="not-a-number", fields=(name,), values=figures))
            return None
        if not least <= value <= greatest:
            what = f"{text} is out of range"
            problems.append(Problem(name, what, expected, code="out-of-range", fields=(name,), values=figures))
        return value

    name = form.get("route") or made.routes[0].row.route
    try:
        route = route_of(made, name)
    except ValueError as wrong:
        raise PlanError(
            [Problem("route", str(wrong), "a route of this sheet", code="unknown-route", fields=("route",))]
        ) from None
    as_set = {}
    for n, planned in enumerate(route.fields, 1):
        value = number(f"set-{n}", -1e12, 1e12, planned.unit)
        if value is not None:
            as_set[planned.name] = form[f"set-{n}"].strip()
    seen = [number(f"reading-{n}", -1e7, 1e10, "us") for n in range(1, READINGS_N + 1)]
    readings = tuple(value for value in seen if value is not None)
    cable = number("test_cable_us", 0, 1e6, "us") or 0.0
    demodulator = number("demodulator_us", 0, 1e7, "us") or 0.0
    plane = form.get("plane", "")
    if readings and plane not in {time.plane for time in route.planes}:
        problems.append(
            Problem(
                "plane",
                "a reading needs the plane it was taken at",
                planes := ", ".join(t.plane for t in route.planes),
                code="plane-missing",
                fields=("plane",),
                values={"planes": planes},
            )
        )
    initials = form.get("initials", "").strip()
    if len(initials) > LONGEST_INITIALS_N:
        problems.append(_too_long("initials", initials, LONGEST_INITIALS_N))
    if not initials:
        problems.append(
            Problem("initials", "a reading needs initials", "yours", code="initials-missing", fields=("initials",))
        )
    texts = _texts(form)
    problems += [_too_long(name, text, LONGEST_TEXT_N) for name, text in texts.items() if len(text) > LONGEST_TEXT_N]
    if not (as_set or readings or texts or problems):
        problems.append(
            Problem(
                "set-1",
                "nothing was typed",
                "a setting, a reading, or a remark",
                code="nothing-typed",
                fields=("set-1",),
            )
        )
    pressed, clock = instant(form.get("taken_clock", "")), instant(form.get("phone_clock", ""))
    by_hand = form.get("taken_at", "") if pressed is None or clock is None else ""
    taken_at = time_typed(by_hand, now, problems)
    if problems:
        raise PlanError(problems)
    when = held(arrived_at=now, typed_at=instant(by_hand), pressed_at=pressed, clock_at=clock)
    if not by_hand:
        taken_at = f"{when.at:%Y-%m-%d %H:%M}"
    body = {
        "route": name,
        "plan": plan_of(made, name),
        "as_set": as_set,
        "units": {planned.name: planned.unit for planned in route.fields if planned.name in as_set},
        **as_kept(when),
        "readings_us": list(readings),
        "typed_in": [f"reading-{n}" for n, one in enumerate(seen, 1) if one is not None],
        "plane": plane if readings else "",
        "test_cable_us": cable,
        "demodulator_us": demodulator,
        "texts": texts,
        "taken_at": taken_at,
        "sending": form.get("sending", "")[:80],
        **({"pressed": pressed.isoformat()} if pressed is not None else {}),
        "confirmed": sorted(_in_words(one, route) for one in confirmed(form)),
    }
    return Typed(reading_of(body), body, initials, when, confirmed(form))


def reading_of(body: Mapping[str, Any]) -> Reading:
    """The engine's record of what was kept."""
    return Reading(
        str(body["route"]),
        dict(body["as_set"]),
        tuple(body["readings_us"]),
        str(body["plane"]),
        float(body["test_cable_us"]),
        float(body["demodulator_us"]),
        {key: text for key, _ in LOCKS if (text := body["texts"].get(f"lock-{key}"))},
        typed_in=tuple(body.get("typed_in", ())),
    )


def reading_in(entry: Entry) -> Reading:
    """The engine's record of an entry: a reading, or that the device was replaced."""
    return replace(reading_of(entry.body), replaced=entry.kind == REPLACED)


def confirmed(form: Mapping[str, str]) -> frozenset[str]:
    """Questions whose box was ticked."""
    return frozenset(value for name, value in form.items() if name.startswith("confirm-"))


def kept(
    made: Sheet, entries: Sequence[Entry], *, deadline: str | None = None, going_back: bool = False
) -> tuple[Kept, ...]:
    """Entries held against a sheet, in their order; `deadline` and `going_back` as in `sfn.study.asks`."""
    found = []
    for entry in entries:
        reading = reading_in(entry)
        try:
            found.append(
                Kept(entry, reading, judged(made, reading, deadline=deadline, ask=False, going_back=going_back))
            )
        except ValueError:  # the plan has changed since: route, plane or field are gone
            found.append(Kept(entry, reading, None))
    return tuple(found)


def _in_words(asked: str, route: RouteSheet) -> str:
    """A confirmed question with the name of its field as people know it, instead of the form's."""
    name, behind, text = asked.partition(": ")
    known = {f"set-{n}": line.name for n, line in enumerate(route.fields, 1)} | LABELS
    known |= {f"reading-{n}": f"reading {n}" for n in range(1, READINGS_N + 1)}
    known |= {"test_cable_us": "test cable", "demodulator_us": "demodulator"}
    return f"{known[name]}{behind}{text}" if name in known else asked


def _texts(form: Mapping[str, str]) -> dict[str, str]:
    """Lock sheet, levels, test signal and remarks: words, as typed."""
    names = [f"lock-{key}" for key, _ in LOCKS] + [f"level-{key}" for key, _ in LEVELS] + ["test_signal", "remarks"]
    return {name: text for name in names if (text := form.get(name, "").strip())}


def _too_long(name: str, text: str, most_n: int) -> Problem:
    """Refuse a text that would have to be cut."""
    what = f"{LABELS.get(name, 'Initials')}: {grouped(len(text))} characters are too many, and none is cut off unasked"
    values = {"typed_n": grouped(len(text)), "most_n": grouped(most_n)}
    return Problem(name, what, f"{grouped(most_n)} at most", code="too-long", fields=(name,), values=values)


def time_typed(text: str, now: datetime, problems: list[Problem], *, name: str = "taken_at") -> str:
    """A time typed by hand, in UTC, to the minute; now where none is. What is no time goes to the problems."""
    if not text.strip():
        return f"{now:%Y-%m-%d %H:%M}"
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        problems.append(
            Problem(
                name,
                f"{text!r} is no time",
                "as 2026-09-14 08:30, in UTC",
                code="not-a-date",
                fields=(name,),
                values={"typed": text},
            )
        )
        return ""
    at = at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)
    if at > now + _AHEAD:
        what = f"{at:%Y-%m-%d %H:%M} UTC is to come: is that local time?"
        problems.append(
            Problem(
                name,
                what,
                f"the time of the reading, in UTC; it is {now:%Y-%m-%d %H:%M} now",
                code="date-in-the-future",
                fields=(name,),
                values={"typed": f"{at:%Y-%m-%d %H:%M}", "now": f"{now:%Y-%m-%d %H:%M}"},
            )
        )
    if at < now - _BEHIND:
        problems.append(
            Problem(
                name,
                f"{at:%Y-%m-%d %H:%M} UTC is over a year ago",
                "the time of the reading",
                code="date-long-past",
                fields=(name,),
                values={"typed": f"{at:%Y-%m-%d %H:%M}"},
            )
        )
    return f"{at:%Y-%m-%d %H:%M}"
