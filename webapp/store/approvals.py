"""Approval of a change plan: by name, for one revision and its checksum; what is saved afterwards voids it.

Where the setting asks for it (``SFN_DELAYS_APPROVAL=other``) an approver who did not make the plan approves it; until
then the plan says wherever it stands that it is not approved. A document alone holds no approval, so no command of the
engine has a change plan, and none tells of one.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from webapp.store.entries import Entry
from webapp.store.store import Store

APPROVED = "plan-approved"
Standing = Literal["approved", "not approved", "not asked for"]


@dataclass(frozen=True, slots=True)
class Approval:
    """Whether a change plan is approved."""

    state: Standing
    says: str
    """In a sentence, with who, when and for what."""
    by: str = ""
    at: datetime | None = None
    note: str = ""
    void: str = ""
    """Why the last approval holds no longer; empty where there is none such."""


def approval_of(store: Store, network_id: int, *, revision: int, checksum: str, asked: bool) -> Approval:
    """Whether the plan of a revision is approved.

    Parameters
    ----------
    store : Store
    network_id, revision : int
        The revision that the plan leads to.
    checksum : str
        Of that revision, as the plan prints it.
    asked : bool
        Whether the setting asks for approval by another person.
    """
    kept = store.entries.of(network_id, kind=APPROVED)
    given = next((one for one in reversed(kept) if _holds(one, revision, checksum)), None)
    if given is not None:
        note = str(given.body.get("note") or "")
        says = f"approved by {given.made_by} on {_when(given.made_at)}, for revision {revision}, checksum {checksum}"
        return Approval("approved", says, given.made_by, given.made_at, note)
    void = _void(kept[-1], revision, checksum) if kept else ""
    if asked:
        says = f"revision {revision}, checksum {checksum}, waits for an approver who did not make it: carry nothing out"
        return Approval("not approved", says, void=void)
    says = "nobody has approved it, and this installation asks for no approval (SFN_DELAYS_APPROVAL)"
    return Approval("not asked for", says, void=void)


def approve(store: Store, network_id: int, *, revision: int, checksum: str, by: str, note: str, against: str) -> None:
    """Write down who approves the plan of a revision, `against` saying from what."""
    body = {"checksum": checksum, "note": note, "from": against}
    store.entries.add(network_id, revision=revision, site_id="", kind=APPROVED, made_by=by, body=body)


def carried(store: Store, network_id: int, *, revision: int, checksum: str, number: int, stamp: str) -> None:
    """Approve revision `number`, in which only the common delay was frozen, as the one was from which it comes."""
    kept = store.entries.of(network_id, kind=APPROVED)
    given = next((one for one in reversed(kept) if _holds(one, revision, checksum)), None)
    if given is not None:
        same = f"approved for revision {revision}, which gives the same settings"
        body = {**given.body, "checksum": stamp, "note": "; ".join(filter(None, (given.body.get("note"), same)))}
        store.entries.add(network_id, revision=number, site_id="", kind=APPROVED, made_by=given.made_by, body=body)


def _holds(one: Entry, revision: int, checksum: str) -> bool:
    return one.revision == revision and one.body.get("checksum") == checksum


def _void(last: Entry, revision: int, checksum: str) -> str:
    """Why an approval of before is none now."""
    whose = f"{last.made_by}'s approval of {_when(last.made_at)} was for revision {last.revision}"
    if last.revision != revision:
        return f"{whose} and holds no longer: revision {revision} was saved since"
    return f"{whose} with checksum {last.body.get('checksum')} and holds no longer: the checksum is {checksum} now"


def _when(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
