"""Networks and their revisions: save, list, read, restore, delete and undo. Nothing is ever overwritten.

A save names the revision it was made from. When another save came first the answer is `ConflictError`,
which carries both documents, so that the page can show them side by side and lose nothing typed.
"""

import json
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Row, Select, func, insert, select, update
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from sfn.plan import Network, PersonName, checksum
from sfn.systems.mode_table import text_of_own
from sfn.systems.of_network import stamped
from webapp.store.accounts import Accounts
from webapp.store.audit import Audit
from webapp.store.documents import digest_of, network_of, unchanged
from webapp.store.drafts import Drafts
from webapp.store.engines import open_engine
from webapp.store.entries import Entries
from webapp.store.links_kept import Links
from webapp.store.overlays import Overlays
from webapp.store.schema import links, networks, new_id, revisions, tokens, users
from webapp.store.seals import HELPS, unsound
from webapp.store.slowed import InDatabase, Slowed

Document = Mapping[str, Any]


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


@dataclass(frozen=True, slots=True)
class Revision:
    """One save, without its document."""

    network_id: int
    number: int
    saved_at: datetime
    author: str
    reason: str
    checksum: str
    """As sheets print it: that of the document, and of its service where the user's own file gives other figures."""


@dataclass(frozen=True)
class Saved:
    """A revision with its document."""

    revision: Revision
    document: dict[str, Any]
    own_services: str = ""
    """Text of the user's file of services that the document is read under."""

    @cached_property
    def network(self) -> Network:
        """As the engine reads it; raises `PlanError` as `network_of` does."""
        return network_of(self.document, self.own_services)


class MissingError(Exception):
    """No such network or revision, or it has been deleted."""


class ConflictError(Exception):
    """Someone saved first. Carries what each started from, wants, and found."""

    def __init__(self, *, base: Saved, theirs: Saved, mine: Document) -> None:
        self.base = base
        self.theirs = theirs
        self.mine = dict(mine)
        super().__init__(f"revision {theirs.revision.number} was saved by {theirs.revision.author}")


