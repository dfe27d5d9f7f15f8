"""A digest of every document, so that one which a disk has changed is not taken for what was saved."""

import hashlib

import sqlalchemy as sa
from alembic import op

revision, down_revision = "0006_digests", "0005_drafts"


def upgrade() -> None:
    """Add the column; the documents that are there count as they are."""
    op.add_column("revisions", sa.Column("digest", sa.String(64)))
    kept = sa.table("revisions", *map(sa.column, ("network_id", "number", "document", "digest")))
    connection = op.get_bind()
    for network_id, number in connection.execute(sa.select(kept.c.network_id, kept.c.number)).all():
        here = (kept.c.network_id == network_id) & (kept.c.number == number)
        text = connection.execute(sa.select(kept.c.document).where(here)).scalar_one()
        digest = hashlib.sha256(str(text).encode("utf-8", "surrogatepass")).hexdigest()
        connection.execute(sa.update(kept).where(here).values(digest=digest))
