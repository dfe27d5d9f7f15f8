"""How sure a plan is: what it serves in drawn worlds, its chance to be better than today's, what to measure first.

References
----------
.. [1] A. Saltelli and others, "Variance based sensitivity analysis of model output. Design and estimator for the
   total sensitivity index", Computer Physics Communications 181, 2010, table 2 (the estimators of M. J. W. Jansen,
   1999), read in the documentation of two statistical packages: with worlds A and B, and A with one unknown of B,
   ``V_i = E[(f(B) - f0) (f(AB_i) - f(A))]`` and ``V_Ti = E[(f(A) - f(AB_i))^2] / 2``.
.. [2] Spread of a figure by drawing the worlds again with replacement: B. Efron, "Bootstrap methods", 1979; from
   memory.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.study.worlds import Planned, World, Worlds

Doubles = NDArray[np.float64]
Weight = float  # people or km2, as weighed
Share = float  # of 1
Told = Callable[[int, int], None]

MOST_LEVELS_N, MOST_LATENCIES_N = 8, 6
UNKNOWN_PAIRS_N = 25
"""Pairs of worlds in which unknowns are looked at one by one: each costs a look more."""
AGAIN_N = 200


@dataclass(frozen=True, slots=True)
class Unknown:
    """One thing that nobody knows well, and its share in how unsure the people served are.

    Parameters
    ----------
    kind : {'levels', 'latency'}
    of : tuple of str
        Ids: the site whose levels, or the stages whose latency.
    says : str
        What to measure.
    alone : float
        Share of the variance that goes when it alone is known: first-order index; below 0 is noise. [1]
    in_all : float
        Share that stays when all but it is known: total index. [1]
    alone_error, in_all_error : float
        Standard errors, from drawing the worlds again. [1]
    """

    kind: str
    of: tuple[str, ...]
    says: str
    alone: Share
    in_all: Share
    alone_error: Share
    in_all_error: Share


@dataclass(frozen=True, slots=True)
class Sure:
    """One plan in drawn worlds. [people or km2, as weighed]

    Parameters
    ----------
    nominal : float
        Served where every figure is as predicted.
    served : ndarray, shape (worlds,)
        Served in each world.
    p5, p20, p50, p95, mean : float
        Served at least with 95, 80, 50 and 5 % of the chances; and on the average.
    p5_error, p50_error, p95_error : float
        Standard errors of the percentiles, from drawing the worlds again.
    better : float or None
        Share of the worlds in which it serves more than today's; None of today's itself. [1]
    better_error : float or None
        Its standard error; where all or no world says so, what one world more could say. [1]
    unknowns : tuple of Unknown
        Those that matter most first; empty where none was asked for, or nothing varies.
    looked_n : int
        Unknowns that were looked at one by one.
    not_looked : tuple of str
        Those that were not, for there are too many.
    untold : tuple of str
        Assumed stages without a tolerance, which were not drawn.
    """

    nominal: Weight
    served: Doubles
    p5: Weight
    p20: Weight
    p50: Weight
    p95: Weight
    mean: Weight
    p5_error: Weight
    p50_error: Weight
    p95_error: Weight
    better: Share | None
    better_error: Share | None
    unknowns: tuple[Unknown, ...]
    looked_n: int
    not_looked: tuple[str, ...]
    untold: tuple[str, ...]


def how_sure(
    worlds: Worlds,
    plans: Sequence[Network],
    *,
    placed: Mapping[str, Located],
    worlds_n: int,
    unknowns: bool = True,
    told: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[Sure, ...]:
    """Every plan in the same drawn worlds; the first is today's.

    Parameters
    ----------
    worlds : Worlds
    plans : sequence of Network
        With the sites of the map, where they stand.
    placed : mapping of site id to Located
    worlds_n : int
        Even.
    unknowns : bool
        Whether to look for what matters most: as many looks again for each unknown.
    told : callable(worlds done, all), optional
    cancelled : callable, optional
        Says whether to stop: what was drawn by then is the answer, of two worlds at least.

    Raises
    ------
    PlanError
        If a plan has sites elsewhere than where the levels are of.
    """
    ready = [worlds.planned(one, placed=placed) for one in plans]
    asked = [_asked(one, worlds) if unknowns else ([], ()) for one in ready]
    pairs_n = max(worlds_n // 2, 1)
    made: list[list[list[float]]] = [[] for _ in ready]
    for pair in range(pairs_n):
        a, b = (worlds.world(2 * pair + k, ready) for k in (0, 1))
        for at, plan in enumerate(ready):
            row = [worlds.served(plan, one) for one in (a, b)]
            few = asked[at][0] if pair < UNKNOWN_PAIRS_N else []
            made[at].append(row + [_mixed(worlds, plan, a, b, which) for which in few])
        if told is not None:
            told(2 * (pair + 1), 2 * pairs_n)
        if cancelled is not None and cancelled():
            break
    today = np.array([row[:2] for row in made[0]]).ravel()
    nominal = [worlds.served(plan, worlds.none()) for plan in ready]
    return tuple(
        _sure(plan, made[at], nominal[at], None if at == 0 else today, asked[at], worlds)
        for at, plan in enumerate(ready)
    )


Which = tuple[str, int | tuple[str, ...]]


def _asked(plan: Planned, worlds: Worlds) -> tuple[list[Which], tuple[str, ...]]:
    """Unknowns to look at one by one, and names of those that are too many."""
    names = {site.id: site.name for site in plan.network.sites}
    rows = plan.radiating
    strongest = np.argmax(np.nan_to_num(plan.level_dbuvm, nan=-np.inf), axis=0)
    counts = np.bincount(strongest, weights=worlds.weight, minlength=len(worlds.computed.sites))
    order = sorted(rows.tolist(), key=lambda k: (-counts[k], k)) if worlds.draws.doubt.sigma_db else []
    chosen: list[Which] = [("levels", k) for k in order[:MOST_LEVELS_N]]
    chosen += [("latency", one.key) for one in plan.doubts[:MOST_LATENCIES_N]]
    left = [f"levels of {names[worlds.computed.sites[k]]}" for k in order[MOST_LEVELS_N:]]
    left += [f"latency of {', '.join(one.stages)}" for one in plan.doubts[MOST_LATENCIES_N:]]
    return chosen, tuple(left)


def _mixed(worlds: Worlds, plan: Planned, a: World, b: World, which: Which) -> Weight:
    """Served in world A with one unknown out of B."""
    kind, of = which
    if kind == "levels":
        assert isinstance(of, int)
        return worlds.served(plan, a, other=b, site=of)
    assert isinstance(of, tuple)
    return worlds.served(plan, a, other=b, key=of)


def _sure(
    plan: Planned, rows: list[list[float]], nominal: Weight, today: Doubles | None,
    asked: tuple[list[Which], tuple[str, ...]], worlds: Worlds,
) -> Sure:  # fmt: skip
    """The figures of one plan."""
    served = np.array([row[:2] for row in rows]).ravel()
    mixed = np.array(rows[:UNKNOWN_PAIRS_N])
    p5, p20, p50, p95 = (float(one) for one in np.quantile(served, (0.05, 0.2, 0.5, 0.95)))
    again = np.random.default_rng(1).integers(served.size, size=(AGAIN_N, served.size))
    p5_error, p50_error, p95_error = (
        float(one) for one in np.quantile(served[again], (0.05, 0.5, 0.95), axis=1).std(axis=1)
    )
    better = None if today is None else float((served > today).mean())
    error = None if better is None else max(float(np.sqrt(better * (1 - better) / served.size)), 1.0 / served.size)
    found = [
        _unknown(plan, worlds, which, *shares(mixed[:, 0], mixed[:, 1], mixed[:, 2 + k]))
        for k, which in enumerate(asked[0])
    ]
    found = [one for one in found if one.in_all > 0.0]
    found.sort(key=lambda one: -one.in_all)
    percentiles = (p5, p20, p50, p95, float(served.mean()), p5_error, p50_error, p95_error)
    return Sure(nominal, served, *percentiles, better, error, tuple(found), len(asked[0]), asked[1], plan.untold)


def shares(a: Doubles, b: Doubles, mixed: Doubles) -> tuple[float, float, float, float]:
    """First-order and total share of one unknown in the variance [1]_, and their standard errors [2]_.

    Parameters
    ----------
    a, b, mixed : ndarray, shape (N,)
        What comes out in worlds A and B, and in A with the unknown out of B.
    """

    def of(rows: NDArray[np.int64]) -> tuple[Doubles, Doubles]:
        """For some drawings of the worlds, shape (..., N)."""
        variance = np.concatenate([a[rows], b[rows]], axis=-1).var(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            middle = (a[rows].mean(axis=-1) + b[rows].mean(axis=-1)) / 2.0
            alone = ((b[rows] - middle[..., None]) * (mixed[rows] - a[rows])).mean(axis=-1) / variance
            in_all = ((a[rows] - mixed[rows]) ** 2).mean(axis=-1) / (2.0 * variance)
        nothing = variance <= 0.0
        return np.where(nothing, 0.0, alone), np.where(nothing, 0.0, in_all)

    alone, in_all = of(np.arange(a.size))
    again = of(np.random.default_rng(2).integers(a.size, size=(AGAIN_N, a.size)))
    return float(alone), float(in_all), float(again[0].std()), float(again[1].std())


def _unknown(
    plan: Planned, worlds: Worlds, which: Which, alone: float, in_all: float, alone_error: float, in_all_error: float
) -> Unknown:
    """One unknown, with what to measure."""
    kind, of = which
    if isinstance(of, int):
        site = next(one for one in plan.network.sites if one.id == worlds.computed.sites[of])
        names: tuple[str, ...] = (site.id,)
        says = f"levels of {site.name}: a drive test of its area"
    else:
        doubt = next(one for one in plan.doubts if one.key == of)
        names = doubt.stages
        assumed = ", assumed" if doubt.assumed else ""
        says = f"latency of {', '.join(names)}{assumed}: measured at the sites behind it"
    return Unknown(kind, names, says, alone, in_all, alone_error, in_all_error)
