"""When the entries of a network are held against their seals, and all of them against their count.

| entries | held against its seal |
|---|---|
| one that is read | as it is read, each time |
| all of a network | when its first is read in this process, and each that came since |
| all of a network, again | after `LOOKED_AT_S`: of up to `AT_ONCE_N` before anything is answered, of more beside it |
| how many there are, and of the kind and site that are asked for | each time any is read |

A turned bit may put an entry out of sight: under another site, another kind, another network, or out of the index by
which a kind is found; so those of each kind and site are counted as they are held. What is answered while many are
looked at again rests on rows that were held when they were read; where the second look finds one damaged, the next
answer is that.
"""

import logging
import threading
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine, Row, func, select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import PlanError, Problem
from webapp.store.network_rows import row_of
from webapp.store.schema import entries
from webapp.store.seals import HELPS, holds, rows

LOG = logging.getLogger("webapp.store")
SET_ASIDE = "set-aside"
"""Of a damaged entry: what it said counts no more."""
LOOKED_AT_S = 600.0
AT_ONCE_N = 2_000
BLOCK_N = 500
REST_S = 0.005
"""After each block of a look beside answers: whoever waits for a page comes first."""


@dataclass(frozen=True, slots=True)
class Held:
    """What was found when all entries of a network were held against their seals."""

    there_n: int
    last_id: int
    at_s: float
    """When all of them were; those that came since count as they came."""
    counts: Mapping[tuple[str, str], int]
    """How many hold, by kind and site."""

    def of(self, kinds: Collection[str] | None, site_id: str | None) -> int:
        """How many hold, of some kinds and a site where given."""
        return sum(
            n for (kind, site), n in self.counts.items() if (kinds is None or kind in kinds) and site_id in (None, site)
        )


class Looked:
    """Up to which entry each network's were looked at, and when.

    Parameters
    ----------
    engine : Engine
    refuse : callable
        Says that some rows are not what was written, if nobody set them aside: raises `PlanError`.
    """

    def __init__(self, engine: Engine, refuse: Callable[[Connection, int, list[Row[Any]]], None]) -> None:
        self._engine, self._refuse = engine, refuse
        self._until: dict[int, Held] = {}
        self._lock, self._ended = threading.Lock(), threading.Event()
        self._again: dict[int, threading.Thread] = {}

    def look(self, connection: Connection, network_id: int) -> Held:
        """Hold all entries against their count, and against their seals those that this module's head says.

        Raises
        ------
        PlanError
            If one is not what was written and nobody set it aside, or they are not as many.
        """
        there_n, last_id = _stand(connection, network_id)
        known = self._until.get(network_id)
        if known is not None and time.monotonic() - known.at_s > LOOKED_AT_S:
            if there_n <= AT_ONCE_N:
                known = None
            else:
                self._look_again(network_id)
        if known is not None and (known.there_n, known.last_id) == (there_n, last_id):
            return known
        if known is not None and known.last_id >= last_id:
            known = None  # this transaction began before the newest came, or the row of the network was made anew
        return self._held(connection, network_id, known, there_n, last_id)

    def look_anew(self, connection: Connection, network_id: int) -> Held:
        """The same of all of them, whenever they were looked at last."""
        self._until.pop(network_id, None)
        return self.look(connection, network_id)

    def follow(
        self, connection: Connection, network_id: int, *, above: int, take: Callable[[Row[Any] | None], None]
    ) -> Held:
        """The same, and every row above a number to `take`, in order; nothing in the place of one that does not hold.

        Where all are read and none was held yet, they are held as they are read.
        """
        if above == 0 and network_id not in self._until:
            return self._held(connection, network_id, None, *_stand(connection, network_id), take=take)
        found = self.look(connection, network_id)
        for row in streamed(connection, network_id, above=above):
            sound = holds(entries, row)
            if not sound:
                self._refuse(connection, network_id, [row])
            take(row if sound else None)
        return found

    def _held(
        self,
        connection: Connection,
        network_id: int,
        known: Held | None,
        there_n: int,
        last_id: int,
        *,
        take: Callable[[Row[Any] | None], None] | None = None,
        resting: bool = False,
    ) -> Held:
        """Hold those that came after what is known, or all, and note it."""
        at_s = time.monotonic() if known is None else known.at_s
        counts = Counter({} if known is None else known.counts)
        seen_n, wrong = 0 if known is None else known.there_n, []
        for row in streamed(connection, network_id, above=0 if known is None else known.last_id):
            if resting and seen_n % BLOCK_N == 0 and self._ended.wait(REST_S):
                raise _EndedError
            seen_n += 1
            sound = holds(entries, row)
            if sound:
                counts[row.kind, row.site_id] += 1
            else:
                wrong.append(row)
            if take is not None:
                take(row if sound else None)
        if wrong:
            self._refuse(connection, network_id, wrong)
        aside_n = sum(n for (kind, _), n in counts.items() if kind == SET_ASIDE)
        if known is not None and (seen_n != there_n or aside_n > known.of([SET_ASIDE], None)):
            # One that held may be set aside now.
            return self._held(connection, network_id, None, there_n, last_id, resting=resting)
        if seen_n != there_n:
            raise PlanError([_fewer(network_id, there_n, seen_n)])
        made = self._until[network_id] = Held(there_n, last_id, at_s, counts)
        return made

    def close(self) -> None:
        """End what looks beside answers."""
        self._ended.set()
        for one in list(self._again.values()):
            one.join(timeout=10)

    def _look_again(self, network_id: int) -> None:
        """Look at all of a network once more, beside whatever is answered."""
        with self._lock:
            running = self._again.get(network_id)
            if self._ended.is_set() or (running is not None and running.is_alive()):
                return
            made = threading.Thread(target=self._once_more, args=(network_id,), name="seals", daemon=True)
            self._again[network_id] = made
        made.start()

    def _once_more(self, network_id: int) -> None:
        """What a thread of its own does: where it finds damage, the next look is from the beginning, and refuses."""
        # Away, or the program ends: asked for again.
        with suppress(SQLAlchemyError, _EndedError), self._engine.begin() as connection:
            try:
                self._held(connection, network_id, None, *_stand(connection, network_id), resting=True)
            except PlanError as damaged:
                LOG.error("network %s: %s", network_id, damaged)
                self._until.pop(network_id, None)


