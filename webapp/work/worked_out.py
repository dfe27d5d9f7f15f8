"""Networks as they stand, and what was worked out from them: kept for the very record, as long as there is room."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar

from sfn.plan import Network
from sfn.terrain.ground import Ground
from webapp.store.store import Saved, Store
from webapp.store.timeline import standing
from webapp.work.kept import Kept

KEPT_PARTS_N = 40_000
KEPT_PAIRS_N = 400_000
T = TypeVar("T")


class WorkedOut:
    """Records and answers of the networks that were asked for last."""

    def __init__(self) -> None:
        self._standing: Kept[Network] = Kept(_parts_n, most_bytes=KEPT_PARTS_N, least_n=2)
        self._answers: Kept[tuple[Network, object, Any]] = Kept(_pairs_n, most_bytes=KEPT_PAIRS_N, least_n=4)

    def standing(self, store: Store, saved: Saved) -> Network:
        """A revision as the engine reads it beside what was reported: the same record until more is."""
        network_id, number = saved.revision.network_id, saved.revision.number
        key = (network_id, number, store.entries.last_id(network_id), saved.own_services)
        return self._standing.get(key, lambda: standing(store, saved))

    def of(
        self, what: str, network: Network, ground: Ground | None, make: Callable[[], T], *, beside: object = None
    ) -> T:
        """What follows from a network on its ground and today's date.

        Parameters
        ----------
        what : str
            Which answer it is, with all that tells it from others of its kind.
        network : Network
            It is kept with the answer, so that no other takes its place in memory meanwhile.
        beside : object, optional
            What else it follows from: kept likewise.
        ground : Ground or None
            None where it cannot be opened.
        make : callable
        """
        key = (what, id(network), id(beside), "" if ground is None else ground.digest, datetime.now(UTC).date())
        found: T = self._answers.get(key, lambda: (network, beside, make()))[2]
        return found


def _parts_n(network: Network) -> int:
    """How large a record is, roughly."""
    return len(network.sites) + len(network.stages)


def _pairs_n(kept: tuple[Network, object, Any]) -> int:
    """How large an answer is, roughly: the largest have a line for every two sites."""
    return 100 + len(kept[0].sites) ** 2
