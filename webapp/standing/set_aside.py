"""Ways on from damage: an entry set aside by name, the row of a network made anew.

What a damaged entry said counts no more, and what it, or one that is gone, may have said is set is unknown.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from sfn.errors import PlanError, Problem
from sfn.plan import Network, Site
from sfn.timeline.held import Held
from webapp.standing.office_entries import told_body
from webapp.store.approvals import APPROVED
from webapp.store.documents import network_of
from webapp.store.entries import ISSUE, SET_ASIDE, SIGN_OFF, words
from webapp.store.seals import HELPS
from webapp.store.store import Store
from webapp.store.timeline import (
    BACK,
    BEGUN,
    COMPLAINT,
    DIFFERENCE,
    ENDED,
    EXCLUSION,
    LOCK,
    MUTED,
    RADIATES,
    TOLD,
    UNMUTED,
    as_kept,
)

_SETS_NOTHING = frozenset({
    ISSUE, SIGN_OFF, APPROVED, BEGUN, BACK, ENDED, MUTED, UNMUTED, LOCK, COMPLAINT, DIFFERENCE, EXCLUSION, SET_ASIDE,
    RADIATES,
})  # fmt: skip
"""Kinds that say nothing of what stands in a device. Of any other word it is not known whether it did."""


@dataclass(frozen=True, slots=True)
class DamagedEntry:
    """An entry that is not what was written, as far as it can be read."""

    id: int
    words: str
    unknown: tuple[str, ...]
    """Names of the sites of which nobody will know what is set, until it is read again."""


def damaged_entries(store: Store, network_id: int, network: Network | None) -> tuple[DamagedEntry, ...]:
    """Those of a network that nobody set aside; `network` is the newest revision, None where it is damaged too."""
    return tuple(
        DamagedEntry(row.id, words(row), tuple(site.name for site in _touched(network, row.site_id, row.kind)))
        for row in store.entries.damaged(network_id)
    )


def set_aside(store: Store, network_id: int, entry_id: int, *, by: str, reason: str) -> tuple[str, ...]:
    """Set one aside.

    Returns
    -------
    tuple of str
        Names of the sites of which nobody knows now what is set.

    Raises
    ------
    PlanError
        If it is not damaged, nobody says why, or the newest revision is damaged as well.
    """
    row = next((one for one in store.entries.damaged(network_id) if one.id == entry_id), None)
    problems = _unsaid(
        by, reason, does="sets it aside", reason_is="what it said as far as anybody knows, and who was asked"
    )
    if row is None:
        what, expected = f"entry {entry_id} is not damaged, or was set aside", "one of those that are listed"
        problems.insert(0, Problem("entry", what, expected, code="entry-not-damaged"))
    if problems or row is None:
        raise PlanError(problems)
    saved = store.read(network_id)
    touched = _touched(saved.network, row.site_id, row.kind)
    number, now = saved.revision.number, as_kept(Held.sure(datetime.now(UTC)))
    known = str(row.site_id) if row.site_id in {site.id for site in saved.network.sites} else ""
    body = {"entry": entry_id, "reason": reason, "words": words(row), **now}
    with store.writing() as connection:
        store.entries.add(
            network_id, revision=number, site_id=known, kind=SET_ASIDE, made_by=by, body=body, within=connection
        )
        for site in touched:
            for told in _unknown(site, f"entry {entry_id} was damaged and set aside: {reason}"):
                store.entries.add(
                    network_id, revision=number, site_id=site.id, kind=TOLD, made_by=by, body=told | now,
                    within=connection,
                )  # fmt: skip
    return tuple(site.name for site in touched)


def _touched(network: Network | None, site_id: str, kind: str) -> tuple[Site, ...]:
    """Sites whose settings it may have spoken of: its own, or all where that cannot be told."""
    if network is None or kind in _SETS_NOTHING:
        return ()
    return tuple(site for site in network.sites if site.id == site_id) or network.sites


def _unknown(site: Site, said: str) -> Iterator[dict[str, object]]:
    """That nobody knows any field of a site, on any route."""
    units = {one.name: one.unit for one in site.delay_fields}
    for chain in site.chains:
        yield told_body(dict.fromkeys(units), units, route=chain.route, words=said)


def row_anew(store: Store, network_id: int, *, by: str, reason: str) -> tuple[str, ...]:
    """Make the row of a network anew, of what is whole (`webapp.store.network_rows`).

    Returns
    -------
    tuple of str
        Names of the sites of which nobody knows now what is set, as entries are gone.

    Raises
    ------
    PlanError
        If it is not damaged, nobody says why, or the database's file is itself no whole one.
    """
    problems = _unsaid(by, reason, does="does this", reason_is="what was looked at, and who was asked")
    found = store.anew(network_id)
    if not found.needed:
        what, expected = f"what the list has of network {network_id} is what was written", "nothing to do"
        problems.append(Problem("network", what, expected, code="row-not-damaged"))
    for fault in store.file_faults():
        what = f"SQLite's own check finds the file damaged ({fault}): what is written into it may be lost again"
        problems.append(Problem("database", what, HELPS, code="store-damaged"))
    if problems:
        raise PlanError(problems)
    network = network_of(found.document, store.own_services()) if found.lost and found.document else None
    number, now = 0 if found.newest is None else found.newest.number, as_kept(Held.sure(datetime.now(UTC)))
    sites = () if network is None else network.sites
    said = f"readings of this network may be gone, and its line in the list was written anew: {reason}"
    with store.writing() as connection:
        store.put_anew(network_id, who=by, reason=reason, within=connection)
        for site in sites:
            for told in _unknown(site, said):
                store.entries.add(
                    network_id, revision=number, site_id=site.id, kind=TOLD, made_by=by, body=told | now,
                    within=connection,
                )  # fmt: skip
    return tuple(site.name for site in sites)


def _unsaid(by: str, reason: str, *, does: str, reason_is: str) -> list[Problem]:
    """What the record needs and nobody typed."""
    problems = []
    for name, typed, expected in (("author", by, "your name"), ("reason", reason, reason_is)):
        if not typed:
            what = f"the record needs the {f'name of who {does}' if name == 'author' else 'reason'}"
            problems.append(Problem(name, what, expected, code=f"{name}-missing", fields=(name,)))
    return problems
