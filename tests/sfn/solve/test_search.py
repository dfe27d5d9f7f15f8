"""The search: limits kept, repeatable, anytime, as good as trying everything."""

from dataclasses import replace

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.solve.bound import least_without_service, roundings
from sfn.solve.limits import Limits, limits, plain_limits
from sfn.solve.objective import Objective, score
from sfn.solve.search import search
from sfn.study.optimise import convex_starts
from sfn.timing import delay_table
from tests.sfn.networks import example
from tests.sfn.solve.problems import drawn


def small(seed: int, sites: int = 4) -> tuple[Objective, Limits]:
    """A random network with its first site held."""
    return drawn(np.random.default_rng(seed), sites=sites, points=150), plain_limits(
        np.zeros(sites), most_us=20.0, held=[0]
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_search_finds_what_trying_everything_finds(seed: int) -> None:
    """Three sites, 1 us steps: as good as the exhaustive answer, never better than the lower bound."""
    what, allowed = small(seed, sites=3)
    ours = search(what, allowed, starts=convex_starts(what, allowed), exhaustive=False)
    all_of_them = search(what, allowed, exhaustive=True)

    assert all_of_them.ended == "exhaustive"
    assert all_of_them.tried > 41**2
    assert all_of_them.score <= ours.score
    assert ours.score.without_service <= all_of_them.score.without_service + max(
        1.0, 0.01 * all_of_them.score.without_service
    )
    assert least_without_service(what, allowed) <= all_of_them.score.without_service + 1e-6


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_the_bound_holds_for_devices_of_coarse_steps(seed: int) -> None:
    """Offsets within 10 us, made by devices of 200 us: launches up to 220 us apart, and the bound lies beneath all."""
    what = drawn(np.random.default_rng(seed), sites=2, points=150)
    allowed = plain_limits(np.zeros(2), most_us=10.0)
    best = min(score(what, np.array([0.0, apart])).without_service for apart in np.arange(-220.0, 220.5, 2.0))

    assert least_without_service(what, allowed, rounding_us=np.array([100.0, 100.0])) <= best + 1e-6


def test_a_site_may_miss_its_wish_by_half_its_step_and_what_its_parent_misses() -> None:
    """Half of 1 ms and of 100 ns in the worked example, on top of each other for the fill-in; no field on a link."""

    def coarse(tree):
        """One field of whole milliseconds for the north, the south without a field."""
        tree["sites"][0]["delay_fields"] = [
            {"name": "d", "unit": "ms", "step": 1, "least": 0, "greatest": 500, "sign": "later", "insertion_us": 0}
        ]
        tree["sites"][1]["delay_fields"] = []

    network = example(coarse)
    room = roundings(network, delay_table(network, placed=place(network)), sites=("north", "south", "gap"))
    gap_step_us = min(
        {"ms": 1000.0, "us": 1.0, "100ns": 0.1}[one.unit] * one.step for one in network.sites[2].delay_fields
    )

    assert 500 <= room[0] <= 520
    assert np.isinf(room[1])
    assert room[2] >= room[0] + gap_step_us / 2
    fine = roundings(example(), delay_table(example(), placed=place(example())), sites=("north", "gap"))
    assert fine[1] < 2.0  # steps of a microsecond and less, as the example has them


def test_the_same_seed_gives_the_same_offsets_and_the_score_is_theirs() -> None:
    """Two runs that settle are equal to the last digit, and scoring the offsets anew gives their score."""
    what, allowed = small(4)
    first, second = (search(what, allowed, seed=7, exhaustive=False, budget_s=300) for _ in range(2))

    assert first.ended == second.ended == "settled"
    np.testing.assert_array_equal(first.offsets_us, second.offsets_us)
    again = score(what, first.offsets_us)
    assert first.score.without_service == pytest.approx(again.without_service, abs=1e-6)
    assert first.score < first.before


def test_held_sites_stay() -> None:
    """A held site keeps its offset, to the last digit."""
    what, _ = small(5)
    now = np.array([0.0, 7.25, -3.5, 0.0])
    found = search(what, plain_limits(now, most_us=20.0, held=[1, 2]), exhaustive=False)

    np.testing.assert_array_equal(found.offsets_us[[1, 2]], now[[1, 2]])
    assert np.abs(found.offsets_us).max() <= 20.0


def test_a_limit_on_changes_is_kept() -> None:
    """With one change allowed, one setting differs; with two it is no worse."""
    what, allowed = small(6)
    one, two = (search(what, replace(allowed, most_changed=n), exhaustive=False) for n in (1, 2))

    assert int(allowed.changed(one.offsets_us).sum()) == 1
    assert int(allowed.changed(two.offsets_us).sum()) <= 2
    assert two.score <= one.score < one.before


def test_cancelling_keeps_the_best_so_far() -> None:
    """Stopped early, the answer is the best that was told."""
    what, allowed = small(7)
    told: list[float] = []

    def tell(_offsets: np.ndarray, best: object, _phase: str, _part: float) -> None:
        told.append(best.without_service)  # type: ignore[attr-defined]

    found = search(what, allowed, exhaustive=False, progress=tell, cancelled=lambda: len(told) > 6)

    assert found.ended == "cancelled"
    assert found.score.without_service == told[-1] == min(told)
    assert found.score < found.before
    again = score(what, found.offsets_us)
    assert again.without_service == pytest.approx(found.score.without_service, abs=1e-6)


def test_sites_fed_off_air_move_with_their_parent_and_stay_above_their_bound() -> None:
    """In the worked example Gap may not go below +45.3782 us while North stays, and follows North."""
    network = example()
    allowed = limits(network, delay_table(network, placed=place(network)), most_us=40.0)
    names = list(allowed.sites)
    north, gap = names.index("north"), names.index("gap")

    assert allowed.group(north)[[north, gap]].all()
    alone = np.zeros(3, bool)
    alone[gap] = True
    low, _ = allowed.room(allowed.now_us, alone)
    assert allowed.now_us[gap] + low == pytest.approx(45.3782, abs=1e-3)
    moved = allowed.now_us + np.where(allowed.group(north), 10.0, 0.0)
    assert allowed.changed(moved).tolist() == [name == "north" for name in names]
    assert not allowed.kept(np.where(alone, 40.0, allowed.now_us))


def test_the_greatest_offset_of_a_relay_counts_as_the_sentence_says() -> None:
    """North leaves Gap +45.3782 us at the earliest: 40 us later than that at most, and 40 us earlier than that."""
    network = example()
    allowed = limits(network, delay_table(network, placed=place(network)), most_us=40.0)
    gap = allowed.sites.index("gap")

    assert allowed.now_us[gap] >= 45.3782
    assert allowed.high_us[gap] == pytest.approx(45.3782 + 40.0, abs=1e-3)
    assert allowed.low_us[gap] == pytest.approx(45.3782 - 40.0, abs=1e-3)


def test_a_site_that_does_not_exist_cannot_be_held() -> None:
    """Refused by name, with the names there are."""
    network = example()
    with pytest.raises(PlanError, match="there is no site 'east'"):
        limits(network, delay_table(network, placed=place(network)), most_us=40.0, held=["east"])
