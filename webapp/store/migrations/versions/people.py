"""Users, their sessions and tokens, technicians' links, and the audit trail."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0003_people", "0002_entries"


def upgrade() -> None:
    """Make the tables."""
    moment = sa.DateTime(timezone=False)
    op.create_table(
        "users",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("key", sa.String, nullable=False, unique=True),
        sa.Column("role", sa.String, nullable=False),
        sa.Column("password_hash", sa.String, nullable=False),
        sa.Column("made_at", moment, nullable=False),
        sa.Column("ended_at", moment),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("user_id", sa.Integer, sa.ForeignKey("users.id"), nullable=False, index=True),
        sa.Column("began_at", moment, nullable=False),
        sa.Column("ends_at", moment, nullable=False),
        sa.Column("address", sa.String, nullable=False),
    )
    op.create_table(
        "tokens",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("token_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("user_id", sa.Integer, sa.ForeignKey("users.id"), nullable=False, index=True),
        sa.Column("label", sa.String, nullable=False),
        sa.Column("scope", sa.String, nullable=False),
        sa.Column("made_at", moment, nullable=False),
        sa.Column("ends_at", moment),
        sa.Column("revoked_at", moment),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "links",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("network_id", sa.Integer, sa.ForeignKey("networks.id"), nullable=False, index=True),
        sa.Column("site_id", sa.String, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("made_at", moment, nullable=False),
        sa.Column("made_by", sa.String, nullable=False),
        sa.Column("ends_at", moment, nullable=False),
        sa.Column("withdrawn_at", moment),
        sa.Column("withdrawn_by", sa.String),
    )
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("who", sa.String, nullable=False),
        sa.Column("role", sa.String, nullable=False),
        sa.Column("via", sa.String, nullable=False),
        sa.Column("address", sa.String, nullable=False),
        sa.Column("action", sa.String, nullable=False, index=True),
        sa.Column("network_id", sa.Integer, index=True),
        sa.Column("subject", sa.String, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("before", sa.String(64), nullable=False, unique=True),
        sa.Column("hash", sa.String(64), nullable=False),
        sqlite_autoincrement=True,
    )
