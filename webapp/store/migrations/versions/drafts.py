"""What was typed and is not saved yet."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0005_drafts", "0004_made_with"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "drafts",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.String, nullable=False, unique=True),
        sa.Column("network_id", sa.Integer, sa.ForeignKey("networks.id"), nullable=False, index=True),
        sa.Column("base_revision", sa.Integer, nullable=False),
        sa.Column("follows", sa.String),
        sa.Column("kept_at", sa.DateTime(timezone=False), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
