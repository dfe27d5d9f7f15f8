"""What several processes on one database share: wrong passwords, and what must be the same for all of them."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0009_shared", "0008_seals"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "attempts",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("failures", sa.Integer, nullable=False),
        sa.Column("until_s", sa.Float, nullable=False),
        sa.Column("changed_s", sa.Float, nullable=False, index=True),
    )
    op.create_table(
        "common",
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("value", sa.String, nullable=False),
    )
