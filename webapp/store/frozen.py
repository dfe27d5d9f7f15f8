"""The common delay is frozen at the first issue: whether a document that was saved since has taken that back."""

from collections.abc import Mapping
from typing import Any

from sfn.errors import Problem
from sfn.report.numbers import us
from webapp.store.entries import ISSUE, Entry
from webapp.store.store import Store

# What is typed from a page, with its four decimals, is the same delay.
SAME_US = 1e-3
UNFROZEN = "common-delay-unfrozen"


def _issues(store: Store, network_id: int) -> list[Entry]:
    """Every issue that keeps its common delay, the oldest first."""
    return [one for one in store.entries.of(network_id, kind=ISSUE) if "common_delay_us" in one.body]


def issued_before(store: Store, network_id: int, revision: int, common_delay_us: float) -> dict[str, float] | None:
    """The last issue of another revision, where its common delay was another: `revision` and `common_delay_us`.

    Sheets of that issue no longer hold; those that go out now name it.
    """
    last = next((one for one in reversed(_issues(store, network_id)) if one.revision != revision), None)
    if last is None or abs(float(last.body["common_delay_us"]) - common_delay_us) <= SAME_US:
        return None
    return {"revision": last.revision, "common_delay_us": float(last.body["common_delay_us"])}


def unfrozen(store: Store, network_id: int, document: Mapping[str, Any]) -> tuple[Problem, ...]:
    """What a document changes about the common delay that went out with the last issue.

    Parameters
    ----------
    store : Store
        Where the issues of the network are kept.
    network_id : int
    document : mapping
        A revision of it; an older one restored, or one that came in as JSON, may say another common delay.

    Returns
    -------
    problems : tuple of Problem
        At most one, ``common-delay-unfrozen``; none before the first issue, and none where it is within 1 ns.
    """
    issues = _issues(store, network_id)
    if not issues:
        return ()
    last, says = issues[-1], document.get("common_delay") or {}
    frozen_us, typed = float(last.body["common_delay_us"]), says.get("value_us")
    value_us = float(typed) if says.get("mode") == "fixed" and isinstance(typed, int | float) else None
    if value_us is not None and abs(value_us - frozen_us) <= SAME_US:
        return ()
    issued = f"sheets went out in revision {last.revision} with the common delay frozen at {us(frozen_us, 4)}"
    if value_us is not None:
        moved_us = value_us - frozen_us
        moves = f"every launch moves by {us(moved_us, 4, signed=True)}"
        what = f"{issued}; this revision fixes it at {us(value_us, 4)}: {moves}"
    else:
        moved_us = None
        what = f"{issued}; this revision makes it automatic again: a change at one site can move every other site"
    return (
        Problem(
            "common_delay",
            what,
            f"fixed at {us(frozen_us, 4)}; where all are meant to move, a change plan and a new issue of all",
            "warning",
            code=UNFROZEN,
            fields=("common_delay",),
            values={
                "revision": last.revision,
                "frozen_us": frozen_us,
                "value_us": value_us,
                "moved_us": moved_us,
            },
            said={
                "frozen_said": us(frozen_us, 4),
                "now_said": None if value_us is None else us(value_us, 4),
                "moved_said": None if moved_us is None else us(moved_us, 4, signed=True),
            },
        ),
    )
