"""Entries are found by their kind and site without a look at all of a network."""

from alembic import op

revision, down_revision = "0011_kinds", "0010_lines"


def upgrade() -> None:
    """Make the index."""
    op.create_index("ix_entries_kinds", "entries", ["network_id", "kind", "site_id"])
