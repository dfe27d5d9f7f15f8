"""What goes out to the masts: the state of each sheet, sign-offs, and the issue of all that change together.

A sheet is *withheld* by its verdict, *waits* for a named sign-off, is *ready*, or *issued*: somebody issued it, in this
revision, and with these figures: the checksum that was issued is kept, and where the present one is another (a file of
one's own services changed) the sheet is *stale* until it is issued anew. The sites that change are issued together or
not at all, and the common delay is frozen then: after that no change at one site moves the settings of the others.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sfn.check.review import Review, review
from sfn.errors import Problem
from sfn.study.sheet import Sheet, sheet
from sfn.systems.of_network import stamped_checksum
from sfn.timeline.present import as_it_stands
from webapp.shell.dependencies import Opened
from webapp.shell.problems import RefusedError
from webapp.standing.planned_by import FROZEN_FROM
from webapp.store.approvals import EMERGENCY, carried, emergency_says
from webapp.store.documents import network_of
from webapp.store.entries import ISSUE, SIGN_OFF, Entry
from webapp.store.frozen import issued_before
from webapp.store.signed import doubts_signed
from webapp.store.store import Store
from webapp.store.timeline import reports_of
from webapp.work.maps import Maps

State = Literal["withheld", "stale", "needs sign-off", "ready", "issued"]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One site's sheet and how far it is."""

    sheet: Sheet
    signed: Entry | None
    issued: bool
    """Whether a technician may go by it."""
    state: State
    """How far it is; a doubt that came up after the issue takes it back."""
    issue: Entry | None
    """Who issued it, if anybody did."""

    @classmethod
    def of(cls, made: Sheet, signed: Entry | None = None, issue: Entry | None = None) -> "SheetLine":
        """From a sheet and what was decided about it."""
        verdict = made.verdict.state
        state: State = "ready" if issue is None else "issued"
        if verdict == "withheld":
            state = "withheld"
        elif issue is not None and not _as_issued(made, issue):
            state = "stale"
        elif verdict == "sign-off" and signed is None:
            state = "needs sign-off"
        return cls(made, signed, state == "issued", state, issue)

    @property
    def may_go(self) -> bool:
        """Whether it goes out with the next issue."""
        return self.state in ("ready", "issued") or (self.state == "stale" and not self.to_sign)

    @property
    def to_sign(self) -> bool:
        """Whether it waits for a name."""
        return self.sheet.verdict.state == "sign-off" and self.signed is None

    @property
    def stale_says(self) -> str:
        """What was issued and what it would be now; empty unless the sheet is stale."""
        if self.state != "stale" or self.issue is None:
            return ""
        was, now = self.issue.body["checksum"], self.sheet.checksum
        if was == now:
            return f"{self.sheet.site.name}: issued with other settings than are worked out now; issue anew"
        return f"{self.sheet.site.name}: issued with other figures: checksum {was}, now {now}; issue anew"

    @property
    def emergency_says(self) -> str:
        """That it was issued in an emergency, by whom and why; empty where it was not, or is not issued."""
        return emergency_says(self.issue) if self.issued and self.issue is not None else ""

    @property
    def at_head_end(self) -> bool:
        """Whether a delay of the site is sent in the stream, and not set there."""
        return any(field.entered_at == "head-end" for field in self.sheet.site.delay_fields)

    @property
    def opens(self) -> bool:
        """Whether a technician's link may open it: an issued sheet, or the order to read a site."""
        return self.issued or self.sheet.verdict.reading_order


@dataclass(frozen=True, slots=True)
class Released:
    """The sheets of one revision."""

    reviewed: Review
    lines: tuple[SheetLine, ...]

    def of(self, site_id: str) -> SheetLine:
        """The line of a site; raises `PlanError`, naming those there are."""
        found = next((one for one in self.lines if one.sheet.site.id == site_id), None)
        return found or SheetLine.of(sheet(self.reviewed, site_id))


