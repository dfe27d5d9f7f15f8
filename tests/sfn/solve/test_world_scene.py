"""Plans searched in drawn worlds, beside every plan of small grids: the mean, and the 20th percentile of what is served."""

from itertools import product

import numpy as np
import pytest

from sfn.reception.classes import is_served
from sfn.reception.quality import service_quality
from sfn.solve.limits import plain_limits
from sfn.solve.together import together
from sfn.solve.world_scene import P20_QUANTILE, WorldScene, in_worlds
from tests.sfn.solve.scenes import AZIMUTHS_DEG, POWERS_DB, options, paid, scene, taken_off

WORLDS_N, POINTS_N = 7, 90


def drawn(
    seed: int, *, quantile: float | None, worlds_n: int = WORLDS_N, spread_db: float = 6.0
) -> tuple[WorldScene, np.ndarray]:
    """A random network of three sites in a few worlds, and the bearings of its places."""
    rng = np.random.default_rng(seed)
    made, bearing = scene(rng, sites=3, points=POINTS_N)
    errors = [rng.normal(0, spread_db, (3, POINTS_N)).astype(np.float32) for _ in range(worlds_n)]
    late = [rng.uniform(-3, 3, 3) * (spread_db > 0) for _ in range(worlds_n)]
    return in_worlds(made, errors, late, quantile=quantile), bearing


def without(made: WorldScene, bearing: np.ndarray, chosen: tuple[tuple[int, int], ...]) -> np.ndarray:
    """Weight without service in each world, from levels and arrivals alone."""
    change = np.stack(
        [
            POWERS_DB[power] + taken_off(bearing[i], 0.0) - taken_off(bearing[i], AZIMUTHS_DEG[aim])
            for i, (power, aim) in enumerate(chosen)
        ]
    ).astype(np.float32)
    found = []
    for k in range(made.worlds_n):
        at = slice(k * POINTS_N, (k + 1) * POINTS_N)
        quality = service_quality(
            made.level_dbuvm[:, at] + change, made.travel_us[:, at], made.yard, frequency_mhz=made.frequency_mhz,
            level_1pct_dbuvm=made.level_1pct_dbuvm[:, at] + change, sites=made.sites, workers=1,
        )  # fmt: skip
        found.append(made.weight[at][~is_served(quality.quality_class)].sum())
    return np.array(found)


@pytest.mark.parametrize("quantile", [None, P20_QUANTILE])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_front_is_that_of_every_plan_in_all_worlds(seed: int, quantile: float | None) -> None:
    """No plan has a better mean, or a better 20th percentile, for its cost."""
    made, bearing = drawn(seed, quantile=quantile)
    held = plain_limits(np.zeros(3), most_us=10.0, held=[0, 1, 2], step_us=1.0)
    found = together(made, options(3, powers=2, aims=3), held, budget_s=600.0)
    assert found.ended == "settled"
    assert found.places_n == POINTS_N
    best: dict[float, float] = {}
    for chosen in product(product(range(2), range(3)), repeat=3):
        cost = sum(paid(i, choice, False) for i, choice in enumerate(chosen))
        lost = without(made, bearing, chosen)
        value = float(lost.mean() if quantile is None else np.quantile(lost, 0.8))
        best[cost] = min(best.get(cost, np.inf), value)
    for cost, value in best.items():
        theirs = min(plan.key[0] for plan in found.plans if plan.cost <= cost + 1e-9)
        assert theirs <= value + 1e-6 * made.weight.sum() / WORLDS_N, (cost, value, theirs)
    assert len(found.plans) > 1


def test_one_world_without_errors_is_the_plain_scene() -> None:
    """The same plans, offsets too."""
    plain, _ = scene(np.random.default_rng(4), sites=3, points=POINTS_N)
    still = [np.zeros((3, POINTS_N), np.float32)]
    one = in_worlds(plain, still, [np.zeros(3)], quantile=None)
    allowed = plain_limits(np.zeros(3), most_us=16.0, held=[0], step_us=8.0)
    a, b = (together(what, options(3, powers=2, aims=2), allowed, budget_s=600.0) for what in (plain, one))
    assert np.allclose([(x.cost, x.key[0]) for x in a.plans], [(x.cost, x.key[0]) for x in b.plans])


def test_keys_are_of_the_worlds() -> None:
    """Totals by world; the quantile is numpy's, the mean the mean."""
    made, bearing = drawn(3, quantile=P20_QUANTILE)
    planned = ((0, 0),) * 3
    parts = made.parts(made.level_dbuvm, made.level_1pct_dbuvm, np.zeros(3), slice(None))
    totals = made.summed(parts, slice(None))
    lost = without(made, bearing, planned)
    assert totals.shape == (3, WORLDS_N)
    assert totals[0] == pytest.approx(lost)
    assert made.key(totals)[0] == pytest.approx(np.quantile(lost, 0.8), rel=1e-6)
    mean, _ = drawn(3, quantile=None)
    assert mean.key(totals)[0] == pytest.approx(lost.mean(), rel=1e-6)
    assert np.ptp(lost) > 0
