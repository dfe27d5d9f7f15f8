"""What happened to a revision on its way to the air: sign-offs, values as set, measurements. Only ever added to.

One that a disk has changed is not read, and nothing that rests on it is shown, until somebody sets it aside by name
(`webapp.standing.set_aside`). A turned bit may also put one out of sight: `webapp.store.looked` says when all of them
are held against their seals.
"""

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine, Row, func, insert, select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from sfn.plan import PersonName
from webapp.store.audit import Audit
from webapp.store.looked import BLOCK_N, SET_ASIDE as SET_ASIDE, Looked, not_found, of_network, streamed
from webapp.store.network_rows import counted
from webapp.store.schema import entries
from webapp.store.seals import damaged, holds, seal, utc

SIGN_OFF = "sign-off"
TOLD = ("note", "doubts", "reason", "route", "as_set", "units", "checksum", "emergency", "from", "plan", "entry")
"""What of an entry stands in the audit trail too; all of it stands here."""
ISSUE = "issue"


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that somebody did or saw at one site, under one revision."""

    id: int
    network_id: int
    revision: int
    site_id: str
    kind: str
    made_at: datetime
    made_by: str
    body: dict[str, Any]


class Entries:
    """The entries in one database, the oldest first."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime], audit: Audit) -> None:
        self._engine, self._clock, self._audit = engine, clock, audit
        self._looked = Looked(engine, _refuse)

    def add(
        self,
        network_id: int,
        *,
        revision: int,
        site_id: str,
        kind: str,
        made_by: str,
        body: Mapping[str, Any],
        unless: Callable[[Entry], bool] | None = None,
        carried: bool = False,
        within: Connection | None = None,
    ) -> None:
        """Write one entry; it is on the disk when this returns, or, `within` a transaction, when that ends.

        One that is `carried` over from another revision stays that of who made it, and the audit trail says so.

        With `unless`, nothing is written where that holds for an entry of the same kind and site: looked up and
        written as one, so that of two that come at the same time one is kept.
        """
        values = {
            "network_id": network_id,
            "revision": revision,
            "site_id": site_id,
            "kind": kind,
            "made_at": self._clock().astimezone(UTC).replace(tzinfo=None),
            "made_by": made_by,
            "body": json.dumps(dict(body), ensure_ascii=False, allow_nan=False),
        }
        with nullcontext(within) if within else self._engine.execution_options(writes=True).begin() as connection:
            if unless is not None and any(
                unless(one) for one in self._read(connection, network_id, kind=kind, site_id=site_id)
            ):
                return
            connection.execute(insert(entries).values(**values, digest=seal(entries, values)))
            counted(connection, network_id, 1)
            told = {"revision": revision, **{key: value for key, value in body.items() if key in TOLD}}
            if carried:
                told["made_by"] = made_by
            action = f"{kind} carried" if carried else kind
            self._audit.add(action, subject=site_id, network_id=network_id, body=told, who=made_by, within=connection)

    def add_many(
        self, network_id: int, *, revision: int, kind: str, made_by: str, rows: Sequence[tuple[str, Mapping[str, Any]]]
    ) -> None:
        """Write entries of one kind, each with its site, together or not at all; one line of the audit trail."""
        same = {
            "network_id": network_id,
            "revision": revision,
            "kind": kind,
            "made_at": self._clock().astimezone(UTC).replace(tzinfo=None),
            "made_by": made_by,
        }
        values = [
            {**same, "site_id": site_id, "body": json.dumps(dict(body), ensure_ascii=False, allow_nan=False)}
            for site_id, body in rows
        ]
        if not values:
            return
        with self._engine.execution_options(writes=True).begin() as connection:
            connection.execute(insert(entries), [{**one, "digest": seal(entries, one)} for one in values])
            counted(connection, network_id, len(values))
            told = {"revision": revision, "entries_n": len(values)}
            self._audit.add(kind, subject="", network_id=network_id, body=told, who=made_by, within=connection)

    def of(
        self,
        network_id: int,
        *,
        kind: str | Collection[str] | None = None,
        site_id: str | None = None,
    ) -> tuple[Entry, ...]:
        """Entries of a network, of one kind (or some) and one site where given; only these are read.

        Raises
        ------
        PlanError
            If an entry of the network is not what was written, or one is gone.
        """
        with self._engine.begin() as connection:
            return tuple(self._read(connection, network_id, kind=kind, site_id=site_id))

    def damaged(self, network_id: int) -> tuple[Row[Any], ...]:
        """Rows of a network that are not what was written and that nobody set aside, as they stand."""
        with self._engine.begin() as connection:
            wrong = [row for row in streamed(connection, network_id) if not holds(entries, row)]
            aside = _aside(connection, network_id) if wrong else frozenset[int]()
        return tuple(row for row in wrong if row.id not in aside)

    def unsound(self, connection: Connection, network_id: int) -> list[int]:
        """Numbers of a network's entries that are not what was written, set aside or not."""
        return [row.id for row in streamed(connection, network_id) if not holds(entries, row)]

    def _read(
        self,
        connection: Connection,
        network_id: int,
        *,
        kind: str | Collection[str] | None,
        site_id: str | None,
    ) -> Iterator[Entry]:
        """Those asked for, once all of the network were looked at; as many as were written."""
        held, query = self._looked.look(connection, network_id), of_network(network_id)
        kinds = [kind] if isinstance(kind, str) else None if kind is None else list(kind)
        if kinds is not None:
            query = query.where(entries.c.kind.in_(kinds))
        if site_id is not None:
            query = query.where(entries.c.site_id == site_id)
        if kinds is not None:
            query = query.order_by(None)  # or SQLite goes through all of the network's for the sake of the order
        found_n = 0
        there = sorted(connection.execute(query), key=lambda row: int(row.id))
        for row in self._sound(connection, network_id, there):
            found_n += 1
            yield _entry(row)
        if found_n != held.of(kinds, site_id):
            written_n = self._looked.look_anew(connection, network_id).of(kinds, site_id)  # names it, where it can
            raise PlanError([not_found(network_id, written_n, found_n)])

    def _sound(self, connection: Connection, network_id: int, found: Iterable[Row[Any]]) -> Iterator[Row[Any]]:
        """Rows that hold, without those that were set aside; raises for any other."""
        for row in found:
            if holds(entries, row):
                yield row
            else:
                _refuse(connection, network_id, [row])

    def look(self, connection: Connection, network_id: int) -> None:
        """Hold a network's entries against their seals and their count, as `webapp.store.looked` says.

        Raises
        ------
        PlanError
            If one is not what was written, or they are not as many.
        """
        self._looked.look(connection, network_id)

    def follow(self, network_id: int, *, above: int, take: Callable[[Entry], None]) -> tuple[int, int, int]:
        """Give every entry above a number to `take`, the oldest first, one at a time: however many, few are in memory.

        Returns
        -------
        there_n, last_id, given_n : int
            Of the same moment: how many the network has, the newest, and how many were passed, also those set aside.

        Raises
        ------
        PlanError
            As `of` does.
        """
        given_n = 0

        def given(row: Row[Any] | None) -> None:
            nonlocal given_n
            given_n += 1
            if row is not None:
                take(_entry(row))

        with self._engine.begin() as connection:
            found = self._looked.follow(connection, network_id, above=above, take=given)
        return found.there_n, found.last_id, given_n

    def numbered(self, network_id: int, numbers: Sequence[int]) -> dict[int, Entry]:
        """Some of a network's entries, by number, as its ledger has them; those set aside are not among them.

        Raises
        ------
        PlanError
            If one of them is not what was written, or is gone. The others are not looked at.
        """
        found: dict[int, Entry] = {}
        if not numbers:
            return found
        with self._engine.begin() as connection:
            for begin in range(0, len(numbers), BLOCK_N):
                block = list(numbers[begin : begin + BLOCK_N])
                there = connection.execute(of_network(network_id).where(entries.c.id.in_(block))).all()
                if len(there) != len(block):
                    self._looked.look_anew(connection, network_id)
                    raise PlanError([not_found(network_id, len(block), len(there))])
                sound = self._sound(connection, network_id, there)
                found |= {row.id: _entry(row) for row in sound}
        return found

    def close(self) -> None:
        """End what looks beside answers."""
        self._looked.close()

    def last_id(self, network_id: int) -> int:
        """The newest entry of a network, 0 where it has none: nothing else changes what they say."""
        query = select(func.max(entries.c.id)).where(entries.c.network_id == network_id)
        with self._engine.begin() as connection:
            return int(connection.execute(query).scalar() or 0)


