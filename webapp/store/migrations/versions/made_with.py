"""With what a technician's link was made."""

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0004_made_with", "0003_people"


def upgrade() -> None:
    """Add the column; of the links that are there nobody wrote it down."""
    op.add_column("links", sa.Column("made_with", sa.String))
