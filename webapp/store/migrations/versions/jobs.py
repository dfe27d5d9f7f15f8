"""Computations that were asked for, and what those that ended answered."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0012_jobs", "0011_kinds"


def upgrade() -> None:
    """Make the table; of the computations of before nothing is known."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("key", sa.String, nullable=False, index=True),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("function", sa.String, nullable=False),
        sa.Column("started_by", sa.String, nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=False), nullable=False, index=True),
        sa.Column("ended_at", sa.DateTime(timezone=False)),
        sa.Column("state", sa.String, nullable=False),
        sa.Column("result_url", sa.String),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("digest", sa.String(64)),
        sa.Column("seal", sa.String(64)),
    )
