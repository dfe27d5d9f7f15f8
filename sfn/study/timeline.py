"""What happened to every site in the order in which it held, what stands there now, and where two things contradict.

A document alone cannot tell it: it holds no report, no reading and no revision, so there is no command for it. Pages
and the HTTP interface give it from the store.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sfn.check.on_sheet import SheetField, on_sheet
from sfn.check.review import review
from sfn.errors import Problem
from sfn.plan import Network, Site
from sfn.plan.planned import PlannedState
from sfn.plan.reported import Key, Reported, Stood
from sfn.study.states import changes_say
from sfn.timeline.event import Event, in_order, silent_at
from sfn.timeline.present import key_of
from sfn.timing import DelayTable


@dataclass(frozen=True, slots=True)
class Line:
    """One event, the events that contradict it, and what of the present state rests on it.

    `on_air` are the settings that stood while it happened, by site, where it asks for them (a complaint).
    """

    event: Event
    contradicts: tuple[Event, ...]
    present: tuple[str, ...]
    on_air: tuple["Then", ...] = ()


@dataclass(frozen=True, slots=True)
class Then:
    """A site at a moment: its fields as reported (None: nobody had reported them), and whether it was muted."""

    site_id: str
    name: str
    fields: Mapping[str, tuple[float | None, str] | None]
    silent: bool


@dataclass(frozen=True, slots=True)
class Present:
    """One field as it stands now, in its own unit.

    Parameters
    ----------
    route : str
        Empty where the device keeps one setting for all.
    value : float or None
        None where nobody knows.
    planned : float or None
        What its sheet asks for: as issued, where it is; None where that cannot be worked out.
    stood : Stood or None
        The report that says so; None: only the document does.
    plan_says : float or None
        What the document says is set now.
    contradicted : bool
        Whether the document says otherwise than the report.
    """

    site_id: str
    name: str
    route: str
    field: str
    unit: str
    value: float | None
    planned: float | None
    stood: Stood | None
    plan_says: float | None
    contradicted: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """Everything that happened, the oldest first by what held; what stands now; and every contradiction in words."""

    network: Network
    lines: tuple[Line, ...]
    present: tuple[Present, ...]
    problems: tuple[Problem, ...]
    site_id: str = ""
    """The site that it is narrowed to; empty for all."""


def timeline(network: Network, events: Iterable[Event], *, site_id: str = "") -> Timeline:
    """The timeline of a network, or of one of its sites.

    Parameters
    ----------
    network : Network
        The newest revision beside what was reported (`sfn.timeline.present.as_it_stands`).
    events : iterable of Event
        In any order.
    site_id : str, optional
        Only what is about this site.
    """
    reported = network.reported or Reported({})
    reviewed = review(network, problems=())
    asked = on_sheet(network, reviewed.table, reviewed.verdicts)
    every = as_asked(in_order(tuple(events)), asked)
    against, by_id = clashes(every, reported), {one.id: one for one in every}
    of_entry: dict[str, list[str]] = {}
    present = tuple(present_fields(network, asked=asked))
    for one in present:
        if one.stood is not None and one.stood.entry:
            of_entry.setdefault(one.stood.entry, []).append(one.field)
    chosen = [one for one in every if not site_id or one.about(site_id)]
    lines = tuple(
        Line(
            one,
            tuple(by_id[other] for other in against.get(one.id, ()) if other in by_id),
            tuple(of_entry.get(one.id, ())),
            _then(network, reported, every, one.held.at) if one.kind == "complaint" else (),
        )
        for one in chosen
    )
    problems = tuple(p for p in reported.problems if not site_id or p.touching(site_id))
    return Timeline(network, lines, tuple(one for one in present if site_id in ("", one.site_id)), problems, site_id)


@dataclass(frozen=True, slots=True)
class StateLine:
    """A planned state as a page lists it: from when, what is otherwise in words, and whether its day is over."""

    state: PlannedState
    says: tuple[str, ...]
    due: bool
    """Its day has come and it is not over: the plan still says how it stood before."""


def state_lines(network: Network, *, today: date) -> tuple[StateLine, ...]:
    """Planned states in the order of their days."""
    states = sorted(network.today.planned or (), key=lambda one: (one.date, one.name))
    day = today.isoformat()
    return tuple(
        StateLine(one, changes_say(network, one), one.date <= day and (one.until is None or day <= one.until))
        for one in states
    )


def as_asked(events: Sequence[Event], asked: Mapping[tuple[str, str], Sequence[SheetField]]) -> tuple[Event, ...]:
    """The same events, each plan with the fields that its sheet asks for: a total can be split in several ways.

    Parameters
    ----------
    events : sequence of Event
        In order.
    asked : mapping of (site id, route) to sequence of SheetField
        What the sheets of the newest revision ask for.

    Returns
    -------
    events : tuple of Event
        A plan has the fields of its first issue; one in force that was never issued those of its sheet now. One that
        was replaced before any issue keeps those of the delay table: no sheet ever asked for it.
    """
    plans: dict[tuple[str, str], list[int]] = {}
    for one in events:
        if one.kind == "planned":
            plans.setdefault((one.site_id, one.values["route"]), []).append(one.values["revision"])
    made = []
    for one in events:
        if one.kind == "planned":
            key, number = (one.site_id, one.values["route"]), one.values["revision"]
            ends = min((other for other in plans[key] if other > number), default=None)
            fields = _first_issue(events, key, number, ends)
            if fields is None and ends is None:
                fields = {line.name: {"value": line.value, "unit": line.unit} for line in asked.get(key, ())}
            one = replace(one, values={**one.values, "fields": fields}) if fields else one
        made.append(one)
    return tuple(made)


def _first_issue(
    events: Sequence[Event], key: tuple[str, str], begins: int, ends: int | None
) -> Mapping[str, Any] | None:
    """Fields of the first issue of a plan that holds from one revision until before another."""
    found = (
        one.values.get("settings", {}).get(key[1])
        for one in events
        if one.kind == "issued" and one.site_id == key[0]
        and begins <= one.values["revision"] and (ends is None or one.values["revision"] < ends)
    )  # fmt: skip
    return next((fields for fields in found if fields), None)


def present_fields(
    network: Network, *, asked: Mapping[tuple[str, str], Sequence[SheetField]] | None = None
) -> Iterator[Present]:
    """Every field of every site as it stands now; of a network beside its reports.

    Parameters
    ----------
    network : Network
    asked : mapping of (site id, route) to sequence of SheetField, optional
        What its sheets ask for; worked out where not given.
    """
    if asked is None:
        reviewed = review(network, problems=())
        asked = on_sheet(network, reviewed.table, reviewed.verdicts)
    reported = network.reported or Reported({})
    for site in network.sites:
        seen: set[Key] = set()
        for chain in site.chains:
            for own in site.delay_fields:
                key = key_of(site, chain.route, own.name)
                if key in seen:
                    continue
                seen.add(key)
                value = (chain.set or {}).get(own.name) if key[1] else own.set
                contradicted = key in reported.planned
                yield Present(
                    site.id, site.name, key[1], own.name, own.unit, value,
                    next((one.value for one in asked.get((site.id, chain.route), ()) if one.name == own.name), None),
                    reported.now(key),
                    reported.planned[key] if contradicted else value, contradicted,
                )  # fmt: skip


def planned_setting(table: DelayTable, site_id: str, route: str, name: str) -> float | None:
    """What a field is to be set to on a route; None where that cannot be worked out."""
    rows = (row for row in table.rows if (row.site_id, row.route) == (site_id, route))
    return next((one.value for row in rows for one in row.fields if one.name == name), None)


def clashes(events: Sequence[Event], reported: Reported) -> dict[str, list[str]]:
    """By event, those that contradict it: reports in either order, and what the document says instead.

    Parameters
    ----------
    events : sequence of Event
        In order; only those of kind ``set-in-plan`` are asked for, reports come from `reported`.
    reported : Reported
    """
    found: dict[str, dict[str, None]] = {}

    def both(one: str, other: str) -> None:
        """The two contradict each other."""
        if one and other and one != other:
            found.setdefault(one, {})[other] = None
            found.setdefault(other, {})[one] = None

    for key in reported.reports:
        for later, earlier in reported.rivals(key):
            both(later.entry, earlier.entry)
    for key in reported.planned:
        latest, typed = reported.now(key), _typed(events, key)
        both(latest.entry if latest else "", typed)
    return {name: list(others) for name, others in found.items()}


def _typed(events: Sequence[Event], key: Key) -> str:
    """The revision that put a field's present value into the document."""
    site_id, route, name = key
    return next(
        (
            one.id
            for one in reversed(events)
            if one.kind == "set-in-plan"
            and one.site_id == site_id
            and one.values.get("route") == route
            and name in one.values["fields"]
        ),
        "",
    )


def _then(network: Network, reported: Reported, events: Sequence[Event], moment: datetime) -> tuple[Then, ...]:
    """Every site as it was reported at a moment."""
    silent = silent_at(events, moment)
    return tuple(
        Then(site.id, site.name, dict(_fields_then(site, reported, moment)), site.id in silent)
        for site in network.sites
    )


def _fields_then(
    site: Site, reported: Reported, moment: datetime
) -> Iterator[tuple[str, tuple[float | None, str] | None]]:
    """The fields of a site's first route at a moment."""
    for own in site.delay_fields:
        stood = reported.at(key_of(site, site.chains[0].route, own.name), moment)
        yield own.name, None if stood is None else (stood.value, own.unit)
