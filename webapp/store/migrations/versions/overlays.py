"""Lines and places of one's own over a network's map."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0007_overlays", "0006_digests"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "overlays",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("network_id", sa.Integer, sa.ForeignKey("networks.id"), nullable=False, index=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("attribution", sa.String, nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=False), nullable=False),
        sa.Column("says", sa.Text, nullable=False),
        sa.Column("document", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
