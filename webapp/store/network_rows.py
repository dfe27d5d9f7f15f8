"""The row of a network: its name, whether it was deleted, which revision is its newest, and how much hangs on it.

All pages of a network rest on it, so one that a disk has changed opens nothing. But nearly all that it says is said
elsewhere too: it can be made anew, of the newest revision, of the record, and of what is counted there.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Row, delete, func, select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from webapp.store import revision_rows
from webapp.store.audit import Audit
from webapp.store.revision_rows import UNKNOWN, Revision, revision_of
from webapp.store.schema import entries, networks, overlays, revisions
from webapp.store.seals import HELPS, change, damaged, holds, put, rows, utc, utc_or_none

DELETED, UNDELETED, ANEW = "deleted", "deletion undone", "line in the list written anew"


class MissingError(Exception):
    """No such network or revision, or it has been deleted."""


@dataclass(frozen=True, slots=True)
class Summary:
    """One line of the list of networks."""

    id: int
    name: str
    service: str
    sites: int
    revision: int
    saved_at: datetime
    author: str
    deleted_at: datetime | None
    damaged: bool = False
    """Whether its row, or that of its newest revision, is not what was written: it may have been deleted."""


@dataclass(frozen=True, slots=True)
class Anew:
    """What the row of a network is made of where it is not what was written."""

    row: dict[str, Any]
    """Its columns; empty where no revision belongs to it: then it is no network's, and goes."""
    newest: Revision | None
    """The newest revision that is there."""
    document: Mapping[str, Any]
    """That of the newest revision whose document is whole; empty where none is."""
    said_n: int | None
    """How many entries the row says were written; None where it says none."""
    wrong: bool
    """Whether the row is damaged; else at most entries are missing."""

    @property
    def entries_n(self) -> int:
        """How many entries are there."""
        return int(self.row.get("entries_n") or 0)

    @property
    def lost(self) -> bool:
        """Whether entries may be gone: as many as the row says, or nobody knows how many, are not there."""
        return bool(self.row) and (self.said_n is None or self.said_n > self.entries_n)

    @property
    def needed(self) -> bool:
        """Whether the network opens only once the row is made anew."""
        return self.wrong or self.said_n != self.entries_n


def row_of(connection: Connection, network_id: int, *, even_deleted: bool = False) -> Row[Any]:
    """The row of a network.

    Raises
    ------
    MissingError
        If there is none, or the network was deleted.
    PlanError
        If it is not what was written, or is gone while its revisions are there.
    """
    row = connection.execute(rows(networks).where(networks.c.id == network_id)).first()
    newest = connection.execute(
        select(func.max(revisions.c.number)).where(revisions.c.network_id == network_id)
    ).scalar()  # fmt: skip
    if row is None and newest is None:
        raise MissingError
    if row is None or not holds(networks, row) or newest != row.head:
        raise PlanError([_damaged(network_id, row, newest)])
    if row.deleted_at is not None and not even_deleted:
        raise MissingError
    return row


def changed(connection: Connection, network_id: int, values: Mapping[str, Any]) -> None:
    """Change the row of a network, which has been looked at."""
    change(connection, networks, networks.c.id == network_id, values)


def counted(connection: Connection, network_id: int, more: int) -> None:
    """That a network has more entries."""
    row = row_of(connection, network_id, even_deleted=True)
    changed(connection, network_id, {"entries_n": (row.entries_n or 0) + more})


def summaries(connection: Connection, *, deleted: bool) -> Iterator[Summary]:
    """All networks, or all deleted ones, in no order; damaged ones among those that are not."""
    there = {row.id: row for row in connection.execute(rows(networks))}
    last = select(revisions.c.network_id, func.max(revisions.c.number).label("number"))
    last_of = last.group_by(revisions.c.network_id).subquery()
    newest = rows(revisions, texts=False).join(
        last_of, (revisions.c.network_id == last_of.c.network_id) & (revisions.c.number == last_of.c.number)
    )
    heads = {row.network_id: revision_of(row) for row in connection.execute(newest)}
    for network_id in there | heads:
        row, head = there.get(network_id), heads.get(network_id)
        if row is None or head is None or head.damaged or head.number != row.head or not holds(networks, row):
            if not deleted:
                yield _as_found(network_id, row, head)
        elif (row.deleted_at is not None) == deleted:
            yield Summary(
                row.id, row.name, row.service, row.sites, row.head, head.saved_at, head.author,
                None if row.deleted_at is None else utc(row.deleted_at),
            )  # fmt: skip


