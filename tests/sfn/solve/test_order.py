"""A safe order of changes."""

from itertools import permutations

import numpy as np
import pytest

from sfn.solve.order import safe_order


def worst(changes, badness):
    """Worst state between the ends of one order, and the sum over those states."""
    between = [badness(frozenset(changes[:n])) for n in range(1, len(changes))]
    return max(between), sum(between)


def drawn(changes_n, seed):
    """A badness drawn for every state."""
    values = np.random.default_rng(seed).uniform(0, 100, 2**changes_n)
    return lambda state: float(values[sum(1 << i for i in state)])


@pytest.mark.parametrize("seed", range(12))
def test_no_permutation_is_better(seed):
    """The order found has the least worst moment of all permutations, and among those the least sum."""
    bad = drawn(5, seed)
    found = safe_order(5, bad)
    best = min(worst(order, bad) for order in permutations(range(5)))

    assert found.proven
    assert best[0] == worst(found.changes, bad)[0] == found.badness[found.worst_at]
    assert best[1] == pytest.approx(worst(found.changes, bad)[1])


def test_the_ends_count_for_nothing():
    """However bad it is before and after, only states between decide and are named worst."""
    found = safe_order(2, lambda made: {frozenset({0}): 7.0, frozenset({1}): 3.0}.get(made, 1000.0))

    assert (1, 0) == found.changes
    assert 1 == found.worst_at
    assert (1000.0, 3.0, 1000.0) == found.badness


@pytest.mark.parametrize(("changes_n", "changes"), [(0, ()), (1, (0,))])
def test_nothing_between_nothing_and_one_change(changes_n, changes):
    """No change and one change have no worst moment."""
    found = safe_order(changes_n, lambda made: 1.0)

    assert changes == found.changes
    assert 0 == found.worst_at
    assert found.proven


def test_too_many_for_a_proof_still_makes_every_change_once():
    """Forty sites: not proven, few states looked at, every change made, better than the document's order."""
    looked = []
    place = np.random.default_rng(1).permutation(40)

    def bad(state):
        """Good orders change sites in the order of their places."""
        looked.append(state)
        return float(sum(abs(place[i] - k) for k, i in enumerate(sorted(state, key=lambda i: place[i]))))

    found = safe_order(40, bad, most_states_n=2000)

    assert not found.proven
    assert sorted(found.changes) == list(range(40))
    assert len(looked) == len(set(looked)) <= 2100
    assert found.badness[found.worst_at] < worst(tuple(range(40)), bad)[0]


def test_refused_in_words():
    """A negative number of changes is named."""
    with pytest.raises(ValueError, match="changes_n must be 0 or more"):
        safe_order(-1, lambda made: 0.0)
