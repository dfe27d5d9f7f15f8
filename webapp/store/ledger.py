"""What a network's entries say, followed as they arrive: every report, and the order in which everything held.

A network may keep a hundred thousand readings. They are read and held against their seals once, and what is kept of
each is small; what arrives later is taken in by itself. Of the words and figures of an entry nothing is kept here:
whoever shows them reads that entry. A network of up to `READ_AGAIN_N` entries is read anew each time. Whatever may say
less than before (an entry set aside, one that is gone) has all of them read anew.
"""

from array import array
from collections import OrderedDict
from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from functools import partial
from threading import Lock
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.plan.reported import Reported
from sfn.timeline.held import Held
from sfn.timeline.present import Gathered, Report, reported_by
from webapp.store.entries import SET_ASIDE, Entry
from webapp.store.reports import SOURCES, Units, held_of, report_of
from webapp.store.store import Saved, Store

READ_AGAIN_N = 500
MOST_ENTRIES_N = 400_000
"""Of all ledgers together; the one used last is kept however many it has."""
MOST_GATHERED = 2
_EPOCH, _US = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
Numbers = NDArray[np.int64]


class Ledger:
    """What the entries of one network say; it only grows."""

    def __init__(self) -> None:
        self.last_id = self.entries_n = 0
        self.remakes = False
        """Whether something came that takes back what was there."""
        self.reports: list[Report] = []
        self._ids, self._at, self._made, self._latest = array("q"), array("q"), array("q"), array("q")
        self._kinds, self._sites, self._others = array("l"), array("l"), array("l")
        self._words: dict[str, int] = {}  # kinds, sites and people, each once
        self._alike: dict[object, object] = {}
        self._sorted: tuple[int, Numbers] = (0, np.zeros(0, dtype=np.int64))
        self._gathered: OrderedDict[tuple[int, str], tuple[Gathered, int]] = OrderedDict()
        self._lock = Lock()

    def take(self, entry: Entry, units: Units) -> None:
        """Follow one more entry; `units` are those of older revisions."""
        held = _once(held_of(entry))
        self.remakes = self.remakes or entry.kind == SET_ASIDE
        for kept, value in (
            (self._ids, entry.id),
            (self._at, _us(held.at)),
            (self._made, _us(entry.made_at)),
            (self._latest, _us(held.latest)),
            (self._kinds, self._word(entry.kind)),
            (self._sites, self._word(entry.site_id)),
            (self._others, self._word(str(entry.body.get("reference_site") or entry.site_id))),
        ):
            kept.append(value)
        found = report_of(entry, units, held) if entry.kind in SOURCES else None
        if found is not None:
            self.reports.append(self._small(found))

    def numbers(
        self,
        kinds: Collection[str],
        *,
        site_id: str | None = None,
        about: str = "",
        latest_from: datetime | None = None,
    ) -> list[int]:
        """Numbers of entries of some kinds, in the order in which they held; of two at one instant as they arrived.

        Parameters
        ----------
        kinds : collection of str
        site_id : str, optional
            Only those of this site.
        about : str, optional
            Only those of this site, measured against it, or of no single site.
        latest_from : datetime, optional
            Only those that may have held at a moment or after it.
        """
        n = len(self._ids)
        wanted = np.isin(_column(self._kinds, n), [self._words[one] for one in kinds if one in self._words])
        sites = _column(self._sites, n)
        if site_id is not None:
            wanted &= sites == self._words.get(site_id, -1)
        if about:
            own, none = self._words.get(about, -1), self._words.get("", -1)
            wanted &= (sites == own) | (_column(self._others, n) == own) | (sites == none)
        if latest_from is not None:
            wanted &= _column(self._latest, n) >= _us(latest_from)
        order = self._order(n)
        return [int(one) for one in _column(self._ids, n)[order[wanted[order]]]]

    def sites(self, kinds: Collection[str]) -> list[str]:
        """Sites of which there are entries of some kinds, in the order in which the first of each arrived."""
        n = len(self._ids)
        wanted = np.isin(_column(self._kinds, n), [self._words[one] for one in kinds if one in self._words])
        codes, first = np.unique(_column(self._sites, n)[wanted], return_index=True)
        words = list(self._words)
        return [words[code] for code in codes[np.argsort(first)]]

    def reported(self, saved: Saved, network: Network) -> Reported:
        """What every report says of the fields of a revision, which `network` is."""
        key = (saved.revision.number, saved.own_services)
        with self._lock:
            found, taken_n = self._gathered.pop(key, (Gathered(network), 0))
            reports = self.reports[taken_n:]
            found.take(reports)
            self._gathered[key] = (found, taken_n + len(reports))
            while len(self._gathered) > MOST_GATHERED:
                self._gathered.popitem(last=False)
            return reported_by(found)

    def _order(self, n: int) -> Numbers:
        """Places of the first `n` entries in the order in which they held."""
        there_n, order = self._sorted
        if there_n != n:
            order = np.lexsort((_column(self._made, n), _column(self._at, n)))  # stable: then as they arrived
            self._sorted = (n, order)
        return order

    def _word(self, text: str) -> int:
        return self._words.setdefault(text, len(self._words))

    def _small(self, one: Report) -> Report:
        """The same report, what many say alike kept once."""
        said = tuple((name, self._alike.setdefault(field, field)) for name, field in one.fields.items())
        fields = self._alike.setdefault(said, one.fields)
        who = self._alike.setdefault((type(one.who), str(one.who)), one.who)
        site, route = self._alike.setdefault(one.site_id, one.site_id), self._alike.setdefault(one.route, one.route)
        return Report(site, route, fields, one.held, one.arrived_at, who, one.source, one.entry)  # type: ignore[arg-type]