def anew(connection: Connection, network_id: int, audit: Audit) -> Anew:
    """What the row of a network would be made of.

    Raises
    ------
    MissingError
        If nothing is there of the network.
    """
    row = connection.execute(rows(networks).where(networks.c.id == network_id)).first()
    found = connection.execute(
        revision_rows.of(network_id, texts=True).order_by(revisions.c.number.desc())
    ).all()  # fmt: skip
    if row is None and not found:
        raise MissingError
    wrong = row is None or not holds(networks, row) or not found or found[0].number != row.head
    said_n = row.entries_n if row is not None and isinstance(row.entries_n, int) else None
    if said_n is None and not wrong:
        said_n = 0  # none was ever written
    if not found:
        return Anew({}, None, {}, said_n, wrong)
    whole = next((one for one in found if revision_rows.document_holds(one)), None)
    document: Mapping[str, Any] = {} if whole is None else revision_rows.document_of(whole)
    at = audit.last_of(network_id, (DELETED, UNDELETED))
    gone_at = at.at if at is not None and at.action == DELETED else None
    made = {
        "id": network_id,
        **columns(document),
        "head": found[0].number,
        "deleted_at": None if gone_at is None else datetime.fromisoformat(gone_at).astimezone(UTC).replace(tzinfo=None),
        "entries_n": _count(connection, entries, network_id),
        "overlays_n": _count(connection, overlays, network_id),
    }
    return Anew(made, revision_of(found[0]), document, said_n, wrong)


def put_anew(connection: Connection, network_id: int, made: Anew) -> None:
    """Write a network's row as `anew` found it; one that is no network's goes."""
    wanted = networks.c.id == network_id
    if not made.row:
        connection.execute(delete(networks).where(wanted))
    elif connection.execute(select(networks.c.id).where(wanted)).first() is None:
        put(connection, networks, made.row)
    else:
        change(connection, networks, wanted, made.row, damaged=True)


def columns(document: Mapping[str, Any]) -> dict[str, Any]:
    """What the list of networks shows without reading any document; written before the document is judged."""
    sites = document.get("sites")
    return {
        "name": str(document.get("name") or "Unnamed network"),
        "service": str(document.get("service") or ""),
        "sites": len(sites) if isinstance(sites, list) else 0,
    }


def _count(connection: Connection, table: Any, network_id: int) -> int:
    query = select(func.count()).select_from(table).where(table.c.network_id == network_id)
    return int(connection.execute(query).scalar_one())


def _as_found(network_id: int, row: Row[Any] | None, head: Revision | None) -> Summary:
    """A damaged network as far as it can be read."""
    found = Summary(network_id, f"Network {network_id}", "", 0, 0, UNKNOWN, "", None, damaged=True)
    if head is not None:
        found = replace(found, revision=head.number, saved_at=head.saved_at, author=head.author)
    if row is not None:
        deleted_at = utc_or_none(row.deleted_at)
        sites = row.sites if isinstance(row.sites, int) else 0
        found = replace(found, name=str(row.name), service=str(row.service), sites=sites, deleted_at=deleted_at)
    return found


def _damaged(network_id: int, row: Row[Any] | None, newest: int | None) -> Problem:
    """That nothing can be opened of a network, and the way on."""
    helps = "its line in the list written anew, under Revisions, of what is whole"
    where = f"network {network_id}: its name, whether it was deleted, its newest revision, how many readings it has"
    values: dict[str, Any] = {"network": network_id}
    if row is None:
        what = (
            "its line in the list is gone, and its revisions are there: the database is damaged, nothing of them lost"
        )
        return Problem(where, what, f"{HELPS}, or {helps}", code="store-damaged", values=values)
    if row.head != newest:
        what = f"the database is damaged: revision {row.head} counts as the newest, and {newest or 'none'} is"
        values |= {"head": row.head, "newest": newest}
        return Problem(where, what, f"{HELPS}, or {helps}", code="store-damaged", values=values)
    return damaged(where, helps=helps, values=values)
