"""The first tables: networks and their revisions."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0001_networks", None


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "networks",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("service", sa.String, nullable=False),
        sa.Column("sites", sa.Integer, nullable=False),
        sa.Column("head", sa.Integer, nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=False)),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "revisions",
        sa.Column("network_id", sa.Integer, sa.ForeignKey("networks.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("saved_at", sa.DateTime(timezone=False), nullable=False),
        sa.Column("author", sa.String, nullable=False),
        sa.Column("reason", sa.String, nullable=False),
        sa.Column("checksum", sa.String(8), nullable=False),
        sa.Column("document", sa.Text, nullable=False),
    )
