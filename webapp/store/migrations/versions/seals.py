"""A digest beside entries, users, sessions, tokens and links; how many entries each network has."""

import hashlib
import json
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0008_seals", "0007_overlays"

# What each seal covered when it was made, in this order.
_SEALED = {
    "entries": ("network_id", "revision", "site_id", "kind", "made_at", "made_by", "body"),
    "users": ("id", "name", "key", "role", "password_hash", "made_at", "ended_at"),
    "sessions": ("token_hash", "user_id", "began_at", "ends_at", "address"),
    "tokens": ("id", "token_hash", "user_id", "label", "scope", "made_at", "ends_at", "revoked_at"),
    "links": (
        "id", "network_id", "site_id", "revision", "made_at", "made_by", "ends_at", "withdrawn_at", "withdrawn_by",
        "made_with",
    ),
}  # fmt: skip
_KEYS = {"sessions": "token_hash"}


def upgrade() -> None:
    """Add the columns; the rows that are there count as they are."""
    connection = op.get_bind()
    for name, covered in _SEALED.items():
        op.add_column(name, sa.Column("digest", sa.String(64)))
        key = _KEYS.get(name, "id")
        table = sa.table(name, *map(sa.column, {key, "digest", *covered}))
        for row in connection.execute(
            sa.select(*(table.c[one] for one in covered), table.c[key].label("its_key"))
        ).all():
            text = json.dumps([name, *(_as_kept(row._mapping[one]) for one in covered)])
            digest = hashlib.sha256(text.encode()).hexdigest()
            connection.execute(sa.update(table).where(table.c[key] == row.its_key).values(digest=digest))
    op.add_column("networks", sa.Column("entries_n", sa.Integer))
    connection.execute(
        sa.text("update networks set entries_n = (select count(*) from entries where network_id = networks.id)")
    )


def _as_kept(value: Any) -> Any:
    """A value as SQLite gives it back."""
    return value.strftime("%Y-%m-%d %H:%M:%S.%f") if isinstance(value, datetime) else value
