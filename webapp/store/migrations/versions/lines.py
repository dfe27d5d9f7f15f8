"""A digest beside networks, drafts and overlays, and beside who saved a revision, when and why; a count of overlays."""

import hashlib
import json
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0010_lines", "0009_shared"

# What each seal covered when it was made, in this order; a text that has a digest of its own is covered by that.
_SEALED = {
    "networks": ("id", "name", "service", "sites", "head", "deleted_at", "entries_n", "overlays_n"),
    "revisions": ("network_id", "number", "saved_at", "author", "reason", "checksum", "digest"),
    "drafts": ("id", "key", "network_id", "base_revision", "follows", "kept_at", "digest"),
    "overlays": ("id", "network_id", "name", "attribution", "added_at", "says", "digest"),
}
_TEXTS = {"drafts": "body", "overlays": "document"}
_KEYS = {"revisions": ("network_id", "number")}


def upgrade() -> None:
    """Add the columns; the rows that are there count as they are."""
    connection = op.get_bind()
    for name, text in _TEXTS.items():
        op.add_column(name, sa.Column("digest", sa.String(64)))
        table = sa.table(name, *map(sa.column, ("id", text, "digest")))
        for number in connection.execute(sa.select(table.c.id)).scalars().all():
            kept = connection.execute(sa.select(table.c[text]).where(table.c.id == number)).scalar_one()
            digest = hashlib.sha256(str(kept).encode("utf-8", "surrogatepass")).hexdigest()
            connection.execute(sa.update(table).where(table.c.id == number).values(digest=digest))
    op.add_column("networks", sa.Column("overlays_n", sa.Integer))
    connection.execute(
        sa.text("update networks set overlays_n = (select count(*) from overlays where network_id = networks.id)")
    )
    for name, covered in _SEALED.items():
        op.add_column(name, sa.Column("seal", sa.String(64)))
        table = sa.table(name, *map(sa.column, ("seal", *covered)))
        for row in connection.execute(sa.select(*(table.c[one] for one in covered))).all():
            made = json.dumps([name, *(_as_kept(value) for value in row)])
            seal = hashlib.sha256(made.encode()).hexdigest()
            wanted = sa.and_(*(table.c[key] == row._mapping[key] for key in _KEYS.get(name, ("id",))))
            connection.execute(sa.update(table).where(wanted).values(seal=seal))


def _as_kept(value: Any) -> Any:
    """A value as SQLite gives it back."""
    return value.strftime("%Y-%m-%d %H:%M:%S.%f") if isinstance(value, datetime) else value
