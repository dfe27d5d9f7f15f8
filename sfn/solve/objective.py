"""What is being improved, in words and weights, evaluated only where a moved site matters.

In this order: people (or area) without adequate service; then those below target; then the mean margin. Everything
comes from the levels, times and tables of `sfn.reception.quality`, never from a stand-in. Places that no offset can
change (one signal alone, too weak, echoes that can never reach the target) are counted once and left out of the search.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.reception.beside import Beside
from sfn.reception.classes import TOO_WEAK, WITH_MARGIN, is_served
from sfn.reception.quality import ServiceQuality, Yardstick, service_quality
from sfn.solve.packing import COUNTED_FROM_DB, COUNTED_TO_DB, Packed, packed
from sfn.solve.totals import totals

Doubles = NDArray[np.float64]
Weight = float  # people or km2: `Objective.unit` says which

EVEN_RATIO = 1e-9  # of all weight: closer totals are equal


@dataclass(frozen=True, slots=True, order=True)
class Score:
    """How well a set of offsets serves; the smaller the better, field by field.

    Parameters
    ----------
    without_service, below_target : float
        People or km2 without adequate service, and below target (these included).
    minus_mean_margin_db : float
        Mean margin over adequate, counted from -20 to 10 dB, of all places that have a usable signal; negated. [dB]
    """

    without_service: Weight
    below_target: Weight
    minus_mean_margin_db: float


@dataclass(frozen=True, slots=True)
class Objective:
    """The objective of S sites over M places.

    Parameters
    ----------
    sites : tuple of str
        Ids, in the order of all arrays.
    unit : str
        "people" or "km2".
    weight : ndarray, shape (M,)
        Of each place.
    yard : Yardstick
    places : Packed
        Those that offsets can change.
    constant : ndarray, shape (3,)
        Totals of all others.
    usable_weight : float
        Weight that the mean margin is the mean of.
    """

    sites: tuple[str, ...]
    unit: str
    weight: Doubles
    yard: Yardstick
    places: Packed
    constant: Doubles
    usable_weight: Weight

    def scores(self, found: Doubles) -> Doubles:
        """Totals (K, 3) of the changeable places as scores (K, 3), rounded so that equal ones are equal."""
        # a power of two, so that whole people stay whole
        even = 2.0 ** np.floor(np.log2(max(float(self.weight.sum()), 1e-12) * EVEN_RATIO))
        whole = found + self.constant
        whole[:, :2] = np.round(whole[:, :2] / even) * even
        whole[:, 2] = -np.round(whole[:, 2] / max(self.usable_weight, 1e-12), 9)
        return whole


def quality_totals(quality: ServiceQuality, weight: Doubles, chosen: NDArray[np.bool_]) -> Doubles:
    """Totals of some places out of their quality: not served, below target, weight times margin. Shape (3,)."""
    classes = quality.quality_class
    known = chosen & ~np.isnan(classes)
    served = known & is_served(classes)
    usable = known & (classes != TOO_WEAK)
    margin = np.clip(np.nan_to_num(quality.margin_db.astype(float)), COUNTED_FROM_DB, COUNTED_TO_DB)
    return np.array(
        [
            weight[chosen & ~served].sum(),
            weight[chosen & ~(known & (classes == WITH_MARGIN))].sum(),
            (weight * margin)[usable].sum(),
        ]
    )


def objective(
    sites: Sequence[str],
    level_dbuvm: NDArray[np.floating],
    level_1pct_dbuvm: NDArray[np.floating],
    travel_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    weight: Doubles,
    unit: str,
    other: Beside | None = None,
    executor: Executor | None = None,
) -> Objective:
    """The objective of a network, packed for the search.

    Parameters
    ----------
    sites : sequence of str
        S ids.
    level_dbuvm, level_1pct_dbuvm, travel_us : ndarray, shape (S, M)
        NaN level: not covered, or not transmitting. [dB(uV/m), us]
    yard : Yardstick
        From `sfn.reception.quality.yardstick`.
    frequency_mhz : float
        Carrier. [MHz]
    weight : ndarray, shape (M,)
        People or km2 of each place, with whatever multiplies them; zero: does not matter.
    unit : str
        "people" or "km2".
    other : Beside, optional
        What the strongest must reach against stations with other programmes.
    executor : concurrent.futures.Executor, optional
        Threads.

    Raises
    ------
    ValueError
        If shapes differ, or a weight is negative or not finite.
    """
    places_n = level_dbuvm.shape[1]
    if not level_dbuvm.shape == level_1pct_dbuvm.shape == travel_us.shape == (len(sites), places_n):
        raise ValueError(f"levels and travel times must have the shape ({len(sites)}, M), got {level_dbuvm.shape}")
    if weight.shape != (places_n,) or not np.isfinite(weight).all() or (weight < 0).any():
        raise ValueError(f"weight must be {places_n} finite numbers of 0 or more, got shape {weight.shape}")
    made = packed(
        level_dbuvm,
        level_1pct_dbuvm,
        travel_us,
        yard,
        frequency_mhz=frequency_mhz,
        weight=weight,
        sites=sites,
        other=other,
    )
    others = np.ones(places_n, dtype=bool)
    others[made.place] = False
    quality = service_quality(
        level_dbuvm, travel_us, yard, frequency_mhz=frequency_mhz, level_1pct_dbuvm=level_1pct_dbuvm,
        sites=sites, other=other, executor=executor,
    )  # fmt: skip
    usable = others & (quality.quality_class != TOO_WEAK) & ~np.isnan(quality.quality_class)
    return Objective(
        tuple(sites),
        unit,
        weight,
        yard,
        made,
        quality_totals(quality, weight, others),
        float(weight[usable].sum() + made.weight.sum()),
    )


def score(what: Objective, offsets_us: Doubles, *, executor: Executor | None = None) -> Score:
    """Score of a set of offsets (or launches: only differences count), shape (S,). [us]"""
    return Score(*what.scores(whole(what, offsets_us, executor=executor)[None])[0].tolist())


def along(
    what: Objective,
    offsets_us: Doubles,
    moved: NDArray[np.bool_],
    shifts_us: Doubles,
    *,
    now: Doubles | None = None,
    executor: Executor | None = None,
) -> Doubles:
    """Scores while some sites move together and the others stay.

    Parameters
    ----------
    what : Objective
    offsets_us : ndarray, shape (S,)
        [us]
    moved : ndarray of bool, shape (S,)
        Sites that move.
    shifts_us : ndarray, shape (K,)
        By how much. [us]
    now : ndarray, shape (3,), optional
        `whole` of these offsets, where it is known: then only places that the moved sites touch are evaluated.
    executor : concurrent.futures.Executor, optional
        Threads.

    Returns
    -------
    scores : ndarray, shape (K, 3)
        Fields of `Score`.
    """
    return what.scores(along_totals(what, offsets_us, moved, shifts_us, now=now, executor=executor))


def whole(what: Objective, offsets_us: Doubles, *, executor: Executor | None = None) -> Doubles:
    """Totals (3,) of all changeable places, as `along` wants them in `now`."""
    nobody, still = np.zeros(len(what.sites), bool), np.zeros(1)
    everywhere = np.arange(what.places.weight.size)
    made = totals(what.places, what.yard, offsets_us, nobody, still, places=everywhere, run=_spread(executor))
    return np.asarray(made[0])


def along_totals(
    what: Objective,
    offsets_us: Doubles,
    moved: NDArray[np.bool_],
    shifts_us: Doubles,
    *,
    now: Doubles | None = None,
    executor: Executor | None = None,
) -> Doubles:
    """As `along`, but totals (K, 3) of the changeable places, to go on from."""
    before = whole(what, offsets_us, executor=executor) if now is None else now
    if not moved.any() or moved.all():
        return np.tile(before, (shifts_us.size, 1))
    shifts = np.concatenate([[0.0], shifts_us])
    touched = what.places.touched(moved)
    made = totals(what.places, what.yard, offsets_us, moved, shifts, places=touched, run=_spread(executor))
    return np.asarray(before + (made[1:] - made[0]))


Run = Callable[[Callable[[NDArray[np.int64]], Doubles], Sequence[NDArray[np.int64]]], list[Doubles]]


def _spread(executor: Executor | None) -> Run:
    """Run chunks in threads, or here; the sums come in the same order either way."""
    if executor is None:
        return lambda work, chunks: [work(chunk) for chunk in chunks]
    return lambda work, chunks: list(executor.map(work, chunks))
