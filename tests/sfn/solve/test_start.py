"""The linear programmes: the loop of three, feasibility against Bellman-Ford, the guard interval's dead zone."""

import networkx as nx
import numpy as np
import pytest

from sfn.solve.limits import plain_limits
from sfn.solve.start import Wishes, feasible, least_absolute, wishes
from tests.sfn.solve.problems import made


def loop_of_three() -> Wishes:
    """A, B, C with wishes +20.020, -20.595, -9.155 us."""
    wish = np.array([20.020, -20.595, -9.155])
    return Wishes(np.array([0, 0, 1]), np.array([1, 2, 2]), wish, np.zeros(3), np.ones(3))


def test_least_absolute_differences_sacrifice_the_cheapest_wish() -> None:
    """With one wish worth more, it is fulfilled exactly and the others bear the misclosure."""
    asked = loop_of_three()
    heavy = Wishes(asked.a, asked.b, asked.wish_us, asked.spare_us, np.array([1.0, 5.0, 4.0]))
    offsets = least_absolute(heavy, plain_limits(np.zeros(3), most_us=100.0))
    assert offsets is not None

    np.testing.assert_allclose(heavy.misses_us(offsets), [31.460, 0.0, 0.0], atol=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_feasibility_agrees_with_bellman_ford(seed: int) -> None:
    """Difference constraints have a solution exactly where their graph has no negative cycle."""
    rng = np.random.default_rng(seed)
    sites, count = 6, 9
    pairs = np.array([rng.choice(sites, 2, replace=False) for _ in range(count)])
    asked = Wishes(
        pairs[:, 0], pairs[:, 1], rng.uniform(-20, 20, count), np.full(count, rng.uniform(2, 25)), np.ones(count)
    )
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(sites))
    for a, b, wish, spare in zip(asked.a, asked.b, asked.wish_us, asked.spare_us, strict=True):
        graph.add_edge(int(a), int(b), weight=wish + spare)  # o_b <= o_a + g + W
        graph.add_edge(int(b), int(a), weight=spare - wish)
    offsets = feasible(asked, plain_limits(np.zeros(sites), most_us=1e5))

    assert nx.negative_edge_cycle(graph) == (offsets is None)
    if offsets is not None:
        assert asked.misses_us(offsets).max() < 1e-6


def test_both_answers_of_feasibility_occur() -> None:
    """A loop that does not close is infeasible within a tenth of it, and feasible within a third."""
    limits = plain_limits(np.zeros(3), most_us=100.0)
    asked = loop_of_three()
    for spare, possible in ((3.0, False), (10.4, False), (10.5, True)):
        tried = Wishes(asked.a, asked.b, asked.wish_us, np.full(3, spare), asked.weight)
        assert (feasible(tried, limits) is not None) == possible


def test_ofdm_signals_inside_the_guard_interval_pull_at_nothing() -> None:
    """Two sites whose differences all lie inside the guard interval have no cost at any offsets within it."""
    points = np.column_stack([np.linspace(5, 25, 50), np.zeros(50)])
    asked = wishes(made(np.array([[0.0, 0.0], [30.0, 0.0]]), points, service="dab-mode-1", near_dbuvm=110.0))

    assert asked.a.size > 0
    for offsets in (np.zeros(2), np.array([0.0, 60.0]), np.array([0.0, -60.0])):
        assert asked.misses_us(offsets).max() == 0.0
    assert asked.misses_us(np.array([0.0, 400.0])).max() > 0.0
