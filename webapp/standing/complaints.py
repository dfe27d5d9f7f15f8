"""Complaints of listeners as the map shows them: where, when, in their words, and where they stand on the timeline."""

from dataclasses import dataclass
from datetime import datetime

from webapp.store.store import Store
from webapp.store.timeline import COMPLAINT, entry_name, held_of


@dataclass(frozen=True, slots=True)
class Complaint:
    """One complaint; `lat_deg` and `lon_deg` are None where nobody told the position. [degrees]"""

    entry: str
    at: datetime
    place: str
    receiver: str
    words: str
    lat_deg: float | None
    lon_deg: float | None


def complaints_of(store: Store, network_id: int) -> tuple[Complaint, ...]:
    """All of a network, the newest first by when it was heard."""
    found = [
        Complaint(
            entry_name(one), held_of(one).at, str(one.body.get("place", "")), str(one.body.get("receiver", "")),
            str(one.body.get("texts", {}).get("remarks", "")), one.body.get("lat_deg"), one.body.get("lon_deg"),
        )
        for one in store.entries.of(network_id, kind=COMPLAINT)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda one: one.at, reverse=True))
