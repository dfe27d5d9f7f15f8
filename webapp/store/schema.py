"""The tables. Only the store and its parts know them.

A network is a row that points at its newest revision; a revision is written once and never changed. How a database of
an older program becomes this one stands in `webapp.store.migrations`; a test holds both to the same tables.
"""

import logging
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Column,
    DateTime,
    Engine,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
)
from sqlalchemy.engine import Connection, CursorResult, make_url
from sqlalchemy.exc import DatabaseError

from sfn.errors import PlanError, Problem
from webapp.store.migrations import prepare

LOG = logging.getLogger("webapp.store")

METADATA = MetaData()

networks = Table(
    "networks",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False),
    Column("service", String, nullable=False),
    Column("sites", Integer, nullable=False),
    Column("head", Integer, nullable=False),
    Column("deleted_at", DateTime(timezone=False)),  # UTC, as every time here
    Column("entries_n", Integer),  # how many there are, so that one which is gone shows
    sqlite_autoincrement=True,  # an address once given out never means another network
)

revisions = Table(
    "revisions",
    METADATA,
    Column("network_id", ForeignKey("networks.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("saved_at", DateTime(timezone=False), nullable=False),
    Column("author", String, nullable=False),
    Column("reason", String, nullable=False),
    Column("checksum", String(8), nullable=False),
    Column("document", Text, nullable=False),  # JSON, its keys in the order they were typed
    Column("digest", String(64)),  # SHA-256 of that text: SQLite does not see a flipped bit
)

# What happened to a revision on its way to the air: sign-offs, values as set, measurements. Only ever added to.
entries = Table(
    "entries",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("network_id", ForeignKey("networks.id"), nullable=False, index=True),
    Column("revision", Integer, nullable=False),
    Column("site_id", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("made_at", DateTime(timezone=False), nullable=False),
    Column("made_by", String, nullable=False),
    Column("body", Text, nullable=False),  # JSON
    Column("digest", String(64)),  # of the row: `webapp.store.seals`
    sqlite_autoincrement=True,
)

# Who may come in. A user who has left stays, so that what was done keeps its name.
users = Table(
    "users",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False),
    Column("key", String, nullable=False, unique=True),  # the name as it is looked up: letter case apart
    Column("role", String, nullable=False),
    Column("password_hash", String, nullable=False),  # argon2id
    Column("made_at", DateTime(timezone=False), nullable=False),
    Column("ended_at", DateTime(timezone=False)),
    Column("digest", String(64)),  # of the row: `webapp.store.seals`
    sqlite_autoincrement=True,
)

# A browser that is signed in, and a script's token: of both only the hash of 256 random bits.
sessions = Table(
    "sessions",
    METADATA,
    Column("token_hash", String(64), primary_key=True),
    Column("user_id", ForeignKey("users.id"), nullable=False, index=True),
    Column("began_at", DateTime(timezone=False), nullable=False),
    Column("ends_at", DateTime(timezone=False), nullable=False),
    Column("address", String, nullable=False),
    Column("digest", String(64)),  # of the row: `webapp.store.seals`
)

tokens = Table(
    "tokens",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("token_hash", String(64), nullable=False, unique=True),
    Column("user_id", ForeignKey("users.id"), nullable=False, index=True),
    Column("label", String, nullable=False),
    Column("scope", String, nullable=False),
    Column("made_at", DateTime(timezone=False), nullable=False),
    Column("ends_at", DateTime(timezone=False)),
    Column("revoked_at", DateTime(timezone=False)),
    Column("digest", String(64)),  # of the row: `webapp.store.seals`
    sqlite_autoincrement=True,
)

# Technicians' links, so that they can be listed and withdrawn; the link itself is signed, not kept.
links = Table(
    "links",
    METADATA,
    Column("id", String, primary_key=True),
    Column("network_id", ForeignKey("networks.id"), nullable=False, index=True),
    Column("site_id", String, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("made_at", DateTime(timezone=False), nullable=False),
    Column("made_by", String, nullable=False),
    Column("ends_at", DateTime(timezone=False), nullable=False),
    Column("withdrawn_at", DateTime(timezone=False)),
    Column("withdrawn_by", String),
    Column("made_with", String),
    Column("digest", String(64)),  # of the row: `webapp.store.seals`
)

# What was typed and is not saved yet, step by step. Nobody's plan: the oldest go.
drafts = Table(
    "drafts",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("key", String, nullable=False, unique=True),
    Column("network_id", ForeignKey("networks.id"), nullable=False, index=True),
    Column("base_revision", Integer, nullable=False),
    Column("follows", String),
    Column("kept_at", DateTime(timezone=False), nullable=False),
    Column("body", Text, nullable=False),  # JSON
    sqlite_autoincrement=True,
)

# Lines and places of one's own over a network's map, clipped and simplified. Nothing is worked out from them.
overlays = Table(
    "overlays",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("network_id", ForeignKey("networks.id"), nullable=False, index=True),
    Column("name", String, nullable=False),
    Column("attribution", String, nullable=False),
    Column("added_at", DateTime(timezone=False), nullable=False),
    Column("says", Text, nullable=False),  # JSON: what was left out, cut and simplified
    Column("document", Text, nullable=False),  # GeoJSON
    sqlite_autoincrement=True,
)

# The audit trail. Each line carries the hash of the one before it.
audit = Table(
    "audit",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at", String, nullable=False),  # as it is hashed: ISO 8601, UTC, microseconds
    Column("who", String, nullable=False),
    Column("role", String, nullable=False),
    Column("via", String, nullable=False),
    Column("address", String, nullable=False),
    Column("action", String, nullable=False, index=True),
    Column("network_id", Integer, index=True),
    Column("subject", String, nullable=False),
    Column("body", Text, nullable=False),  # JSON
    Column("before", String(64), nullable=False, unique=True),  # no two lines follow one
    Column("hash", String(64), nullable=False),
    sqlite_autoincrement=True,
)


def open_engine(url: str) -> Engine:
    """An engine with the tables made; SQLite set up so that an answered save survives a power cut.

    SQLite: write-ahead log (readers never wait for a writer), ``synchronous=FULL`` (a commit is on
    the disk before it is answered), and transactions begun by us, writers with ``IMMEDIATE`` so that
    two of them queue instead of failing half-way.

    Raises
    ------
    PlanError
        If the database is damaged, cannot be written, or was made by a newer program; it says which.
    """
    engine = create_engine(url, hide_parameters=True)  # what is written is nobody's business in a log
    file = file_of(url)
    if make_url(url).get_backend_name() == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    try:
        copied = prepare(engine, METADATA, file=file)
    except DatabaseError as refused:
        engine.dispose()
        raise PlanError([store_problem(refused, file)]) from refused
    except PlanError:
        engine.dispose()
        raise
    if copied is not None:
        LOG.info("the database was of an older version; as it was, it is kept as %s", copied)
    return engine


def file_of(url: str) -> Path | None:
    """The file of a SQLite database; None for any other, and for one in memory."""
    made = make_url(url)
    return Path(made.database) if made.get_backend_name() == "sqlite" and made.database else None


# What SQLite says, what it means, and what helps. What is not among them is a fault and goes to the log.
_SAID = (
    ("disk is full", "store-disk-full", "the disk is full: nothing was written", "room on the disk, then once more"),
    ("readonly", "store-read-only", "the database cannot be written", "a folder and a file that may be written"),
    ("unable to open", "store-unreachable", "the database cannot be opened", "a folder that exists and may be written"),
    ("disk i/o error", "store-disk-fault", "the disk does not answer", "a look at the disk, then the last backup"),
    ("malformed", "store-damaged", "the database is damaged", "the last backup: python -m webapp restore FILE"),
    ("could not decode", "store-damaged", "the database is damaged", "the last backup: python -m webapp restore FILE"),
    ("not a database", "store-damaged", "this is no database", "the last backup: python -m webapp restore FILE"),
    ("locked", "store-busy", "the database is busy with another program", "a moment, then once more"),
)


def store_problem(refused: DatabaseError, file: Path | None) -> Problem:
    """What a database refuses, in words; raises what it was given where there are none for it."""
    said = str(refused.orig).lower()
    for sign, code, what, expected in _SAID:
        if sign in said:
            return Problem("database" if file is None else str(file), what, expected, code=code)
    raise refused


def _set_up_sqlite(connection: object, _record: object) -> None:
    connection.isolation_level = None  # type: ignore[attr-defined]  # the driver no longer begins on its own
    cursor = connection.cursor()  # type: ignore[attr-defined]
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def new_id(made: CursorResult[Any]) -> int:
    """The key that a new row was given."""
    key = made.inserted_primary_key
    assert key is not None
    return int(key[0])
