"""Who planned what goes out: whoever saved what nobody else has looked at yet.

Found from the revisions and the record, so that an issue does not empty it: whoever saved the newest revision is always
among them, and so is whoever saved one before it, back to the last that somebody else answered for.
"""

from collections.abc import Iterable
from typing import Literal

from webapp.shell.dependencies import Opened
from webapp.store.approvals import APPROVED, EMERGENCY, NOW
from webapp.store.entries import ISSUE, Entry
from webapp.store.roles import name_key
from webapp.store.store import Store

FROZEN_FROM = "frozen_from"
"""Under which an issue keeps the revision of which its own freezes the common delay, with the same settings."""


def planners(opened: Opened, store: Store, *, of: Literal["plan", "sheets"]) -> frozenset[str]:
    """Whoever planned what is to be approved, by the keys of their names (`webapp.store.roles.name_key`).

    Parameters
    ----------
    opened : Opened
        The newest revision.
    store : Store
    of : {'plan', 'sheets'}
        What is to be answered for. A change plan was looked at where it was approved from what is set now; sheets also
        where all of a revision were issued, and in no emergency. In both cases only by who did not plan it.
    """
    network_id = opened.head.id
    kept = store.entries.of(network_id, kind=(ISSUE, APPROVED))
    frozen = {one.revision for one in kept if one.kind == ISSUE and one.body.get(FROZEN_FROM)}
    recorded = store.audit.savers(network_id)
    by_row = {one.number: one.author for one in store.history(network_id)}
    saved_by = {  # the record knows who saved one whose row a disk has changed, or that is gone
        number: frozenset(
            name_key(name) for name in {by_row.get(number, ""), *recorded.get(number, ())} if name.strip()
        )
        for number in by_row.keys() | recorded.keys()
        if number not in frozen
    }
    last, base = max(saved_by), 0
    for number in sorted({one.revision for one in kept if one.revision < last}):
        answered = _answered([one for one in kept if one.revision == number], opened, store, of=of)
        if any(name_key(name) not in _between(saved_by, base, number) for name in answered):
            base = number
    return _between(saved_by, base, last)


def _between(saved_by: dict[int, frozenset[str]], base: int, last: int) -> frozenset[str]:
    """Whoever saved a revision after `base`, up to `last`."""
    return frozenset(name for number, names in saved_by.items() if base < number <= last for name in names)


def _answered(kept: list[Entry], opened: Opened, store: Store, *, of: Literal["plan", "sheets"]) -> Iterable[str]:
    """Who answered for all of a revision."""
    yield from (one.made_by for one in kept if one.kind == APPROVED and one.body.get("from") == NOW)
    issued = [one for one in kept if one.kind == ISSUE and not one.body.get(EMERGENCY)]
    if of == "sheets" and issued:
        sites = {site["id"] for site in store.read(opened.head.id, issued[0].revision).document["sites"]}
        if sites <= {one.site_id for one in issued}:
            yield from {one.made_by for one in issued}
