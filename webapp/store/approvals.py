"""Approval of a change plan: by name, for one plan: a revision, its checksum, from what it goes and every old value.

What is saved afterwards voids it, and so does a report that makes an old value another one.
Where the setting asks for it (``SFN_DELAYS_APPROVAL=other``) an approver who did not make the plan approves it; until
then the plan says wherever it stands that it is not approved. Sheets that were issued in an emergency let it be carried
out without: it says so, with the reason. A document alone holds no approval, so no command of the
engine has a change plan, and none tells of one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy.engine import Connection

from webapp.store.entries import ISSUE, Entry
from webapp.store.store import Store

APPROVED = "plan-approved"
EMERGENCY = "emergency"
"""Under which an issue keeps why it could not wait for an approver."""
NOW = "what is set now"
"""From what a plan goes that is held against no older revision."""
Standing = Literal["approved", "not approved", "not asked for", "emergency"]


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


@dataclass(frozen=True, slots=True)
class Plan:
    """What an approval is for."""

    revision: int
    """Which it leads to."""
    checksum: str
    """Of that revision, as the plan prints it."""
    against: str
    """From what it goes: `NOW`, or ``revision N``."""
    mark: str
    """Of its steps with their old values (`sfn.study.live_change.plan_mark`)."""

    def held_by(self, one: Entry) -> bool:
        """Whether an approval is for this plan; one of before marks were kept is for none that could be told."""
        body = one.body
        same = (body.get("checksum"), body.get("from"), body.get("plan")) == (self.checksum, self.against, self.mark)
        return one.revision == self.revision and same


def approval_of(store: Store, network_id: int, plan: Plan, *, asked: bool) -> Approval:
    """Whether a plan is approved.

    Parameters
    ----------
    store : Store
    network_id : int
    plan : Plan
    asked : bool
        Whether the setting asks for approval by another person.
    """
    kept = store.entries.of(network_id, kind=APPROVED)
    given = next((one for one in reversed(kept) if plan.held_by(one)), None)
    whose = f"revision {plan.revision}, checksum {plan.checksum}, from {plan.against}"
    if given is not None:
        note = str(given.body.get("note") or "")
        says = f"approved by {given.made_by} on {_when(given.made_at)}, for {whose}"
        return Approval("approved", says, given.made_by, given.made_at, note)
    void = _void(kept[-1], plan) if kept else ""
    urgent = _emergency(store, network_id, plan)
    if asked and urgent is not None:
        says = f"it goes ahead without an approver: {emergency_says(urgent)}"
        return Approval("emergency", says, urgent.made_by, urgent.made_at, void=void)
    if asked:
        says = f"{whose}, waits for an approver who did not make it: carry nothing out"
        return Approval("not approved", says, void=void)
    says = "nobody has approved it, and this installation asks for no approval (SFN_DELAYS_APPROVAL)"
    return Approval("not asked for", says, void=void)


def emergency_says(issue: Entry) -> str:
    """That sheets went out in an emergency, by whom, and why; empty where they did not."""
    reason = str(issue.body.get(EMERGENCY) or "")
    return f"issued in an emergency by {issue.made_by} on {_when(issue.made_at)}: {reason}" if reason else ""


def _emergency(store: Store, network_id: int, plan: Plan) -> Entry | None:
    """The last issue of a revision with these figures, where it was one in an emergency."""
    issues = [one for one in store.entries.of(network_id, kind=ISSUE) if one.revision == plan.revision]
    last = issues[-1] if issues else None
    holds = last is not None and last.body.get("checksum") == plan.checksum and bool(last.body.get(EMERGENCY))
    return last if holds else None


@dataclass(frozen=True, slots=True)
class Urgent:
    """Sheets that are out, were issued together in an emergency, and whose plan nobody has approved since."""

    sites: tuple[str, ...]
    """Their ids."""
    revision: int
    checksum: str
    by: str
    at: datetime
    reason: str
    says: str
    """All of it in a sentence, sites by their names."""

    def as_json(self) -> dict[str, Any]:
        """For the answers of the interface."""
        return {
            "sites": list(self.sites),
            "revision": self.revision,
            "checksum": self.checksum,
            "issued_by": self.by,
            "issued_at": self.at.isoformat(),
            "reason": self.reason,
            "says": self.says,
        }


def unapproved(store: Store, network_id: int, document: Mapping[str, Any]) -> tuple[Urgent, ...]:
    """Sheets that are out, were issued in an emergency, and whose plan nobody has approved since.

    Parameters
    ----------
    store : Store
    network_id : int
    document : mapping
        Of the network, for the names of its sites.

    Returns
    -------
    urgent : tuple of Urgent
        One for each such issue. An ordinary issue of a site takes it out of its line.
    """
    kept = store.entries.of(network_id, kind=(ISSUE, APPROVED))
    last = {one.site_id: one for one in kept if one.kind == ISSUE}
    approved = {(one.revision, one.body.get("checksum")) for one in kept if one.kind == APPROVED}
    names = {str(site["id"]): str(site.get("name") or site["id"]) for site in document["sites"]}
    together: dict[str, list[Entry]] = {}
    for one in last.values():
        says = emergency_says(one)
        if says and (one.revision, one.body.get("checksum")) not in approved:
            together.setdefault(f"revision {one.revision} {says}", []).append(one)
    return tuple(_urgent(issues, says, names) for says, issues in together.items())


def _urgent(issues: list[Entry], says: str, names: Mapping[str, str]) -> Urgent:
    """What was issued at once."""
    sites, first = tuple(one.site_id or "" for one in issues), issues[0]
    return Urgent(
        sites,
        first.revision or 0,
        str(first.body.get("checksum") or ""),
        first.made_by,
        first.made_at,
        str(first.body[EMERGENCY]),
        f"{', '.join(names.get(site, site) for site in sites)}, {says}",
    )


def approve(store: Store, network_id: int, plan: Plan, *, by: str, note: str) -> None:
    """Write down who approves a plan."""
    body = {"checksum": plan.checksum, "note": note, "from": plan.against, "plan": plan.mark}
    store.entries.add(network_id, revision=plan.revision, site_id="", kind=APPROVED, made_by=by, body=body)


def carried(
    store: Store, network_id: int, *, revision: int, checksum: str, number: int, stamp: str, within: Connection
) -> None:
    """Approve revision `number`, in which only the common delay was frozen, as the one was from which it comes."""
    same = f"approved for revision {revision}, which gives the same settings"
    for given in store.entries.of(network_id, kind=APPROVED):
        if given.revision == revision and given.body.get("checksum") == checksum:
            body = {**given.body, "checksum": stamp, "note": "; ".join(filter(None, (given.body.get("note"), same)))}
            store.entries.add(
                network_id, revision=number, site_id="", kind=APPROVED, made_by=given.made_by, body=body,
                carried=True, within=within,
            )  # fmt: skip


def _void(last: Entry, plan: Plan) -> str:
    """Why an approval of before is none now."""
    whose = f"{last.made_by}'s approval of {_when(last.made_at)} was for revision {last.revision}"
    if last.revision != plan.revision:
        return f"{whose} and holds no longer: revision {plan.revision} was saved since"
    if last.body.get("checksum") != plan.checksum:
        was = last.body.get("checksum")
        return f"{whose} with checksum {was} and holds no longer: the checksum is {plan.checksum} now"
    if last.body.get("from") != plan.against:
        return f"{whose} from {last.body.get('from')}, and is none for the change from {plan.against}"
    if "plan" not in last.body:
        return f"{whose} and did not keep the old values that it was given for: this plan needs another"
    return f"{whose} and holds no longer: what is set now, and with it what the sites go back to, was reported anew"


def _when(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
