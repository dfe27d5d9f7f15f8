"""What happened to a revision on its way to the air."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0002_entries", "0001_networks"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "entries",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("network_id", sa.Integer, sa.ForeignKey("networks.id"), nullable=False, index=True),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("site_id", sa.String, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=False), nullable=False),
        sa.Column("made_by", sa.String, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