def _aside(connection: Connection, network_id: int) -> frozenset[int]:
    """Which of a network's entries somebody set aside."""
    query = of_network(network_id).where(entries.c.kind == SET_ASIDE)
    return frozenset(int(json.loads(row.body)["entry"]) for row in connection.execute(query) if holds(entries, row))


def _refuse(connection: Connection, network_id: int, wrong: Sequence[Row[Any]]) -> None:
    """Raise `PlanError` of rows that are not what was written, unless all of them were set aside."""
    aside = _aside(connection, network_id)
    if left := [row for row in wrong if row.id not in aside]:
        raise PlanError(_not_as_written(left))


def _not_as_written(wrong: Sequence[Row[Any]]) -> list[Problem]:
    """Each damaged entry, as far as what stands there can still be read."""
    helps = "the entry set aside, with a reason, under Revisions; the page Record has what was set"
    return [
        damaged(
            f"network {row.network_id}, entry {row.id} ({words(row)})",
            helps=helps,
            values={"network": row.network_id, "entry": row.id, "site": str(row.site_id), "kind": str(row.kind)},
        )
        for row in wrong
    ]


def words(row: Row[Any]) -> str:
    """What a damaged entry was about, as far as that can be believed."""
    return f"{row.kind}, site {row.site_id or 'none'}, revision {row.revision}, {row.made_by}, {str(row.made_at)[:16]}"


def _entry(row: Row[Any]) -> Entry:
    """The record of a row that holds."""
    return Entry(
        row.id, row.network_id, row.revision, row.site_id, row.kind, utc(row.made_at), PersonName(row.made_by),
        json.loads(row.body),
    )  # fmt: skip