class Store:
    """The networks in one database. `clock` gives the time of a save, in UTC.

    Only documents that the engine can read are saved: `create`, `save` and `restore` raise `PlanError` otherwise.
    Documents are read under `services_file`, the user's own, where that is there.
    """

    services_file: Path | None = None

    def __init__(self, url: str, *, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._engine: Engine = open_engine(url)
        self._writing = self._engine.execution_options(writes=True)
        self._clock = clock
        self.audit = Audit(self._engine, clock)
        self.entries = Entries(self._engine, clock, self.audit)
        self.accounts = Accounts(self._engine, clock, self.audit)
        self.links = Links(self._engine, clock, self.audit)
        self.drafts = Drafts(self._engine, clock)
        self.overlays = Overlays(self._engine, clock, self.audit)
        self.shared = self._engine.dialect.name == "postgresql"
        """Whether several processes may serve this database at a time."""
        self.slowed: Slowed | None = InDatabase(self._engine) if self.shared else None
        """Wrong passwords, where several processes count them; else the one that serves does."""

    def close(self) -> None:
        """Give the connections back."""
        self._engine.dispose()

    def reading(self) -> AbstractContextManager[Connection]:
        """One state of the whole database, for what reads all of it."""
        return self._engine.begin()

    def writing(self) -> AbstractContextManager[Connection]:
        """One transaction for what writes many networks at once."""
        return self._writing.begin()

    # Reading

    def answers(self) -> None:
        """Ask the database for nothing; raises what the driver raises where it is away."""
        with self._engine.begin() as connection:
            connection.execute(select(networks.c.id).limit(1))

    def own_services(self) -> str:
        """Text of the user's file of services, empty without one; raises `PlanError` where it is no text."""
        file = self.services_file
        return text_of_own(file) if file is not None and file.is_file() else ""

    def summaries(self, *, deleted: bool = False) -> tuple[Summary, ...]:
        """All networks, the last saved first; or all deleted ones."""
        query = (
            select(networks, revisions.c.saved_at, revisions.c.author)
            .join(revisions, (revisions.c.network_id == networks.c.id) & (revisions.c.number == networks.c.head))
            .where(networks.c.deleted_at.is_not(None) if deleted else networks.c.deleted_at.is_(None))
            .order_by(revisions.c.saved_at.desc(), networks.c.id.desc())
        )
        with self._engine.begin() as connection:
            return tuple(_summary(row) for row in connection.execute(query))

    def networks_n(self) -> int:
        """How many networks there are that are not deleted."""
        with self._engine.begin() as connection:
            query = select(func.count()).select_from(networks).where(networks.c.deleted_at.is_(None))
            return int(connection.execute(query).scalar_one())

    def read(self, network_id: int, number: int | None = None, *, even_deleted: bool = False) -> Saved:
        """The newest revision of a network, or revision `number` of it.

        Raises
        ------
        MissingError
            If there is none, or the network has been deleted.
        """
        with self._engine.begin() as connection:
            return self._read(connection, network_id, number, even_deleted=even_deleted)

    def history(self, network_id: int, *, above: int = 0, most: int | None = None) -> tuple[Revision, ...]:
        """Revisions of a network, the newest first: those with a number `above` one, `most` of them where given.

        Raises `MissingError` as `read` does.
        """
        own = self.own_services()
        # Only under services of one's own does the document say anything about the checksum.
        query = select(revisions) if own else select(*_WITHOUT_DOCUMENT)
        query = query.where(revisions.c.network_id == network_id, revisions.c.number > above)
        query = query.order_by(revisions.c.number.desc()).limit(most)
        with self._engine.begin() as connection:
            self._head(connection, network_id)
            rows = connection.execute(query)
            if not own:
                return tuple(_revision(row) for row in rows)
            return tuple(_under(own, _revision(row), _document(row)) if _holds(row) else _revision(row) for row in rows)

    def damaged(self, network_id: int) -> frozenset[int]:
        """Revisions of a network whose document is not what was saved; raises `MissingError` as `read` does."""
        query = select(revisions).where(revisions.c.network_id == network_id)
        with self._engine.begin() as connection:
            self._head(connection, network_id)
            return frozenset(row.number for row in connection.execute(query) if not _holds(row))

    def rows_damaged(self) -> tuple[str, ...]:
        """Users, tokens and links that are not what was written, in words."""
        with self._engine.begin() as connection:
            return tuple(
                f"{table.name}, {number}: what the database has of it is not what was written"
                for table in (users, tokens, links)
                for number in unsound(connection, table)
            )

    def newest(self, network_id: int) -> tuple[str, Revision]:
        """Name of a network, and its newest revision, without its document; raises `MissingError` as `read` does."""
        query = select(networks.c.name, *_WITHOUT_DOCUMENT).where(
            networks.c.id == network_id, revisions.c.network_id == network_id, revisions.c.number == networks.c.head
        )
        with self._engine.begin() as connection:
            self._head(connection, network_id)
            row = connection.execute(query).one()
            return str(row.name), _revision(row)

    # Writing

    def create(self, document: Document, *, author: str, reason: str) -> Revision:
        """A new network with `document` as its revision 1."""
        with self._writing.begin() as connection:
            made = connection.execute(insert(networks).values(head=1, **_columns(document)))
            network_id = new_id(made)
            return self._write(connection, network_id, 1, document, author, reason)

    def save(
        self,
        network_id: int,
        document: Document,
        *,
        base_revision: int,
        author: str,
        reason: str,
        within: Connection | None = None,
    ) -> Revision:
        """A new revision made from `base_revision`; on the disk when this returns, or `within` a transaction with it.

        Raises
        ------
        ConflictError
            If the network has a newer revision than `base_revision`; nothing was written.
        MissingError
            If the network or the base revision does not exist.
        """
        with nullcontext(within) if within else self._writing.begin() as connection:
            # One statement decides who was first, on every database.
            moved = connection.execute(
                update(networks)
                .where(
                    networks.c.id == network_id,
                    networks.c.head == base_revision,
                    networks.c.deleted_at.is_(None),
                )
                .values(head=base_revision + 1, **_columns(document))
            )
            if moved.rowcount == 1:
                return self._write(connection, network_id, base_revision + 1, document, author, reason)
            theirs = self._read(connection, network_id, None)
            base = self._read(connection, network_id, base_revision)
        raise ConflictError(base=base, theirs=theirs, mine=document)

    def restore(self, network_id: int, number: int, *, base_revision: int, author: str) -> Revision:
        """A new revision with the document of revision `number`; raises as `save` and `read` do."""
        old = self.read(network_id, number)
        reason = f"revision {number} restored"
        return self.save(network_id, old.document, base_revision=base_revision, author=author, reason=reason)

    def delete(self, network_id: int) -> None:
        """Take a network off the list; nothing is lost, `undelete` brings it back."""
        self._mark(network_id, self._now(), was_deleted=False)

    def undelete(self, network_id: int) -> None:
        """Put a deleted network back on the list."""
        self._mark(network_id, None, was_deleted=True)

    # Inside

    def _now(self) -> datetime:
        return self._clock().astimezone(UTC).replace(tzinfo=None)

    def _mark(self, network_id: int, deleted_at: datetime | None, *, was_deleted: bool) -> None:
        state = networks.c.deleted_at.is_not(None) if was_deleted else networks.c.deleted_at.is_(None)
        with self._writing.begin() as connection:
            query = update(networks).where(networks.c.id == network_id, state).values(deleted_at=deleted_at)
            if connection.execute(query).rowcount != 1:
                raise MissingError
            action = "deletion undone" if was_deleted else "deleted"
            self.audit.add(action, network_id=network_id, within=connection)

    def _head(self, connection: Connection, network_id: int, *, even_deleted: bool = False) -> int:
        query = select(networks.c.head).where(networks.c.id == network_id)
        if not even_deleted:
            query = query.where(networks.c.deleted_at.is_(None))
        head = connection.execute(query).scalar()
        if head is None:
            raise MissingError
        # The row says which is the newest, and so does what is there: of one turned bit in it, an older plan would be.
        last = connection.execute(select(func.max(revisions.c.number)).where(revisions.c.network_id == network_id))
        newest = last.scalar()
        if newest != head:
            what = f"the database is damaged: revision {head} counts as the newest, and {newest} is"
            values = {"network": network_id, "head": head, "newest": newest}
            raise PlanError([Problem(f"network {network_id}", what, HELPS, code="store-damaged", values=values)])
        return int(head)

    def _read(
        self, connection: Connection, network_id: int, number: int | None, *, even_deleted: bool = False
    ) -> Saved:
        head = self._head(connection, network_id, even_deleted=even_deleted)
        query: Select[Any] = select(revisions).where(
            revisions.c.network_id == network_id, revisions.c.number == (head if number is None else number)
        )
        row = connection.execute(query).one_or_none()
        if row is None:
            raise MissingError
        document, own = _document(row), self.own_services()
        return Saved(_under(own, _revision(row), document), document, own)

    def _write(
        self, connection: Connection, network_id: int, number: int, document: Document, author: str, reason: str
    ) -> Revision:
        own = self.own_services()
        plain = Revision(
            network_id=network_id,
            number=number,
            saved_at=self._now().replace(tzinfo=UTC),
            author=author,
            reason=reason,
            checksum=checksum(network_of(document, own)),
        )
        made = _under(own, plain, document)
        text = json.dumps(document, ensure_ascii=False, allow_nan=False)  # in the order it was typed
        connection.execute(
            insert(revisions).values(
                network_id=network_id,
                number=number,
                saved_at=made.saved_at.replace(tzinfo=None),
                author=author,
                reason=reason,
                checksum=plain.checksum,
                document=text,
                digest=digest_of(text),
            )
        )
        told = {"revision": number, "reason": reason, "checksum": made.checksum}
        subject = str(document.get("name") or "")
        self.audit.add("saved", subject=subject, network_id=network_id, body=told, who=author, within=connection)
        return made


def _holds(row: Row[Any]) -> bool:
    """Whether a revision's document is what was saved."""
    return row.digest is None or row.digest == digest_of(row.document)


def _document(row: Row[Any]) -> dict[str, Any]:
    """A revision's document; raises `PlanError` where it is not what was saved."""
    return unchanged(row.document, row.digest, network_id=row.network_id, number=row.number)


_WITHOUT_DOCUMENT = [c for c in revisions.c if c.name != "document"]


def _columns(document: Document) -> dict[str, Any]:
    """What the list of networks shows without reading any document; written before the document is judged."""
    sites = document.get("sites")
    return {
        "name": str(document.get("name") or "Unnamed network"),
        "service": str(document.get("service") or ""),
        "sites": len(sites) if isinstance(sites, list) else 0,
    }


def _summary(row: Row[Any]) -> Summary:
    return Summary(
        id=row.id,
        name=row.name,
        service=row.service,
        sites=row.sites,
        revision=row.head,
        saved_at=row.saved_at.replace(tzinfo=UTC),
        author=row.author,
        deleted_at=row.deleted_at and row.deleted_at.replace(tzinfo=UTC),
    )


def _revision(row: Row[Any]) -> Revision:
    return Revision(
        network_id=row.network_id,
        number=row.number,
        saved_at=row.saved_at.replace(tzinfo=UTC),
        author=PersonName(row.author),
        reason=row.reason,
        checksum=row.checksum,
    )


def _under(own_services: str, revision: Revision, document: Document) -> Revision:
    """The revision with the checksum that sheets print; the table holds that of the document alone."""
    service_id = str(document.get("service") or "")
    told = stamped(revision.checksum, service_id=service_id, own_services=own_services)
    return replace(revision, checksum=told)
