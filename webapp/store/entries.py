"""What happened to a revision on its way to the air: sign-offs, values as set, measurements. Only ever added to.

One that a disk has changed is not read, and nothing that rests on it is shown, until somebody sets it aside by name
(`webapp.standing.set_aside`). A turned bit may also put one out of sight: under another site, another kind, another
network. So the network counts its entries, and all of them are looked at when they are first read, and again after
`LOOKED_AT_S`.
"""

import json
import time
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
from webapp.store.network_rows import counted, row_of
from webapp.store.schema import entries
from webapp.store.seals import HELPS, damaged, holds, rows, seal, utc

SIGN_OFF = "sign-off"
TOLD = ("note", "doubts", "reason", "route", "as_set", "units", "checksum", "emergency", "from", "plan", "entry")
"""What of an entry stands in the audit trail too; all of it stands here."""
ISSUE = "issue"
SET_ASIDE = "set-aside"
"""Of a damaged entry: what it said counts no more."""
LOOKED_AT_S = 600.0


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
        self._looked: dict[int, tuple[int, float]] = {}  # up to which entry a network's were looked at, and when

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
        self, network_id: int, *, kind: str | Collection[str] | None = None, site_id: str | None = None
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
            every = connection.execute(_of(network_id)).all()
        aside = _aside(every)
        return tuple(row for row in every if row.id not in aside and not holds(entries, row))

    def unsound(self, connection: Connection, network_id: int) -> list[int]:
        """Numbers of a network's entries that are not what was written, set aside or not."""
        return [row.id for row in connection.execute(_of(network_id)) if not holds(entries, row)]

    def _read(
        self, connection: Connection, network_id: int, *, kind: str | Collection[str] | None, site_id: str | None
    ) -> Iterator[Entry]:
        """Those asked for, once all of the network were looked at."""
        self.look(connection, network_id)
        query = _of(network_id)
        if kind is not None:
            query = query.where(entries.c.kind.in_([kind] if isinstance(kind, str) else list(kind)))
        if site_id is not None:
            query = query.where(entries.c.site_id == site_id)
        aside: frozenset[int] | None = None
        for row in connection.execute(query).all():
            if holds(entries, row):
                yield _entry(row)
                continue
            if aside is None:
                aside = _aside(connection.execute(_of(network_id)).all())
            if row.id not in aside:
                raise PlanError(_not_as_written([row]))

    def look(self, connection: Connection, network_id: int) -> None:
        """Hold every entry of a network against its seal, or those that came since, and all against their count.

        Raises
        ------
        PlanError
            If one is not what was written, or they are not as many.
        """
        query = select(func.count(), func.max(entries.c.id)).where(entries.c.network_id == network_id)
        there_n, last_id = connection.execute(query).one()
        written_n = row_of(connection, network_id, even_deleted=True).entries_n or 0
        if written_n != there_n:
            what = f"the database is damaged: {written_n} entries were written, and {there_n} are there"
            values = {"network": network_id, "written": written_n, "there": there_n}
            where = f"network {network_id}, readings, sign-offs and issues"
            expected = f"{HELPS}, or, under Revisions, going on with those that are there"
            raise PlanError([Problem(where, what, expected, code="store-damaged", values=values)])
        known, at_s = self._looked.get(network_id, (0, 0.0))
        if known > (last_id or 0) or time.monotonic() - at_s > LOOKED_AT_S:
            known, at_s = 0, time.monotonic()
        if known == (last_id or 0):
            return
        found = connection.execute(_of(network_id).where(entries.c.id > known)).all()
        wrong = [row for row in found if not holds(entries, row)]
        if wrong:
            aside = _aside(connection.execute(_of(network_id)).all())
            wrong = [row for row in wrong if row.id not in aside]
        if wrong:
            raise PlanError(_not_as_written(wrong))
        self._looked[network_id] = (last_id or 0, at_s)

    def last_id(self, network_id: int) -> int:
        """The newest entry of a network, 0 where it has none: nothing else changes what they say."""
        query = select(func.max(entries.c.id)).where(entries.c.network_id == network_id)
        with self._engine.begin() as connection:
            return int(connection.execute(query).scalar() or 0)


def _of(network_id: int) -> Any:
    """A query of a network's rows, the oldest first."""
    return rows(entries).where(entries.c.network_id == network_id).order_by(entries.c.id)


def _aside(every: Iterable[Row[Any]]) -> frozenset[int]:
    """Which of a network's entries somebody set aside."""
    return frozenset(
        int(json.loads(row.body)["entry"]) for row in every if row.kind == SET_ASIDE and holds(entries, row)
    )


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
