"""A present value typed into the plan is something that somebody told the office: it goes on the timeline with a time.

Only what was changed is told, and only where it says otherwise than the latest report: a take-over tells nothing new,
and a revision that is restored says nothing of today.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.plan.reported import Key, Stood
from sfn.report.numbers import native
from sfn.study.standing import position_doubts
from sfn.study.timeline import planned_setting
from sfn.survey.readings import question_setting
from sfn.timeline.held import instant
from sfn.timeline.present import as_it_stands
from sfn.timing import delay_table
from webapp.standing.office_entries import held_at, told_body
from webapp.standing.readings import time_typed
from webapp.store.documents import network_of
from webapp.store.frozen import unfrozen
from webapp.store.store import Saved, Store
from webapp.store.timeline import TOLD, as_kept, reports_of

SET_AT = "set_at"
"""Field of a form that says since when what it changes of "set now" has been set."""


@dataclass(frozen=True, slots=True)
class _Typed:
    """One present value that a save changed."""

    key: Key
    value: float | None
    unit: str


def since(form: Mapping[str, str], *, now: datetime) -> datetime | None:
    """Since when a form says that present values hold; None where it does not say.

    Raises
    ------
    PlanError
        If it is no time, or to come.
    """
    text, problems = form.get(SET_AT, "").strip(), list[Problem]()
    time_typed(text, now, problems, name=SET_AT)
    if problems:
        raise PlanError(problems)
    return instant(text) if text else None


def put_down(
    store: Store, base: Saved, document: Mapping[str, Any], *, number: int, author: str, at: datetime | None = None,
    tells: bool = True,
) -> str:  # fmt: skip
    """Put present values that a save changed on the timeline.

    Parameters
    ----------
    store : Store
    base : Saved
        What the save was made from.
    document : mapping
        What was saved.
    number : int
        The new revision.
    author : str
    at : datetime, optional
        Since when they hold; now where nobody said so.
    tells : bool
        Whether they are told at all; else it is only said what counts instead.

    Returns
    -------
    str
        What became of them, in sentences; empty where none was changed.
    """
    before, after = base.network, network_of(document, base.own_services)
    network_id = base.revision.network_id
    changed = list(_changed(before, after))
    if not changed:
        return ""
    reported = as_it_stands(after, reports_of(store, network_id)).reported
    told = [
        one for one in changed
        if reported is None or (stood := reported.now(one.key)) is None or stood.value != one.value
    ]  # fmt: skip
    now = datetime.now(UTC)
    when = held_at(at, now=now)
    for site_id, route in dict.fromkeys(one.key[:2] for one in told if tells):
        own = [one for one in told if one.key[:2] == (site_id, route)]
        as_set = {one.key[2]: None if one.value is None else str(one.value) for one in own}
        units = {one.key[2]: one.unit for one in own}
        body = told_body(as_set, units, route=route or "main", words=f"typed into the plan, revision {number}")
        store.entries.add(
            network_id, revision=number, site_id=site_id, kind=TOLD, made_by=author, body=body | as_kept(when)
        )
    return " ".join(_said(store, network_id, after, told))


def doubts_of_save(store: Store, network_id: int, document: Mapping[str, Any]) -> tuple[Problem, ...]:
    """What a script is told of a document that was saved: of its positions, of an issue it takes back, of reports."""
    network = network_of(document, store.own_services())
    return (
        *position_doubts(network),
        *unfrozen(store, network_id, document),
        *contradictions(store, network_id, network),
    )


def contradictions(store: Store, network_id: int, network: Network) -> tuple[Problem, ...]:
    """Where a document says otherwise of what is set now than the latest reports, or these contradict each other."""
    reported = as_it_stands(network, reports_of(store, network_id)).reported
    return () if reported is None else reported.problems


def _changed(before: Network, after: Network) -> Iterator[_Typed]:
    """Every present value that is not what it was; of a field that was not there before nothing is told."""
    old, new = dict(_set_now(before)), dict(_set_now(after))
    for key, (value, unit) in new.items():
        if key in old and old[key] != (value, unit):
            yield _Typed(key, value, unit)


def _set_now(network: Network) -> Iterator[tuple[Key, tuple[float | None, str]]]:
    """What a document says is set now."""
    for site in network.sites:
        units = {own.name: own.unit for own in site.delay_fields}
        for own in site.delay_fields:
            yield (site.id, "", own.name), (own.set, own.unit)
        for chain in site.chains:
            for name, value in (chain.set or {}).items():
                yield (site.id, chain.route, name), (value, units.get(name, ""))


def _said(store: Store, network_id: int, after: Network, told: list[_Typed]) -> Iterator[str]:
    """What counts now of each value that was typed, and what it stands against."""
    names, table = {site.id: site.name for site in after.sites}, delay_table(after)
    fields = {(site.id, own.name): own for site in after.sites for own in site.delay_fields}
    reported = as_it_stands(after, reports_of(store, network_id)).reported
    for one in told:
        stood = () if reported is None else reported.reports.get(one.key, ())
        what = f"{names[one.key[0]]}, {one.key[2]}: {native(one.value, one.unit)}"
        if stood and stood[-1].value == one.value:
            against = stood[-2] if len(stood) > 1 else None
            yield f"{what} counts as told by you" + (f", instead of {_by(against, one.unit)}." if against else ".")
        elif stood:
            yield f"{what} does not count now: the latest report is {_by(stood[-1], one.unit)}. Both stand there."
        if one.value is not None:
            old = next((other.value for other in reversed(stood) if other.value != one.value), None)
            planned = planned_setting(table, one.key[0], one.key[1] or MAIN, one.key[2])
            known = {"planned": planned, "old": old} if one.value != planned else {}
            yield from question_setting(one.value, field=fields[one.key[0], one.key[2]], slips_alone=True, **known)


def _by(one: Stood, unit: str) -> str:
    """A report with who says so and when it held."""
    how = {"read": "read there", "told": "told", "replaced": "device replaced"}[one.source]
    return f"{native(one.value, unit)}, {how} on {one.held_at:%Y-%m-%d %H:%M} UTC by {one.who}"
