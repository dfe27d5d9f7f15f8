"""A sample of the places that offsets can change: large networks are searched on it first, then on more of them.

Places are drawn without replacement, the likelier the more they weigh, and count for as much as they stand for
(D. Horvitz, D. Thompson, J. Amer. Statist. Assoc. 47, 1952, from memory: a total is the sum of what was drawn over the
probability of drawing it). What is found on a sample is judged on all places, always.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.solve.objective import Objective
from sfn.solve.packing import Packed


def thinned(what: Objective, *, places_n: int, seed: int) -> Objective:
    """The objective over about so many of its places, each counting for those it stands for.

    Parameters
    ----------
    what : Objective
    places_n : int
        How many to draw; all of them where there are no more.
    seed : int
        Of the drawing.

    Returns
    -------
    thin : Objective
        Its totals estimate those of `what`, without a bias; constants are the same.

    Raises
    ------
    ValueError
        If `places_n` is less than 1.
    """
    if places_n < 1:
        raise ValueError(f"places_n must be at least 1, got {places_n}")
    held = what.places
    if places_n >= held.weight.size:
        return what
    return replace(what, places=_part(held, *drawn_places(held.weight, places_n, seed=seed)))


def drawn_places(
    weight: NDArray[np.float64], places_n: int, *, seed: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """About so many places, drawn the likelier the more they weigh, and what each then counts for."""
    chance = _chances(weight, places_n)
    # one random beginning, then equal steps along the sum of chances
    at = np.cumsum(chance) + np.random.default_rng(seed).random()
    chosen = np.flatnonzero(np.floor(at) > np.floor(at - chance))
    return chosen, weight[chosen] / chance[chosen]


def _chances(wanted: NDArray[np.float64], places_n: int) -> NDArray[np.float64]:
    """Chances in proportion to `wanted`, at most 1, that add up to about `places_n`."""
    chance = np.minimum(wanted * (places_n / wanted.sum()), 1.0)
    for _ in range(20):  # what is sure leaves more to the others
        sure = chance >= 1.0
        rest = wanted[~sure].sum()
        if rest <= 0.0 or places_n <= sure.sum():
            break
        raised = np.where(sure, 1.0, np.minimum(wanted * ((places_n - sure.sum()) / rest), 1.0))
        if (raised == chance).all():
            break
        chance = raised
    return np.asarray(chance)


def _part(held: Packed, chosen: NDArray[np.int64], weight: NDArray[np.float64]) -> Packed:
    """Some of the packed places with other weights."""
    count = np.diff(held.start)[chosen]
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    signal = np.arange(start[-1]) - np.repeat(start[:-1], count) + np.repeat(held.start[:-1][chosen], count)
    return Packed(
        held.sites_n, held.place[chosen], start, held.strongest[chosen], held.site[signal], held.a[signal],
        held.b[signal] if held.b.size else held.b, held.travel_us[signal], held.base[chosen],
        held.level_margin_db[chosen], np.ascontiguousarray(weight), held.noise_power_factor, held.table,
    )  # fmt: skip
