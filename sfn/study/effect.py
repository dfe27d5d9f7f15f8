"""What other offsets do, pixel by pixel: who gains adequate service, who loses it, whose margin rises or falls."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network, Place
from sfn.reception.classes import TOO_WEAK
from sfn.reception.coverage import Coverage
from sfn.report.colours import Scale
from sfn.solve.objective import Objective
from sfn.solve.packing import COUNTED_FROM_DB, COUNTED_TO_DB
from sfn.study.losers import PlaceChange, changed_places
from sfn.study.served import State, counted_km2, counted_people, state

Singles = NDArray[np.float32]

LOSES, WORSE, BETTER, GAINS = range(4)
LEAST_CHANGE_DB = 1.0
SCALE = Scale("change", 0, 3, "change")
LABEL = "Gains and losses against the saved plan"


@dataclass(frozen=True, slots=True)
class Effect:
    """Two states of a network over one coverage, and the difference.

    Parameters
    ----------
    before, after : State
    kind : ndarray of float32, shape (rows, columns)
        `LOSES` (adequate service), `WORSE`, `BETTER`, `GAINS`; NaN: as before, or nothing to hear either way.
    gained_people, lost_people : float or None
        None: not known.
    gained_km2, lost_km2 : float
        [km2]
    places : tuple of PlaceChange
        By name, those that lose first.
    """

    before: State
    after: State
    kind: Singles
    gained_people: float | None
    lost_people: float | None
    gained_km2: float
    lost_km2: float
    places: tuple[PlaceChange, ...]

    @property
    def losing(self) -> tuple[PlaceChange, ...]:
        """Places that lose."""
        return tuple(one for one in self.places if one.loses)


def effect(
    network: Network, computed: Coverage, what: Objective, before: Mapping[str, float], after: Mapping[str, float], *,
    people: NDArray[np.float64] | None, places: Sequence[Place] = (), executor: Executor | None = None,
) -> Effect:  # fmt: skip
    """What one set of launches does against another.

    Parameters
    ----------
    network : Network
    computed : Coverage
    what : Objective
    before, after : mapping of site id to launch time
        [us]
    people : ndarray, shape (M,), optional
        Inhabitants of each pixel.
    places : sequence of Place
        To name who gains and loses.
    """
    was, now = (
        state(network, computed, what, one, people=people, executor=executor) for one in (before, after)
    )  # fmt: skip
    area_km2, people = counted_km2(computed), counted_people(computed, people)
    gains, loses = now.served & ~was.served, was.served & ~now.served

    def summed(where: NDArray[np.bool_]) -> float | None:
        """People of some pixels."""
        return None if people is None else float(people[where].sum())

    return Effect(
        was, now, changes(was, now).reshape(computed.grid.shape), summed(gains), summed(loses),
        float(area_km2[gains].sum()), float(area_km2[loses].sum()), changed_places(computed, places, was, now),
    )  # fmt: skip


def changes(before: State, after: State) -> Singles:
    """The kind of change at each place, shape (M,).

    Margins count from -20 to +10 dB, as in the search: what a place has beyond that helps and hurts nobody.
    """
    was, now = (np.clip(one.quality.margin_db, COUNTED_FROM_DB, COUNTED_TO_DB) for one in (before, after))
    moved_db = now - was
    heard = (before.quality.quality_class != TOO_WEAK) | (after.quality.quality_class != TOO_WEAK)
    kinds = np.select(
        [
            before.served & ~after.served,
            after.served & ~before.served,
            heard & (moved_db <= -LEAST_CHANGE_DB),
            heard & (moved_db >= LEAST_CHANGE_DB),
        ],
        [LOSES, GAINS, WORSE, BETTER],
        np.nan,
    )
    return np.where(np.isnan(moved_db), np.nan, kinds).astype(np.float32)
