"""Rows of revisions: who saved what, when and why. Each is sealed, its document by a digest of its own."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Row, Select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError
from sfn.plan import PersonName
from sfn.systems.of_network import stamped
from webapp.store.documents import unchanged
from webapp.store.schema import revisions
from webapp.store.seals import damaged, holds, put, rows, utc, utc_or_none

UNKNOWN = datetime(1970, 1, 1, tzinfo=UTC)
"""Stands for a time that cannot be read any more."""


@dataclass(frozen=True, slots=True)
class Revision:
    """One save, without its document."""

    network_id: int
    number: int
    saved_at: datetime
    author: str
    reason: str
    checksum: str
    """As sheets print it: that of the document, and of its service where the user's own file gives other figures."""
    damaged: bool = False
    """Whether who, when, why or the checksum is not what was written: then none of them is to be believed."""


def of(network_id: int, *, texts: bool = False) -> Select[Any]:
    """A query of a network's rows; with their documents where these are needed."""
    return rows(revisions, texts=texts).where(revisions.c.network_id == network_id)


def revision_of(row: Row[Any]) -> Revision:
    """The record of a row; of one that does not hold, what can be read of it."""
    sound = row_holds(row)
    return Revision(
        network_id=row.network_id,
        number=row.number,
        saved_at=utc(row.saved_at) if sound else utc_or_none(row.saved_at) or UNKNOWN,
        author=PersonName(row.author),
        reason=str(row.reason),
        checksum=str(row.checksum),
        damaged=not sound,
    )


def row_holds(row: Row[Any]) -> bool:
    """Whether who saved it, when and why is what was written, and the digest of its document is."""
    bare = {key: value for key, value in row._asdict().items() if key != "document"}
    return holds(revisions, bare)


def document_of(row: Row[Any]) -> dict[str, Any]:
    """A revision's document; raises `PlanError` where it is not what was saved."""
    return unchanged(row.document, row.digest, network_id=row.network_id, number=row.number)


def document_holds(row: Row[Any]) -> bool:
    """Whether a revision's document is what was saved."""
    try:
        document_of(row)
    except PlanError:
        return False
    return True


def sound(row: Row[Any]) -> dict[str, Any]:
    """The document of a row of which everything is what was written.

    Raises
    ------
    PlanError
        If the document is not, or who saved it, when and why.
    """
    document = document_of(row)
    if not row_holds(row):
        helps = "under Revisions its document, which is whole, made a new revision (Restore) by somebody who answers"
        where = f"network {row.network_id}, revision {row.number}: who saved it, when and why"
        raise PlanError([damaged(where, helps=helps, values={"network": row.network_id, "revision": row.number})])
    return document


def write(connection: Connection, made: Revision, document: dict[str, Any]) -> None:
    """Put a revision down."""
    values = {
        "network_id": made.network_id,
        "number": made.number,
        "saved_at": made.saved_at.replace(tzinfo=None),
        "author": made.author,
        "reason": made.reason,
        "checksum": made.checksum,
        "document": json.dumps(document, ensure_ascii=False, allow_nan=False),  # in the order it was typed
    }
    put(connection, revisions, values)


def under(own_services: str, revision: Revision, document: Mapping[str, Any]) -> Revision:
    """The revision with the checksum that sheets print; the table holds that of the document alone."""
    service_id = str(document.get("service") or "")
    told = stamped(revision.checksum, service_id=service_id, own_services=own_services)
    return replace(revision, checksum=told)