class _EndedError(Exception):
    """The program ends."""


def _stand(connection: Connection, network_id: int) -> tuple[int, int]:
    """How many entries a network has, and the number of the newest, 0 where there is none.

    Raises
    ------
    PlanError
        If they are not as many as were written.
    """
    query = select(func.count(), func.max(entries.c.id)).where(entries.c.network_id == network_id)
    there_n, last_id = connection.execute(query).one()
    written_n = row_of(connection, network_id, even_deleted=True).entries_n or 0
    if written_n != there_n:
        raise PlanError([_fewer(network_id, written_n, there_n)])
    return int(there_n), int(last_id or 0)


def _fewer(network_id: int, written_n: int, there_n: int) -> Problem:
    """That entries are gone, or more than were written."""
    what = f"the database is damaged: {written_n} entries were written, and {there_n} are there"
    values: Mapping[str, Any] = {"network": network_id, "written": written_n, "there": there_n}
    where = f"network {network_id}, readings, sign-offs and issues"
    expected = f"{HELPS}, or, under Revisions, going on with those that are there"
    return Problem(where, what, expected, code="store-damaged", values=dict(values))


def not_found(network_id: int, written_n: int, found_n: int) -> Problem:
    """That the database's index shows fewer of a kind than there are, or more."""
    what = f"the database's index is damaged: of {written_n} entries that were asked for {found_n} were found"
    values = {"network": network_id, "written": written_n, "found": found_n}
    where = f"network {network_id}, readings, sign-offs and issues"
    return Problem(where, what, f"{HELPS}, or the index made anew (REINDEX)", code="store-damaged", values=values)


def of_network(network_id: int) -> Any:
    """A query of a network's rows, the oldest first."""
    return rows(entries).where(entries.c.network_id == network_id).order_by(entries.c.id)


def streamed(connection: Connection, network_id: int, *, above: int = 0) -> Iterator[Row[Any]]:
    """A network's rows above a number, a block in memory at a time."""
    query = of_network(network_id).where(entries.c.id > above)
    yield from connection.execute(query.execution_options(yield_per=BLOCK_N))