def released(opened: Opened, store: Store, maps: Maps) -> Released:
    """The sheets of an open revision, each with its state; a site that cannot be placed has none."""
    reviewed = maps.reviewed(opened.network)
    there = {row.site_id for row in reviewed.table.rows} & set(reviewed.placed)
    issued = issued_at(opened, store)
    made = (sheet(reviewed, s.id, issued_at=issued.get(s.id)) for s in opened.network.sites if s.id in there)
    latest = {(one.site_id, one.kind): one for one in _of_revision(store, opened)}
    lines = (
        SheetLine.of(one, _signing(latest.get((one.site.id, SIGN_OFF)), one), latest.get((one.site.id, ISSUE)))
        for one in made
    )
    return Released(reviewed, tuple(lines))


def issued_at(opened: Opened, store: Store) -> dict[str, datetime]:
    """When each site's sheet of this revision was first issued, by site: what is set since then is the sheet's."""
    entries = store.entries.of(opened.head.id, kind=ISSUE)
    number = opened.head.revision.number
    return {one.site_id: one.made_at for one in reversed(entries) if one.revision == number}


def _of_revision(store: Store, opened: Opened) -> list[Entry]:
    """Sign-offs and issues of this revision, the oldest first."""
    entries = store.entries.of(opened.head.id, kind=(SIGN_OFF, ISSUE))
    return [one for one in entries if one.revision == opened.head.revision.number]


def _signing(found: Entry | None, made: Sheet) -> Entry | None:
    """A sign-off, where it is one of these figures: one of others signs nothing."""
    return found if found is None or found.body.get("checksum", made.checksum) == made.checksum else None


def sign_off(opened: Opened, store: Store, line: SheetLine, *, by: str, note: str) -> None:
    """Write down who answers for a sheet, and for which doubts.

    Raises
    ------
    RefusedError
        If it is withheld: no name helps there.
    """
    verdict = line.sheet.verdict
    if verdict.state == "fit":
        nothing = Problem("signed_by", "there is nothing to sign off here", "the issue", code="nothing-to-sign")
        raise RefusedError(422, nothing)
    if verdict.state == "withheld":
        raise RefusedError(422, *(reason.problem for reason in verdict.because("withheld")))
    body = {
        "note": note,
        "assumed_stages": list(line.sheet.assumed_stages),
        "doubts": list(verdict.codes),
        "signed_for": doubts_signed(verdict),
        "checksum": line.sheet.checksum,
    }
    _add(store, opened.head.id, opened.head.revision.number, line.sheet.site.id, SIGN_OFF, by, body)


def issue(
    opened: Opened, store: Store, found: Released, *, by: str, emergency: str = ""
) -> tuple[int, tuple[str, ...]]:
    """Issue every sheet that may go out, those that change together or none of them: in one transaction.

    Parameters
    ----------
    opened : Opened
        The newest revision.
    store : Store
    found : Released
        Its sheets.
    by : str
        Who issues them.
    emergency : str
        Why it cannot wait for an approver; kept with each of them.

    Returns
    -------
    revision, names : int, tuple of str
        The revision that is issued, a new one where the common delay was frozen; and the sites' names.

    Raises
    ------
    RefusedError
        If a site that changes is withheld or not signed off, or nothing can be issued; with every reason.
    ConflictError
        If another revision was saved since.
    """
    ready = [line for line in found.lines if line.may_go]
    held = [line for line in found.lines if line.sheet.site.id in found.reviewed.release and line not in ready]
    refused = [problem for line in held for problem in why_not(line)]
    if refused or not ready:
        nothing = Problem(
            "sites", "no sheet is ready", "sheets without what withholds them, signed off where they must be",
            code="nothing-to-issue",
        )  # fmt: skip
        raise RefusedError(422, *(dict.fromkeys(refused) or (nothing,)))
    was, (document, stamp) = opened.head.revision.number, _frozen(opened, store, found.reviewed)
    number = was if document is None else was + 1
    common_delay_us = found.reviewed.table.common_delay_us
    told = {
        "common_delay_us": common_delay_us,
        "release": list(found.reviewed.release),
        "earlier": issued_before(store, opened.head.id, number, common_delay_us),
        "checksum": stamp,
        **({} if document is None else {FROZEN_FROM: was}),
        **({EMERGENCY: emergency} if emergency else {}),
    }
    with store.writing() as within:
        if document is not None:
            again = (
                "the first issue" if not opened.head.unfrozen else "a new issue, another than that of the earlier one"
            )
            reason = f"common delay frozen at {again}, by {by}"[:500]
            store.save(opened.head.id, document, base_revision=was, author=by, reason=reason, within=within)
            checksum = stamped_checksum(opened.network)
            carried(store, opened.head.id, revision=was, checksum=checksum, number=number, stamp=stamp, within=within)
        for line in ready:
            site = line.sheet.site.id
            if line.signed is not None and number != was:
                same = f"signed for revision {was}, which gives the same settings"
                note = "; ".join(filter(None, (line.signed.body.get("note"), same)))
                body = {**line.signed.body, "note": note, "checksum": stamp}
                signer = line.signed.made_by
                store.entries.add(
                    opened.head.id, revision=number, site_id=site, kind=SIGN_OFF, made_by=signer, body=body,
                    carried=True, within=within,
                )  # fmt: skip
            body = {**told, "settings": _settings(line.sheet)}
            store.entries.add(
                opened.head.id, revision=number, site_id=site, kind=ISSUE, made_by=by, body=body, within=within
            )
        names = tuple(line.sheet.site.name for line in ready)
        if emergency:
            why = {"revision": number, "reason": emergency}
            store.audit.add(
                "emergency issue", subject=", ".join(names), network_id=opened.head.id, body=why, who=by, within=within
            )
    return number, names


