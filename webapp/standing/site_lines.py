"""One site with everything that was sent from it: the office's overview and the network's first page show the same."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from sfn.study.going_back import as_ordered
from sfn.study.readings import Judged
from sfn.study.sheet import Sheet
from sfn.study.site_state import SiteState
from sfn.survey.readings import State
from webapp.shell.dependencies import Opened
from webapp.shell.windows import Window, window
from webapp.standing.readings import Kept, kept
from webapp.standing.release import Released, SheetLine
from webapp.standing.site_folds import FOLDS, REPORTS, in_order
from webapp.standing.under_way import TakenBack, after, taken_back
from webapp.store.entries import Entry
from webapp.store.ledger import LEDGERS, Ledger
from webapp.store.store import Store
from webapp.store.timeline import held_of
from webapp.work.maps import Maps

STATES: Mapping[State, str] = {
    "planned": "planned",
    "set": "set",
    "measured": "measured",
    "split": "total right, split differs",
    "disagrees": "disagrees",
    "not changed": "not changed, as ordered",
    "gone back": "gone back, as ordered",
}
"""Every state in words; the last two are of a change that was ordered back, and only counted where there is one."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """A site in the office's overview."""

    sheet: Sheet
    state: SiteState
    kept: tuple[Kept, ...]
    """What was sent from it, the newest first: the part that was asked for."""
    line: SheetLine
    """How far its sheet is."""
    unissued: bool
    """Whether what was sent last was set or read without an issued sheet."""
    latest: Judged | None
    """What was sent last, whatever plan it was made under."""
    part: Window[int]
    """Which part of all that was sent stands in `kept`: by their places, from 0."""
    newest_at: datetime | None
    """When the newest of all that was sent from it held."""


EVERY_N = 10**9


@dataclass(frozen=True, slots=True)
class Sent:
    """What was sent from a site that has no sheet: the part that was asked for, and of how many."""

    site_id: str
    entries: tuple[Entry, ...]
    """The newest to arrive first."""
    part: Window[int]


def reported_lines(
    opened: Opened,
    store: Store,
    maps: Maps,
    found: Released,
    *,
    most: int = EVERY_N,
    parts: Mapping[str, str] | None = None,
) -> tuple[SiteLine, ...]:
    """Every site that has a sheet with what was sent from it.

    Of each site the newest are held against its sheet one by one, `most` of them, or that part which `parts` names.
    """
    gone, ledger = taken_back(store, maps, opened.head.id), LEDGERS.of(store, opened.head.id)
    asked = parts or {}
    return tuple(
        site_line(one, opened, store, gone, ledger, most=most, part=asked.get(one.sheet.site.id, ""))
        for one in found.lines
    )


def without_sheet(
    opened: Opened, store: Store, found: Released, *, most: int, parts: Mapping[str, str]
) -> Iterator[Sent]:
    """What was sent from each site that has no sheet any more, in the order of their first."""
    ledger, there = LEDGERS.of(store, opened.head.id), {line.sheet.site.id for line in found.lines}
    for site_id in ledger.sites(REPORTS):
        if site_id not in there:
            numbers = sorted(ledger.numbers(REPORTS, site_id=site_id), reverse=True)
            part = window(numbers, parts.get(site_id, ""), most=most)
            yield Sent(site_id, tuple(in_order(store, opened.head.id, part.rows)), part)


def site_line(
    line: SheetLine,
    opened: Opened,
    store: Store,
    gone: TakenBack | None,
    ledger: Ledger,
    *,
    most: int = EVERY_N,
    part: str = "",
) -> SiteLine:
    """One site with what was sent from it; `gone` is the change that was taken back, if one was."""
    made, network_id = line.sheet, opened.head.id
    state = FOLDS.state(store, network_id, made, ledger, number=opened.head.revision.number)
    # In the order in which they were taken: a telephone that had no connection sends late.
    numbers = ledger.numbers(REPORTS, site_id=made.site.id)
    old = None if gone is None else gone.old.get(made.site.id)
    if gone is not None and old is not None:
        held = kept(made, list(in_order(store, network_id, numbers)))
        since = [one.reading for one in held if after(gone.order, one)]
        state = as_ordered(state, gone.change, old, since=since, every=[one.reading for one in held])
    newest_first = numbers[::-1]
    each = (kept(made, [entry])[0] for entry in in_order(store, network_id, newest_first))
    counting = next((one for one in each if one.found and (one.found.settings or one.found.launches)), None)
    unissued = counting is not None and not counting.entry.body.get("issued", True)
    latest = None if counting is None else counting.found
    shown = window(range(len(newest_first)), part, most=most)
    newest = next(in_order(store, network_id, newest_first[:1]), None)
    part_kept = kept(made, list(in_order(store, network_id, [newest_first[n] for n in shown.rows])))
    newest_at = None if newest is None else held_of(newest).at
    return SiteLine(made, state, part_kept, line, unissued, latest, shown, newest_at)
