"""A damaged entry set aside by name: what it said counts no more, and what it may have said is set is unknown."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from sfn.errors import PlanError, Problem
from sfn.plan import Network, Site
from sfn.timeline.held import Held
from webapp.standing.office_entries import told_body
from webapp.store.approvals import APPROVED
from webapp.store.entries import ISSUE, SET_ASIDE, SIGN_OFF, words
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
    TOLD,
    UNMUTED,
    as_kept,
)

_SETS_NOTHING = frozenset({
    ISSUE, SIGN_OFF, APPROVED, BEGUN, BACK, ENDED, MUTED, UNMUTED, LOCK, COMPLAINT, DIFFERENCE, EXCLUSION, SET_ASIDE,
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
    problems = []
    if row is None:
        what, expected = f"entry {entry_id} is not damaged, or was set aside", "one of those that are listed"
        problems.append(Problem("entry", what, expected, code="entry-not-damaged"))
    for name, typed, expected in (
        ("author", by, "your name"),
        ("reason", reason, "what it said as far as anybody knows, and who was asked"),
    ):
        if not typed:
            what = f"the record needs the {'name of who sets it aside' if name == 'author' else 'reason'}"
            problems.append(Problem(name, what, expected, code=f"{name}-missing", fields=(name,)))
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
            for told in _unknown(site, entry_id, reason):
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


def _unknown(site: Site, entry_id: int, reason: str) -> Iterator[dict[str, object]]:
    """That nobody knows any field of a site, on any route."""
    units = {one.name: one.unit for one in site.delay_fields}
    said = f"entry {entry_id} was damaged and set aside: {reason}"
    for chain in site.chains:
        yield told_body(dict.fromkeys(units), units, route=chain.route, words=said)
