"""Networks and their revisions: save, list, read, restore, delete and undo. Nothing is ever overwritten.

A save names the revision it was made from. When another save came first the answer is `ConflictError`,
which carries both documents, so that the page can show them side by side and lose nothing typed.
"""

from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Table, func, select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from sfn.plan import Network, checksum
from sfn.systems.mode_table import text_of_own
from webapp.store import network_rows, revision_rows
from webapp.store.accounts import Accounts
from webapp.store.audit import Audit
from webapp.store.documents import network_of
from webapp.store.drafts import Drafts
from webapp.store.engines import open_engine
from webapp.store.entries import Entries
from webapp.store.job_records import JobRecords
from webapp.store.links_kept import Links
from webapp.store.network_rows import ANEW, DELETED, UNDELETED, Anew, MissingError, Summary, changed, columns, row_of
from webapp.store.overlays import Overlays
from webapp.store.revision_rows import Revision, document_holds, document_of, revision_of, under
from webapp.store.schema import drafts, jobs, links, networks, overlays, revisions, tokens, users
from webapp.store.seals import HELPS, put, unsound
from webapp.store.slowed import InDatabase, Slowed
from webapp.store.whole_documents import WholeDocuments

__all__ = ["ConflictError", "Document", "MissingError", "Revision", "Saved", "Store", "Summary"]

Document = Mapping[str, Any]


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


