"""All rows of a store from one database into another: PostgreSQL to a SQLite file for a backup, and back.

Backups are the same archive whatever the database, so one of SQLite is put into PostgreSQL when a machine is outgrown.
Wrong passwords and what the processes have in common stay behind: they belong to the database that is served.
"""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import column, delete, func, insert, literal, select, table, text
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DataError, IntegrityError

from sfn.errors import PlanError, Problem
from webapp.store import common
from webapp.store.schema import METADATA, attempts, audit, common as in_common
from webapp.store.store import Store

BLOCK_N = 500
STAYS = (attempts, in_common)
CARRIED = tuple(one for one in METADATA.sorted_tables if one not in STAYS)


def to_file(store: Store, file: Path) -> bool:
    """Copy one state of a store into a new SQLite file; whether there was anything."""
    with opened(f"sqlite:///{file.as_posix()}") as made, store.reading() as old, made.writing() as new:
        return _carried(old, new, lines=store.audit.written_in(old)) > 0


def from_file(file: Path, store: Store) -> None:
    """Put the rows of a SQLite file in the place of all that a store has, in one transaction.

    Raises
    ------
    PlanError
        If the file holds what the other database cannot, or that is in use by another process of this program.
    """
    with opened(f"sqlite:///{file.as_posix()}") as held, held.reading() as old, store.writing() as new:
        not_in_use(new)
        for one in reversed(METADATA.sorted_tables):
            new.execute(delete(one))
        try:
            _carried(old, new, lines=held.audit.written_in(old))
        except (DataError, IntegrityError, ValueError) as refused:  # a time that is none any more, too
            what = "the backup has text or numbers that this database cannot hold, or rows of nothing that is there"
            problem = Problem("database", what, "the same backup into SQLite", code="store-import")
            raise PlanError([problem]) from refused


@contextmanager
def opened(url: str) -> Iterator[Store]:
    """A store, closed at the end."""
    with closing(Store(url)) as made:
        yield made


def not_in_use(connection: Connection) -> None:
    """Refuse to exchange everything under a process that serves it.

    Raises
    ------
    PlanError
        If others of this program are connected to PostgreSQL's database.
    """
    if connection.dialect.name != "postgresql":
        return
    query = (
        "select count(distinct (client_addr, client_port, pid)) from pg_stat_activity"
        " where datname = current_database() and application_name = 'sfn-delays' and pid <> pg_backend_pid()"
    )
    others_n = int(connection.execute(text(query)).scalar_one())
    if others_n:
        what = f"is in use: {others_n} connections of this program"
        raise PlanError([Problem("database", what, "once every process on it has ended", code="data-folder-in-use")])


def _carried(old: Connection, new: Connection, *, lines: int) -> int:
    """Every row, in an order in which what is pointed at comes first; how many."""
    rows_n = 0
    for one in CARRIED:
        for block in old.execution_options(yield_per=BLOCK_N).execute(select(one)).partitions():
            new.execute(insert(one), [row._asdict() for row in block])
            rows_n += len(block)
    if new.dialect.name == "sqlite":
        counted = table("sqlite_sequence", column("name"), column("seq"))
        if new.execute(select(counted.c.seq).where(counted.c.name == audit.name)).first() is None:
            new.execute(insert(counted).values(name=audit.name, seq=lines))
        new.execute(counted.update().where(counted.c.name == audit.name).values(seq=lines))
        return rows_n
    common.put(new, common.AUDIT_LINES, str(lines))
    for one in CARRIED:
        if "id" in one.c and one.c.id.autoincrement is not False and one.c.id.type.python_type is int:
            sequence = func.pg_get_serial_sequence(literal(one.name), literal("id"))
            next_id = select(func.coalesce(func.max(one.c.id), 0) + 1).scalar_subquery()
            new.execute(select(func.setval(sequence, next_id, False)))
    return rows_n
