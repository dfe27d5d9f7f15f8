"""Offsets and levers together, beside offsets alone and differential evolution, the same time and objective for each.

``python -m tests.bench.bench_plans [SECONDS [NETWORKS [FIRST]]]`` from the project's root: random FM networks of 5 to 12
sites, four powers, six directions and +-40 us at each. Figures are people served above what the plan as it is serves,
of the plan that serves most, whatever it costs; all on one core. Differential evolution begins at the plan as it is and
has the whole time twice, with scipy's usual population and with a small one: the better of both counts.
"""

import sys
import time

import numpy as np
from scipy.optimize import differential_evolution

from sfn.solve.limits import Limits, plain_limits
from sfn.solve.options import Options
from sfn.solve.scene import Scene
from sfn.solve.search import search
from sfn.solve.together import together
from tests.sfn.solve.scenes import options, scene

MOST_US = 40.0


def beside(seconds: float = 10.0, networks: float = 20, first: float = 0) -> None:
    """Gains of all three on each network, and medians of their ratios."""
    small, _ = scene(np.random.default_rng(1), sites=3, points=100)  # code compiled at its first use counts for nobody
    together(small, options(3), plain_limits(np.zeros(3), most_us=MOST_US), budget_s=20.0)
    ours, alone, evolved = [], [], []
    for k in range(int(first), int(first + networks)):
        rng = np.random.default_rng(1000 + k)
        sites = int(rng.integers(5, 13))
        made, _ = scene(rng, sites=sites, points=4000, side_km=30.0 * sites**0.5)
        allowed, levers = plain_limits(np.zeros(sites), most_us=MOST_US, held=[0]), options(sites)
        found = together(made, levers, allowed, budget_s=seconds)
        before = found.plans[0].key[0]
        ours.append(before - found.plans[-1].key[0])
        what = made.objective(made.level_dbuvm, made.level_1pct_dbuvm)
        delays = search(what, allowed, budget_s=seconds)
        alone.append(delays.before.without_service - delays.score.without_service)
        evolved.append(before - min(evolution(made, levers, allowed, seconds, popsize=size) for size in (15, 2)))
        print(
            f"{k}: {sites} sites, gain: together {ours[-1]:,.0f} ({found.ended}), offsets alone {alone[-1]:,.0f}, "
            f"differential evolution {evolved[-1]:,.0f}",
            flush=True,
        )
    for name, other in (("offsets alone", alone), ("differential evolution", evolved)):
        ratios = np.array(ours) / np.maximum(other, 1.0)
        print(
            f"gain over that of {name}: median {np.median(ratios):.2f}, least {ratios.min():.2f}; "
            f"better or equal on {int((ratios >= 1.0).sum())} of {ratios.size}"
        )


def evolution(made: Scene, levers: Options, allowed: Limits, seconds: float, *, popsize: int) -> float:
    """The least without service that differential evolution comes to: choices as whole numbers, offsets in whole us."""
    stop, best = time.monotonic() + seconds, [np.inf]
    rows = np.flatnonzero(allowed.free)
    counts = np.array(levers.counts)

    def cost(x: np.ndarray) -> float:
        """People without service."""
        if time.monotonic() > stop:
            return float(best[0])
        chosen = x[: counts.size].astype(int).reshape(counts.shape)
        offsets = allowed.now_us.copy()
        offsets[rows] = np.round(x[counts.size :])
        pairs = [made.rows(i, tuple(one)) for i, one in enumerate(chosen.tolist())]
        level, rare = (np.stack([pair[k] for pair in pairs]) for k in (0, 1))
        value = made.key(made.parts(level, rare, offsets, slice(None)).sum(axis=1))[0]
        best[0] = min(best[0], value)
        return value

    bounds = [(0, count - 1) for count in counts.ravel()] + [(-MOST_US, MOST_US)] * rows.size
    differential_evolution(
        cost, bounds, x0=np.zeros(len(bounds)), popsize=popsize, seed=1, maxiter=10**6, polish=False, integrality=np.ones(len(bounds), bool),
        callback=lambda *_a, **_k: time.monotonic() > stop,
    )  # fmt: skip
    return float(best[0])


if __name__ == "__main__":
    beside(*(float(text) for text in sys.argv[1:]))