def _as_issued(made: Sheet, issue: Entry) -> bool:
    """Whether a sheet says what was issued; of an issue that kept nothing of that, nothing is known against it."""
    now = {"checksum": made.checksum, "settings": _settings(made)}
    return all(issue.body.get(key, value) == value for key, value in now.items())


def _settings(made: Sheet) -> dict[str, dict[str, dict[str, Any]]]:
    """What a sheet asks for, by route and field: its issue keeps it, whatever is reported afterwards."""
    return {
        route.row.route: {line.name: {"value": line.value, "unit": line.unit} for line in route.fields}
        for route in made.routes
        if route.fields
    }


def why_not(line: SheetLine) -> tuple[Problem, ...]:
    """Why a sheet cannot go out."""
    if line.state == "withheld":
        return line.sheet.problems
    name = line.sheet.site.name
    doubts = ", ".join(reason.problem.what for reason in line.sheet.verdict.because("sign-off"))
    what = f"site {name} changes together with the others and is not signed off: {doubts}"
    return (Problem("signed_by", what, f"a named sign-off of {name}", code="sign-off-missing"),)


def _frozen(opened: Opened, store: Store, reviewed: Review) -> tuple[dict[str, Any] | None, str]:
    """The document to issue, None where it is as it was saved, and its checksum.

    Where the common delay was automatic it is fixed in it.

    Raises
    ------
    RefusedError
        If the settings would not be the same with it, which would be a fault of this program.
    """
    if opened.network.common_delay.value_us is not None:
        return None, stamped_checksum(opened.network)
    value_us = reviewed.table.common_delay_us
    document: dict[str, Any] = {**opened.document, "common_delay": {"mode": "fixed", "value_us": value_us}}
    fixed = network_of(document, opened.network.own_services)
    again = review(as_it_stands(fixed, reports_of(store, opened.head.id)), problems=()).table
    if [row.fields for row in again.rows] != [row.fields for row in reviewed.table.rows]:
        what = f"a common delay fixed at {value_us!r} us would change settings"
        raise RefusedError(422, Problem("common_delay", what, "a fixed common delay", code="common-delay-unfreezable"))
    return document, stamped_checksum(fixed)


def _add(
    store: Store, network_id: int, revision: int, site_id: str, kind: str, by: str, body: Mapping[str, Any]
) -> None:
    """Write one entry."""
    store.entries.add(network_id, revision=revision, site_id=site_id, kind=kind, made_by=by, body=body)
