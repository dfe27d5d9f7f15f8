"""What may be chosen at each site besides its offset, what that costs, and the best that was seen for each cost.

A choice is one number for each lever of a site (power, azimuth, tilt, ...), its place in the list of values that may be
tried; 0 is always the value as planned. What the values are, and what they do to levels, is the caller's
(`sfn.solve.scene` takes it as a function): here they are counted, allowed or not, and paid for.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

Doubles = NDArray[np.float64]
Choice = tuple[int, ...]
Key = tuple[float, float, float]  # fields of a Score
Cost = float  # in the unit of the network's own costs

SAME_COST = 1e-9


@dataclass(frozen=True, slots=True)
class Options:
    """Levers of S sites.

    Parameters
    ----------
    kinds : tuple of tuple of str
        What each lever of each site is.
    counts : tuple of tuple of int
        How many values each has, the one as planned included.
    allowed : callable(site, choice)
        Whether a choice keeps every bound; the one as planned always counts as allowed.
    cost : callable(site, choice, moved)
        What a site costs with a choice; `moved`: whether its added delay changes too. 0 where nothing changes.
    """

    kinds: tuple[tuple[str, ...], ...]
    counts: tuple[Choice, ...]
    allowed: Callable[[int, Choice], bool]
    cost: Callable[[int, Choice, bool], Cost]

    def planned(self) -> tuple[Choice, ...]:
        """Every site as planned."""
        return tuple((0,) * len(counts) for counts in self.counts)

    def total(self, chosen: Sequence[Choice], moved: NDArray[np.bool_]) -> Cost:
        """What a whole plan costs."""
        return float(sum(self.cost(i, choice, bool(moved[i])) for i, choice in enumerate(chosen)))

    def near(self, i: int, choice: Choice, levers_n: int = 1) -> Iterator[Choice]:
        """Allowed choices of a site that differ from one in exactly so many levers."""
        for which in combinations(range(len(choice)), levers_n):
            others = [[k for k in range(self.counts[i][at]) if k != choice[at]] for at in which]
            for values in product(*others):
                made = list(choice)
                for at, value in zip(which, values, strict=True):
                    made[at] = value
                if not any(made) or self.allowed(i, tuple(made)):
                    yield tuple(made)

    def any_of(self, i: int, rng: np.random.Generator) -> Choice:
        """An allowed choice of a site at random; the one as planned where none is met in some tries."""
        for _ in range(20):
            made = tuple(int(rng.integers(count)) for count in self.counts[i])
            if not any(made) or self.allowed(i, made):
                return made
        return (0,) * len(self.counts[i])


@dataclass(frozen=True, slots=True)
class Seen:
    """One plan: what it costs, how well it serves, what is chosen, and the offsets. [us]"""

    cost: Cost
    key: Key
    chosen: tuple[Choice, ...]
    offsets_us: Doubles


@dataclass(slots=True)
class Front:
    """The best plan that was seen for each cost."""

    best: dict[float, Seen] = field(default_factory=dict)

    def offer(self, cost: Cost, key: Key, chosen: Sequence[Choice], offsets_us: Doubles) -> None:
        """Keep a plan that serves better than all of its cost so far."""
        place = round(cost, 6)
        held = self.best.get(place)
        if held is None or key < held.key:
            self.best[place] = Seen(place, key, tuple(chosen), offsets_us.copy())

    def plans(self) -> tuple[Seen, ...]:
        """Plans that none beats which costs as much or less, the cheapest first."""
        made: list[Seen] = []
        for place in sorted(self.best):
            one = self.best[place]
            if not made or one.key < made[-1].key:
                made.append(one)
        return tuple(made)