class Ledgers:
    """Ledgers of the networks that were asked for last."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: WeakKeyDictionary[Store, OrderedDict[int, tuple[Lock, list[Ledger]]]] = WeakKeyDictionary()

    def of(self, store: Store, network_id: int) -> Ledger:
        """What the entries of a network say now.

        Raises
        ------
        PlanError
            If one of them is not what was written, or they are not as many.
        """
        with self._lock:
            every = self._kept.setdefault(store, OrderedDict())
            own, held = every.setdefault(network_id, (Lock(), []))
            every.move_to_end(network_id)
        with own:
            ledger = held[0] if held and held[0].entries_n > READ_AGAIN_N else Ledger()
            try:
                made = _followed(store, network_id, ledger)
            except BaseException:
                held.clear()
                raise
            held[:] = [made]
        self._forget(store)
        return made

    def _forget(self, store: Store) -> None:
        """Let the least used go while there is too much."""
        with self._lock:
            every = self._kept[store]
            total_n = sum(one.entries_n for _, held in every.values() for one in held)
            while total_n > MOST_ENTRIES_N and len(every) > 1:
                _, (_, held) = every.popitem(last=False)
                total_n -= sum(one.entries_n for one in held)


LEDGERS = Ledgers()


def _followed(store: Store, network_id: int, ledger: Ledger) -> Ledger:
    """The ledger up to the newest entry; one made anew where something was taken back."""
    units = Units(store, network_id)
    for one in (ledger, Ledger()):
        began_at, one.remakes = one.last_id, False
        take = partial(one.take, units=units)
        there_n, last_id, given_n = store.entries.follow(network_id, above=began_at, take=take)
        whole = one.entries_n + given_n == there_n and last_id >= began_at
        one.entries_n, one.last_id = there_n, last_id
        if whole and not (one.remakes and began_at):
            return one
    return one


def _once(held: Held) -> Held:
    """The same with one object for instants that are one."""
    earliest, latest = (held.at if one == held.at else one for one in (held.earliest, held.latest))
    return Held(held.at, earliest, latest, held.words)


def _us(moment: datetime) -> int:
    """Microseconds since 1970."""
    return (moment - _EPOCH) // _US


def _column(kept: "array[int]", n: int) -> Numbers:
    """The first values of a column."""
    return np.array(kept[:n], dtype=np.int64)
