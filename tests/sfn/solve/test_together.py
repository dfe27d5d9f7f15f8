"""Offsets and levers searched together, beside every plan of small grids."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from sfn.reception.classes import is_served
from sfn.reception.quality import service_quality
from sfn.solve.limits import plain_limits
from sfn.solve.options import Options
from sfn.solve.together import together
from tests.sfn.solve.scenes import AZIMUTHS_DEG, LICENCE, POWERS_DB, RIGGING, VISIT, options, paid, scene, taken_off

STEP_US, MOST_US, POWERS, AIMS = 8.0, 16.0, 2, 3


SIDES_KM = {"fm-stereo": 60.0, "dab-mode-1": 180.0}  # beyond which not everybody is served whatever is done


def every_plan(rng_seed: int, *, service: str) -> dict[float, float]:
    """Fewest without service for each cost, of every choice and every whole step at two sites beside a held one.

    Written from the levels alone: no totals, no packing, no parts of `sfn.solve`.
    """
    made, bearing = scene(
        np.random.default_rng(rng_seed), sites=3, points=120, service=service, side_km=SIDES_KM[service]
    )
    best: dict[float, float] = {}
    line = np.arange(-MOST_US, MOST_US + 1.0, STEP_US)
    for chosen in product(product(range(POWERS), range(AIMS)), repeat=3):
        change = np.stack(
            [
                POWERS_DB[power] + taken_off(bearing[i], 0.0) - taken_off(bearing[i], AZIMUTHS_DEG[aim])
                for i, (power, aim) in enumerate(chosen)
            ]
        )
        for a, b in product(line, line):
            offsets = np.array([0.0, a, b])
            cost = 0.0
            for (power, aim), offset in zip(chosen, offsets, strict=True):
                cost += RIGGING if aim else VISIT if power or offset else 0.0
                cost += LICENCE if power or aim else 0.0
            found = service_quality(
                made.level_dbuvm + change.astype(np.float32), made.travel_us + offsets[:, None], made.yard,
                frequency_mhz=made.frequency_mhz, level_1pct_dbuvm=made.level_1pct_dbuvm + change.astype(np.float32),
                sites=made.sites, workers=1,
            )  # fmt: skip
            without = float(made.weight[~is_served(found.quality_class)].sum())
            best[cost] = min(best.get(cost, np.inf), without)
    return best


@pytest.mark.parametrize(("seed", "service"), [(1, "fm-stereo"), (2, "fm-stereo"), (3, "dab-mode-1")])
def test_the_front_is_that_of_every_plan(seed: int, service: str) -> None:
    """On a small grid no plan at all serves more for its cost than one of the front."""
    made, _ = scene(np.random.default_rng(seed), sites=3, points=120, service=service, side_km=SIDES_KM[service])
    allowed = plain_limits(np.zeros(3), most_us=MOST_US, held=[0], step_us=STEP_US)
    found = together(made, options(3, powers=POWERS, aims=AIMS), allowed, budget_s=600.0)  # it settles
    every = every_plan(seed, service=service)
    expected: list[tuple[float, float]] = []
    for cost in sorted(every):
        if not expected or every[cost] < expected[-1][1]:
            expected.append((cost, every[cost]))

    assert len(expected) > 2
    front: list[tuple[float, float]] = []
    for plan in found.plans:  # plans that serve as many with a better margin are no others here
        if not front or plan.key[0] < front[-1][1]:
            front.append((plan.cost, plan.key[0]))
    assert np.array(front) == pytest.approx(np.array(expected))


def test_the_same_seed_gives_the_same_plans() -> None:
    """Where every phase ended by itself."""
    made, _ = scene(np.random.default_rng(4), sites=3, points=60)
    allowed = plain_limits(np.zeros(3), most_us=MOST_US, step_us=STEP_US)
    first, second = (together(made, options(3, powers=2, aims=2), allowed, seed=9, budget_s=600.0) for _ in range(2))

    assert first.ended == second.ended == "settled"
    assert [(p.cost, p.key, p.chosen, p.offsets_us.tolist()) for p in first.plans] == [
        (p.cost, p.key, p.chosen, p.offsets_us.tolist()) for p in second.plans
    ]


def test_bounds_hold_in_every_plan() -> None:
    """What is not allowed is in no plan, whatever it would bring, and what is out of the limits neither."""
    made, _ = scene(np.random.default_rng(5), sites=4, points=300)
    only = Options((("power", "azimuth"),) * 4, ((4, 6),) * 4, lambda i, choice: i < 2 and choice[1] in (0, 2), paid)
    allowed = plain_limits(np.zeros(4), most_us=10.0, held=[0, 3])
    found = together(made, only, allowed, budget_s=3.0)

    assert len(found.plans) > 2
    for plan in found.plans:
        assert all(choice[1] in (0, 2) for choice in plan.chosen[:2])
        assert plan.chosen[2:] == ((0, 0), (0, 0))
        assert allowed.kept(plan.offsets_us)
        assert plan.cost == pytest.approx(
            sum(paid(i, c, bool(m)) for i, (c, m) in enumerate(zip(plan.chosen, plan.offsets_us, strict=True)))
        )


def test_a_cancelled_search_answers_with_what_it_has() -> None:
    """The plan as it is, at least."""
    made, _ = scene(np.random.default_rng(6), sites=4, points=300)
    looks = iter(range(10**9))
    found = together(
        made, options(4), plain_limits(np.zeros(4), most_us=20.0), budget_s=60.0, cancelled=lambda: next(looks) > 40
    )

    assert found.ended == "cancelled"
    assert found.plans[0].cost == 0.0
    assert not np.any(found.plans[0].offsets_us)
    assert found.seconds_s < 30.0


def test_where_even_the_plan_as_it_is_breaks_a_limit_the_search_goes_on() -> None:
    """No plan puts a site beyond what is allowed; where no offset may move, levers are searched all the same."""
    made, _ = scene(np.random.default_rng(7), sites=3, points=120)
    standing = np.array([30.0, 0.0, 0.0])
    free = plain_limits(standing, most_us=10.0, step_us=STEP_US)
    nothing = plain_limits(standing, most_us=10.0, step_us=STEP_US, held=[0, 1, 2])
    too_far = replace(nothing, most_us=np.full((3, 3), 5.0))
    assert not too_far.kept(standing)
    as_it_is = together(made, options(3, powers=2, aims=1), too_far, seed=1, budget_s=20.0).plans
    assert len(as_it_is) > 1
    assert all((plan.offsets_us == standing).all() for plan in as_it_is)
    for allowed in (free, nothing):
        found = together(made, options(3, powers=2, aims=1), allowed, seed=1, budget_s=20.0)
        assert all(allowed.kept(plan.offsets_us) for plan in found.plans)
        costs, keys = [plan.cost for plan in found.plans], [plan.key for plan in found.plans]
        assert costs == sorted(costs)
        assert keys == sorted(keys, reverse=True)
    assert not free.kept(standing)
