"""What happened to a revision on its way to the air: sign-offs, values as set, measurements. Only ever added to."""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine, Row, func, insert, select
from sqlalchemy.engine import Connection

from webapp.store.audit import Audit
from webapp.store.schema import entries

SIGN_OFF = "sign-off"
TOLD = ("note", "doubts", "reason", "route", "as_set", "checksum", "emergency", "from", "plan")
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
            if unless is not None:
                own = select(entries).where(entries.c.network_id == network_id, entries.c.kind == kind)
                there = connection.execute(own.where(entries.c.site_id == site_id))
                if any(unless(_entry(row)) for row in there):
                    return
            connection.execute(insert(entries).values(**values))
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
            connection.execute(insert(entries), values)
            told = {"revision": revision, "entries_n": len(values)}
            self._audit.add(kind, subject="", network_id=network_id, body=told, who=made_by, within=connection)

    def of(
        self, network_id: int, *, kind: str | Collection[str] | None = None, site_id: str | None = None
    ) -> tuple[Entry, ...]:
        """Entries of a network, of one kind (or some) and one site where given; only these are read."""
        query = select(entries).where(entries.c.network_id == network_id).order_by(entries.c.id)
        if kind is not None:
            query = query.where(entries.c.kind.in_([kind] if isinstance(kind, str) else list(kind)))
        if site_id is not None:
            query = query.where(entries.c.site_id == site_id)
        with self._engine.begin() as connection:
            return tuple(_entry(row) for row in connection.execute(query))

    def last_id(self, network_id: int) -> int:
        """The newest entry of a network, 0 where it has none: nothing else changes what they say."""
        query = select(func.max(entries.c.id)).where(entries.c.network_id == network_id)
        with self._engine.begin() as connection:
            return int(connection.execute(query).scalar() or 0)


def _entry(row: Row[Any]) -> Entry:
    """The record of a row."""
    return Entry(
        row.id,
        row.network_id,
        row.revision,
        row.site_id,
        row.kind,
        row.made_at.replace(tzinfo=UTC),
        row.made_by,
        json.loads(row.body),
    )
