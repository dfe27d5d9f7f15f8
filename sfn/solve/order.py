"""A safe order of changes: the worst moment between the old state and the new is kept least bad.

Changes are made one at a time, so every order passes through one state after each change: some changes made, the rest
not yet. The best order is the path from none to all whose worst state is least bad; among equals, the one whose states
are less bad together.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

State = frozenset[int]
_Path = tuple[float, float, tuple[int, ...]]  # worst moment, sum of its moments, changes: compared in that order
MOST_STATES_N = 5_000


@dataclass(frozen=True, slots=True)
class Order:
    """Changes in the order to make them.

    Parameters
    ----------
    changes : tuple of int
        Places in the list of changes.
    states : tuple of frozenset of int
        What is changed before the first, after the first, ... after the last.
    badness : tuple of float
        Of each state, in the unit of the measure.
    worst_at : int
        Place in `states` of the worst state between the two ends; 0 with fewer than two changes.
    proven : bool
        Whether no other order has a better worst moment; False where not all states could be looked at.
    """

    changes: tuple[int, ...]
    states: tuple[State, ...]
    badness: tuple[float, ...]
    worst_at: int
    proven: bool


def safe_order(changes_n: int, badness: Callable[[State], float], *, most_states_n: int = MOST_STATES_N) -> Order:
    """The order of changes whose worst intermediate state is least bad.

    Parameters
    ----------
    changes_n : int
        How many changes there are.
    badness : callable
        Of a state, given as the places of the changes that are made. Called once a state.
    most_states_n : int
        About how many states may be looked at. 2 to the power of `changes_n` are enough for a proof.

    Raises
    ------
    ValueError
        If `changes_n` is negative or `most_states_n` is below 1.

    Notes
    -----
    ``best(S) = max(bad(S), min over i in S of best(S - {i}))``, from small sets to large; the two ends count for
    nothing, as every order has them. Where the states are too many, only the best few of each size are followed, and
    where even one at a time is too many, only the first so many of the remaining changes are tried next.

    Examples
    --------
    Two changes, of which the second alone is worse than the first alone:

    >>> safe_order(2, lambda made: {frozenset({0}): 1.0, frozenset({1}): 5.0}.get(made, 0.0)).changes
    (0, 1)
    """
    if changes_n < 0 or most_states_n < 1:
        raise ValueError(f"changes_n must be 0 or more and most_states_n 1 or more, got {changes_n}, {most_states_n}")
    known: dict[State, float] = {}

    def bad(state: State) -> float:
        """The badness of a state, worked out once."""
        if state not in known:
            known[state] = float(badness(state))
        return known[state]

    # A layer of W states has at most W times changes_n states after it.
    kept_n = max(1, 2 * most_states_n // max(1, changes_n * (changes_n + 1)))
    exhaustive = 2**changes_n <= most_states_n
    tried_n = changes_n if exhaustive else max(1, most_states_n // changes_n)
    layer: dict[State, _Path] = {frozenset(): (-math.inf, 0.0, ())}
    for size in range(1, changes_n + 1):
        grown: dict[State, _Path] = {}
        for state, (worst, total, changes) in layer.items():
            for change in sorted(set(range(changes_n)) - state)[:tried_n]:
                after = state | {change}
                # The last change leads to the end, which every order has.
                here = bad(after) if size < changes_n else -math.inf
                path = (max(worst, here), total + (here if size < changes_n else 0.0), (*changes, change))
                grown[after] = min(grown.get(after, path), path)
        layer = grown
        if not exhaustive and len(layer) > kept_n:
            layer = dict(sorted(layer.items(), key=lambda item: item[1])[:kept_n])
    ((_, _, changes),) = layer.values()
    states = tuple(frozenset(changes[:n]) for n in range(changes_n + 1))
    found = tuple(bad(state) for state in states)
    between = range(1, changes_n)
    worst_at = max(between, key=lambda n: found[n], default=0)
    return Order(changes, states, found, worst_at, exhaustive or changes_n < 2)
