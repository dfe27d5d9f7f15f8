"""The convex start: offsets that satisfy what pairs of sites wish, by linear programming (HiGHS).

A wish is ``o_b - o_a = g`` with a weight. FM and VSB: the delay difference at overlap points, in the worst case or in
the mean. OFDM: only what falls outside the guard interval counts, never a pull towards 0 us, where equal signals that
arrive together fade flat.

| symbol | name | unit |
|---|---|---|
| g | `wish_us` | us |
| W | `spare_us`, half-width of the interval without cost | us |
"""

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import NDArray

from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.solve.packing import worst_noise

Doubles = NDArray[np.float64]
Whole = NDArray[np.int64]

BIN_US = 2.0
MOST_WISHES = 6000


@dataclass(frozen=True, slots=True)
class Wishes:
    """K wishes: ``o_b - o_a`` should be `wish_us`, give or take `spare_us`.

    Parameters
    ----------
    a, b : ndarray of int, shape (K,)
        Rows of sites.
    wish_us, spare_us, weight : ndarray, shape (K,)
        [us, us, people or km2]
    """

    a: Whole
    b: Whole
    wish_us: Doubles
    spare_us: Doubles
    weight: Doubles

    def misses_us(self, offsets_us: Doubles) -> Doubles:
        """How far outside its interval each wish is left, shape (K,). [us]"""
        off = np.abs(offsets_us[self.b] - offsets_us[self.a] - self.wish_us)
        return np.asarray(np.maximum(off - self.spare_us, 0.0))


def wishes(what: Objective) -> Wishes:
    """What pairs of sites wish where they overlap, in bins of 2 us, weighted by who lives there."""
    held, carried = what.places, what.yard.carried
    count = np.diff(held.start)
    place = np.repeat(np.arange(count.size), count)
    strongest = held.strongest[place]
    echo = held.site != strongest
    if carried.kind == "ofdm":
        own = held.travel_us[held.start[:-1]][place]
        wish, spare = own - held.travel_us, float(carried.guard_us or 0.0)
        loud = held.a / np.maximum(held.a[held.start[:-1]][place], 1e-300)
    else:
        wish, spare = -held.travel_us, 0.0
        loud = worst_noise(held.a, held.table.clear) if held.table is not None else held.a
    a, b = np.where(echo, strongest, 0)[echo], held.site[echo]
    wish, weight = wish[echo], (held.weight[place] * np.minimum(loud, 1.0))[echo]
    swap = a > b
    a, b, wish = np.where(swap, b, a), np.where(swap, a, b), np.where(swap, -wish, wish)
    bins = np.round(wish / BIN_US).astype(np.int64)
    keys, inverse = np.unique(np.stack([a, b, bins]), axis=1, return_inverse=True)
    total = np.bincount(inverse.ravel(), weights=weight, minlength=keys.shape[1])
    most = np.sort(np.argsort(-total, kind="stable")[:MOST_WISHES])
    wished = keys[2, most] * BIN_US
    return Wishes(keys[0, most], keys[1, most], wished, np.full(most.size, spare), total[most].astype(np.float64))


def least_absolute(asked: Wishes, limits: Limits) -> Doubles | None:
    """Offsets with the least weighted sum of misses, shape (S,); None where no offsets keep the limits. [us]"""
    count, sites = asked.a.size, len(limits.sites)
    rows, rest = _sides(asked, sites)
    slack = scipy.sparse.vstack([-scipy.sparse.csr_array(np.eye(count))] * 2) if count < 400 else _minus_identity(count)
    weight = asked.weight / max(float(asked.weight.sum()), 1e-300)
    return _solved(scipy.sparse.hstack([rows, slack]), rest, np.concatenate([np.zeros(sites), weight]), limits)


def minimax(asked: Wishes, limits: Limits, *, weighted: bool = False) -> Doubles | None:
    """Offsets with the least greatest miss, shape (S,); None where no offsets keep the limits. [us]

    Notes
    -----
    Unweighted, three sites with one wish a pair share a loop misclosure in equal thirds.
    """
    sites = len(limits.sites)
    rows, rest = _sides(asked, sites)
    scale = asked.weight / max(float(asked.weight.max()), 1e-300) if weighted else np.ones(asked.a.size)
    worst = scipy.sparse.csr_array(-1.0 / np.maximum(np.tile(scale, 2), 1e-6)[:, None])
    return _solved(scipy.sparse.hstack([rows, worst]), rest, np.concatenate([np.zeros(sites), [1.0]]), limits)


def feasible(asked: Wishes, limits: Limits) -> Doubles | None:
    """Offsets that fulfil every wish within its `spare_us`, shape (S,); None where there are none. [us]

    Notes
    -----
    A system of difference constraints: it has a solution exactly where its graph has no negative cycle.
    """
    rows, rest = _sides(asked, len(limits.sites))
    return _solved(rows, rest, np.zeros(len(limits.sites)), limits)


def _sides(asked: Wishes, sites: int) -> "tuple[scipy.sparse.csr_array, Doubles]":
    """``o_b - o_a <= g + W`` and ``o_a - o_b <= W - g`` as rows and right-hand sides."""
    count = asked.a.size
    at = np.concatenate([np.arange(count)] * 2)
    ones = np.ones(count)
    rows = scipy.sparse.csr_array(
        (np.concatenate([ones, -ones]), (at, np.concatenate([asked.b, asked.a]))), shape=(count, sites)
    )
    rest = np.concatenate([asked.wish_us + asked.spare_us, asked.spare_us - asked.wish_us])
    return scipy.sparse.vstack([rows, -rows]), rest


def _minus_identity(count: int) -> "scipy.sparse.csr_array":
    """Twice minus the identity, one above the other."""
    at = np.arange(count)
    one = scipy.sparse.csr_array((-np.ones(count), (at, at)), shape=(count, count))
    return scipy.sparse.vstack([one, one])


def _solved(rows: "scipy.sparse.csr_array", rest: Doubles, cost: Doubles, limits: Limits) -> Doubles | None:
    """The linear programme; offsets come first among its variables."""
    sites = len(limits.sites)
    i, j = np.nonzero(np.isfinite(limits.most_us) & ~np.eye(sites, dtype=bool))
    if i.size:
        at, ones = np.arange(i.size), np.ones(i.size)
        apart = scipy.sparse.csr_array(
            (np.concatenate([ones, -ones]), (np.concatenate([at, at]), np.concatenate([i, j]))),
            shape=(i.size, rows.shape[1]),
        )
        rows, rest = scipy.sparse.vstack([rows, apart]), np.concatenate([rest, limits.most_us[i, j]])
    bounds = [
        *zip(_open(limits.low_us), _open(limits.high_us), strict=True),
        *([(0.0, None)] * (cost.size - sites)),
    ]
    found = scipy.optimize.linprog(cost, A_ub=rows, b_ub=rest, bounds=bounds, method="highs")
    return np.asarray(found.x[:sites]) if found.status == 0 else None


def _open(values: Doubles) -> list[float | None]:
    """Infinite bounds as linprog wants them."""
    return [float(v) if np.isfinite(v) else None for v in values]
