"""The tables. Only the store and its parts know them.

A network is a row that points at its newest revision; a revision is written once and never changed. How a database of
an older program becomes this one stands in `webapp.store.migrations`; a test holds both to the same tables.
"""

from typing import Any

from sqlalchemy import (
    Column,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)
from sqlalchemy.engine import CursorResult

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
    Column("overlays_n", Integer),  # the same of overlays
    Column("seal", String(64)),  # of the row: `webapp.store.seals`
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
    Column("seal", String(64)),  # of the row, the text by its digest: `webapp.store.seals`
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
    Index("ix_entries_kinds", "network_id", "kind", "site_id"),  # few kinds are asked for, of very many readings
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
    Column("digest", String(64)),  # SHA-256 of that text
    Column("seal", String(64)),  # of the row, the text by its digest
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
    Column("digest", String(64)),  # SHA-256 of that text
    Column("seal", String(64)),  # of the row, the text by its digest
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

# Computations that were asked for, and their answers. The oldest go.
jobs = Table(
    "jobs",
    METADATA,
    Column("id", String, primary_key=True),
    Column("key", String, nullable=False, index=True),
    Column("title", String, nullable=False),
    Column("function", String, nullable=False),
    Column("started_by", String, nullable=False),
    Column("asked_at", DateTime(timezone=False), nullable=False, index=True),
    Column("ended_at", DateTime(timezone=False)),
    Column("state", String, nullable=False),
    Column("result_url", String),
    Column("body", Text, nullable=False),  # JSON: what was asked, what was wrong
    Column("answer", Text, nullable=False),  # JSON, or nothing
    Column("digest", String(64)),  # SHA-256 of that text
    Column("seal", String(64)),  # of the row, the text by its digest
)

# Wrong passwords where several processes share a database (`webapp.store.slowed`): of address and name only a hash.
attempts = Table(
    "attempts",
    METADATA,
    Column("key", String(64), primary_key=True),
    Column("failures", Integer, nullable=False),
    Column("until_s", Float, nullable=False),  # seconds since 1970, UTC
    Column("changed_s", Float, nullable=False, index=True),
)

# What all processes on one database have in common, each by its name (`webapp.store.common`).
common = Table(
    "common",
    METADATA,
    Column("name", String, primary_key=True),
    Column("value", String, nullable=False),
)


def new_id(made: CursorResult[Any]) -> int:
    """The key that a new row was given."""
    key = made.inserted_primary_key
    assert key is not None
    return int(key[0])
