"""States of sites from all that was reported of them, kept and taken further by what arrives.

Only readings that held after all that were taken are taken by themselves: where one of before arrives, the plan of the
site is another, or its entries were read anew, all of that site's are taken once more.
"""

from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock
from weakref import WeakKeyDictionary

from sfn.study.readings import plan_of
from sfn.study.sheet import Sheet
from sfn.study.site_state import SiteFold, SiteState, mark
from webapp.standing.readings import reading_in
from webapp.store.entries import Entry
from webapp.store.ledger import Ledger
from webapp.store.store import Store
from webapp.store.timeline import READING, REPLACED, TOLD

REPORTS = (READING, TOLD, REPLACED)
"""What was read at the sites or told to the office of them, and devices replaced."""
MOST_FOLDS = 1_000
FIRST_N, BLOCK_N = 8, 500


@dataclass(slots=True)
class Taken:
    """Which entries of a ledger were taken, in the order in which they held."""

    ledger: Ledger
    taken_n: int = 0
    last: int = 0
    """Number of the entry that was taken last."""

    def goes_on(self, ledger: Ledger, numbers: Sequence[int]) -> bool:
        """Whether what was taken stands, and what is new held after it."""
        # An entry that came in between has moved the last one on.
        there = self.taken_n == 0 or (self.taken_n <= len(numbers) and numbers[self.taken_n - 1] == self.last)
        return self.ledger is ledger and there

    def took(self, numbers: Sequence[int]) -> None:
        """Note that all of these were taken."""
        self.taken_n, self.last = len(numbers), numbers[-1] if numbers else 0


@dataclass(slots=True)
class _Kept:
    """A state so far."""

    taken: Taken
    fold: SiteFold
    number: int
    """The revision that was the newest."""
    by_number: bool = False
    """Whether a reading counted as one of the plan in force by its revision alone."""


class Folds:
    """States of the sites that were asked for last."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: WeakKeyDictionary[Store, OrderedDict[tuple[int, str], tuple[Lock, list[_Kept]]]] = (
            WeakKeyDictionary()
        )

    def state(self, store: Store, network_id: int, made: Sheet, ledger: Ledger, *, number: int) -> SiteState:
        """State of a site by the sheet of a network's newest revision, `number`."""
        with self._lock:
            every = self._kept.setdefault(store, OrderedDict())
            own, held = every.setdefault((network_id, made.site.id), (Lock(), []))
            every.move_to_end((network_id, made.site.id))
            while len(every) > MOST_FOLDS:
                every.popitem(last=False)
        with own:
            numbers = ledger.numbers(REPORTS, site_id=made.site.id)
            kept = held.pop() if held else None  # not put back where anything fails on the way
            if kept is None or not _goes_on(kept, ledger, made, number, numbers):
                kept = _Kept(Taken(ledger), SiteFold(made), number)
            kept.number = number
            _take(kept, made, in_order(store, network_id, numbers[kept.taken.taken_n :]))
            kept.taken.took(numbers)
            held.append(kept)
            return kept.fold.state(made)


FOLDS = Folds()


def in_order(store: Store, network_id: int, numbers: Sequence[int]) -> Iterator[Entry]:
    """Entries in the order of their numbers as given, a block in memory at a time: few first, often one is enough."""
    begin, block_n = 0, FIRST_N
    while begin < len(numbers):
        block = numbers[begin : begin + block_n]
        found = store.entries.numbered(network_id, block)
        yield from (found[one] for one in block if one in found)
        begin, block_n = begin + block_n, min(4 * block_n, BLOCK_N)


def _goes_on(kept: _Kept, ledger: Ledger, made: Sheet, number: int, numbers: Sequence[int]) -> bool:
    """Whether what was taken stands under this sheet, and what is new held after it."""
    plans = kept.number == number or not kept.by_number
    return plans and kept.fold.mark == mark(made) and kept.taken.goes_on(ledger, numbers)


def _take(kept: _Kept, made: Sheet, entries: Iterator[Entry]) -> None:
    """Take entries, each with whether it was made under the plan that is in force for its route."""
    plans: Mapping[str, Mapping[str, float]] = {
        route.row.route: plan_of(made, route.row.route) for route in made.routes
    }
    for entry in entries:
        reading = reading_in(entry)
        same = entry.body.get("plan") == plans.get(reading.route)
        # One of a revision to come counts when that is the newest.
        kept.by_number = kept.by_number or (not same and entry.revision >= kept.number)
        kept.fold.take(made, reading, current=same or entry.revision == kept.number)