_SAID = ": what the database has of it is not what was written"
_DAMAGED = {
    "users": " ({name})" + _SAID + "; nobody signs in by it: end it, and make another",
    "tokens": " ({label})" + _SAID + "; it lets nobody in: revoke it, and make another",
    "links": " (site {site_id})" + _SAID + "; it opens nothing: withdraw it, and make another",
    "drafts": _SAID,
    "overlays": " ({name})" + _SAID,
    "jobs": _SAID + "; it is computed again where somebody asks for it",
}
"""What is said of a damaged row, by its table."""


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
        self.jobs = JobRecords(self._engine, clock)
        self.drafts = Drafts(self._engine, clock)
        self.overlays = Overlays(self._engine, clock, self.audit)
        self._whole = WholeDocuments()
        self.shared = self._engine.dialect.name == "postgresql"
        """Whether several processes may serve this database at a time."""
        self.slowed: Slowed | None = InDatabase(self._engine) if self.shared else None
        """Wrong passwords, where several processes count them; else the one that serves does."""

    def close(self) -> None:
        """Give the connections back."""
        self.entries.close()
        self.jobs.close()
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
        """All networks, the last saved first, damaged ones before them; or all deleted ones."""
        with self._engine.begin() as connection:
            found = network_rows.summaries(connection, deleted=deleted)
            return tuple(sorted(found, key=lambda one: (one.damaged, one.saved_at, one.id), reverse=True))

    def documents_damaged(self, listed: Iterable[Summary]) -> frozenset[int]:
        """Which of some networks of the list have a newest document that is not what was saved."""
        with self._engine.begin() as connection:
            return self._whole.damaged(connection, [(one.id, one.revision) for one in listed if not one.damaged])

    def networks_n(self) -> int:
        """How many networks there are that are not deleted."""
        with self._engine.begin() as connection:
            query = select(func.count()).select_from(networks).where(networks.c.deleted_at.is_(None))
            return int(connection.execute(query).scalar_one())

    def with_entries(self, above: int) -> tuple[tuple[int, int], ...]:
        """Networks with more entries than that, by number, and how many: most first."""
        n = networks.c.entries_n
        query = select(networks.c.id, n).where(networks.c.deleted_at.is_(None), n > above).order_by(n.desc())
        with self._engine.begin() as connection:
            return tuple((int(row.id), int(row.entries_n)) for row in connection.execute(query))

    def read(self, network_id: int, number: int | None = None, *, even_deleted: bool = False) -> Saved:
        """The newest revision of a network, or revision `number` of it.

        Raises
        ------
        MissingError
            If there is none, or the network has been deleted.
        """
        try:
            with self._engine.begin() as connection:
                return self._read(connection, network_id, number, even_deleted=even_deleted)
        except PlanError:
            self._whole.forget(network_id)
            raise

    def history(
        self, network_id: int, *, above: int = 0, most: int | None = None, even_damaged: bool = False
    ) -> tuple[Revision, ...]:
        """Revisions of a network, the newest first: those with a number `above` one, `most` of them where given.

        Raises as `read` does; `even_damaged` not, where the network's row is not what was written.
        """
        own = self.own_services()
        # Only under services of one's own does the document say anything about the checksum.
        query = revision_rows.of(network_id, texts=bool(own)).where(revisions.c.number > above)
        query = query.order_by(revisions.c.number.desc()).limit(most)
        with self._engine.begin() as connection:
            if not even_damaged:
                row_of(connection, network_id)
            found = connection.execute(query).all()
        if not own:
            return tuple(map(revision_of, found))
        return tuple(
            under(own, revision_of(row), document_of(row)) if document_holds(row) else revision_of(row) for row in found
        )

    def damaged(self, network_id: int) -> frozenset[int]:
        """Revisions of a network whose document is not what was saved."""
        with self._engine.begin() as connection:
            found = connection.execute(revision_rows.of(network_id, texts=True))
            return frozenset(row.number for row in found if not document_holds(row))

    def file_faults(self) -> tuple[str, ...]:
        """What SQLite's own check finds in the file; nothing of PostgreSQL, which keeps sums of its own."""
        if self.shared:
            return ()
        with self._engine.begin() as connection:
            said = connection.exec_driver_sql("pragma integrity_check(5)").scalars().all()
        return tuple(str(line) for line in said if line != "ok")

    def rows_damaged(self) -> tuple[str, ...]:
        """Users, tokens and links that are not what was written, in words."""
        return self._in_words(users, tokens, links)

    def lesser_damaged(self) -> tuple[str, ...]:
        """The same of drafts, overlays and computations: nothing else rests on them."""
        return self._in_words(drafts, overlays, jobs)

    def newest(self, network_id: int) -> tuple[str, Revision]:
        """Name of a network, and its newest revision, without its document; raises as `read` does."""
        with self._engine.begin() as connection:
            row = row_of(connection, network_id)
            query = revision_rows.of(network_id).where(revisions.c.number == row.head)
            return str(row.name), revision_of(connection.execute(query).one())

    def anew(self, network_id: int) -> Anew:
        """What the row of a network is made of where a disk has changed it; `MissingError` where nothing is there."""
        with self._engine.begin() as connection:
            return network_rows.anew(connection, network_id, self.audit)

    # Writing

    def create(self, document: Document, *, author: str, reason: str) -> Revision:
        """A new network with `document` as its revision 1."""
        with self._writing.begin() as connection:
            network_id = put(connection, networks, {"head": 1, **columns(document)})
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
            # Writers queue (`webapp.store.engines`): nobody saves between this look and what is written.
            if row_of(connection, network_id).head == base_revision:
                changed(connection, network_id, {"head": base_revision + 1, **columns(document)})
                return self._write(connection, network_id, base_revision + 1, document, author, reason)
            theirs = self._read(connection, network_id, None)
            base = self._read(connection, network_id, base_revision)
        raise ConflictError(base=base, theirs=theirs, mine=document)

    def restore(self, network_id: int, number: int, *, base_revision: int, author: str) -> Revision:
        """A new revision with the document of revision `number`; raises as `save` and `read` do.

        Of the old one only the document has to be what was saved: who makes it the newest answers for it.
        """
        query = revision_rows.of(network_id, texts=True).where(revisions.c.number == number)
        with self._engine.begin() as connection:
            row_of(connection, network_id)
            row = connection.execute(query).one_or_none()
        if row is None:
            raise MissingError
        reason = f"revision {number} restored"
        return self.save(network_id, document_of(row), base_revision=base_revision, author=author, reason=reason)

    def put_anew(self, network_id: int, *, who: str, reason: str, within: Connection) -> Anew:
        """Make the row of a damaged network anew; raises `MissingError` where nothing is there."""
        made = network_rows.anew(within, network_id, self.audit)
        network_rows.put_anew(within, network_id, made)
        told = {"reason": reason, "name": made.row.get("name"), "revision": made.row.get("head")}
        told |= {
            "entries_said_n": made.said_n,
            "entries_n": made.entries_n,
            "deleted": bool(made.row.get("deleted_at")),
        }
        self.audit.add(ANEW, network_id=network_id, body=told, who=who, within=within)
        return made

    def delete(self, network_id: int) -> None:
        """Take a network off the list; nothing is lost, `undelete` brings it back."""
        self._mark(network_id, self._now(), was_deleted=False)

    def undelete(self, network_id: int) -> None:
        """Put a deleted network back on the list."""
        self._mark(network_id, None, was_deleted=True)

    # Inside

    def _now(self) -> datetime:
        return self._clock().astimezone(UTC).replace(tzinfo=None)

    def _in_words(self, *tables: Table) -> tuple[str, ...]:
        with self._engine.begin() as connection:
            return tuple(
                f"{table.name}, {row.id}{_DAMAGED[table.name].format(**row._asdict())}"
                for table in tables
                for row in unsound(connection, table)
            )

    def _mark(self, network_id: int, deleted_at: datetime | None, *, was_deleted: bool) -> None:
        with self._writing.begin() as connection:
            row = row_of(connection, network_id, even_deleted=was_deleted)
            if (row.deleted_at is not None) != was_deleted:
                raise MissingError
            changed(connection, network_id, {"deleted_at": deleted_at})
            action = UNDELETED if was_deleted else DELETED
            self.audit.add(action, network_id=network_id, within=connection)

    def _read(
        self, connection: Connection, network_id: int, number: int | None, *, even_deleted: bool = False
    ) -> Saved:
        head = row_of(connection, network_id, even_deleted=even_deleted).head
        query = revision_rows.of(network_id, texts=True).where(
            revisions.c.number == (head if number is None else number)
        )  # fmt: skip
        row = connection.execute(query).one_or_none()
        if row is None and number is not None and not 1 <= number <= head:
            raise MissingError
        if row is None:
            what, where = (
                "it was saved, and is gone: the database is damaged",
                f"network {network_id}, revision {number or head}",
            )
            raise PlanError([Problem(where, what, HELPS, code="store-damaged", values={"network": network_id})])
        document, own = revision_rows.sound(row), self.own_services()
        return Saved(under(own, revision_of(row), document), document, own)

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
        made = under(own, plain, document)
        revision_rows.write(connection, plain, dict(document))
        told = {"revision": number, "reason": reason, "checksum": made.checksum}
        subject = str(document.get("name") or "")
        self.audit.add("saved", subject=subject, network_id=network_id, body=told, who=author, within=connection)
        return made
