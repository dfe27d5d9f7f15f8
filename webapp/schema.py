"""The tables. Only `webapp.store` knows them.

A network is a row that points at its newest revision; a revision is written once and never changed.
"""

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
from sqlalchemy.engine import Connection, make_url

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
    sqlite_autoincrement=True,
)


def open_engine(url: str) -> Engine:
    """An engine with the tables made; SQLite set up so that an answered save survives a power cut.

    SQLite: write-ahead log (readers never wait for a writer), ``synchronous=FULL`` (a commit is on
    the disk before it is answered), and transactions begun by us, writers with ``IMMEDIATE`` so that
    two of them queue instead of failing half-way.
    """
    engine = create_engine(url)
    if make_url(url).get_backend_name() == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    METADATA.create_all(engine)
    return engine


def _set_up_sqlite(connection: object, _record: object) -> None:
    connection.isolation_level = None  # type: ignore[attr-defined]  # the driver no longer begins on its own
    cursor = connection.cursor()  # type: ignore[attr-defined]
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
