"""Totals that whole steps can reach: the greatest below a bound, exactly, and the steps that make a total.

A total is ``sum(size_i n_i)``, every `n_i` whole and inside its limits, the sizes whole multiples of one unit. Two
fields are solved in closed form, so that the ranges may be millions of steps; of more fields, those with the fewest
steps are tried one by one.

Proofs, in short. *One or two fields*: for a given `m` of the first, the second takes the greatest `k` that fits; while
it stands at its limit the total grows with `m`, so that the last such `m` is the best of them; between its limits the
shortfall is ``(bound - size m) mod size_2``, whose least value over a run of `m` is `_least_remainder`. *More*: no
total can fall short of a bound by less than ``bound mod gcd of all sizes``, where the search may stop; a partial
choice whose rest cannot do better than the best so far is left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import gcd

# Far beyond any real device: a field of 2,000 steps beside two of any length needs 2,000 at most.
MOST_TRIED_N = 50_000


class TooManyError(Exception):
    """More combinations than may be tried."""


@dataclass(frozen=True, slots=True)
class Steps:
    """A field as whole steps: `size` of one in units, from `lo` to `hi`, lo <= hi."""

    size: int
    lo: int
    hi: int


@dataclass(slots=True)
class _Budget:
    """How many combinations may still be tried."""

    left_n: int = MOST_TRIED_N

    def spend(self) -> None:
        """One more; raises `TooManyError` when there are no more."""
        self.left_n -= 1
        if self.left_n < 0:
            raise TooManyError


def greatest_below(bound: int, fields: Sequence[Steps]) -> int | None:
    """Greatest reachable total that is not above `bound`; None where every total is above it.

    Raises
    ------
    TooManyError
        If more than `MOST_TRIED_N` combinations would have to be tried.
    """
    start = sum(one.size * one.lo for one in fields)
    found = _greatest(bound - start, _merged([(one.size, one.hi - one.lo) for one in fields]), _Budget())
    return None if found is None else start + found


def least_above(bound: int, fields: Sequence[Steps]) -> int | None:
    """Least reachable total that is not below `bound`; as `greatest_below`, mirrored."""
    found = greatest_below(-bound, [Steps(one.size, -one.hi, -one.lo) for one in fields])
    return None if found is None else -found


_Run = tuple[int, int]  # size of a step, number of steps from zero


def _merged(runs: list[_Run]) -> list[_Run]:
    """The same totals from fewer fields, those with the fewest steps first.

    A field of ``k`` times the step of another that has at least ``k - 1`` steps leaves no gap: together they are one
    field with the finer step.
    """
    runs = sorted((run for run in runs if run[1] > 0), reverse=True)
    at = 0
    while at < len(runs):
        size, count = runs[at]
        into = next(
            (j for j in range(at + 1, len(runs)) if size % runs[j][0] == 0 and runs[j][1] >= size // runs[j][0] - 1),
            None,
        )
        if into is None:
            at += 1
            continue
        finer, finer_count = runs[into]
        runs[into] = (finer, finer_count + count * (size // finer))
        del runs[at]
        at = 0  # what became longer may now close another's gaps
    return sorted(runs, key=lambda run: run[1])


def _greatest(bound: int, runs: Sequence[_Run], budget: _Budget) -> int | None:
    """Greatest total of fields that count from zero, not above `bound`."""
    if bound < 0:
        return None
    top = sum(size * count for size, count in runs)
    if bound >= top:
        return top
    if len(runs) == 1:
        return bound - bound % runs[0][0]
    if len(runs) == 2:
        return _greatest_of_two(bound, runs[0], runs[1])
    (size, count), rest = runs[0], runs[1:]
    least_short = bound % gcd(*(run[0] for run in runs))
    rest_unit, rest_top = gcd(*(run[0] for run in rest)), top - size * count
    best = 0  # all at zero
    for n in range(min(count, bound // size), -1, -1):
        budget.spend()
        left = bound - size * n
        if left % rest_unit < bound - best:
            best = max(best, size * n + (_greatest(left, rest, budget) or 0))
        if left >= rest_top or bound - best == least_short:
            break  # with still fewer steps of this field the rest stays at its greatest
    return best


def _greatest_of_two(bound: int, one: _Run, other: _Run) -> int:
    """As `_greatest` of two fields, 0 <= bound < all they can do: closed form."""
    (a, a_count), (b, b_count) = one, other
    best = 0
    at_limit = min(a_count, (bound - b * b_count) // a)  # the last m with the other field at its greatest
    if at_limit >= 0:
        best = a * at_limit + b * b_count
    first, last = max(0, at_limit + 1), min(a_count, bound // a)
    if first <= last:
        short = _least_remainder(last - first + 1, modulus=b, step=-a % b, start=(bound - a * first) % b)
        best = max(best, bound - short)
    return best


def _least_remainder(count: int, *, modulus: int, step: int, start: int) -> int:
    """Least of ``(step x + start) mod modulus`` over whole ``0 <= x < count``, in O(log modulus).

    The values rise by `step` until they pass the modulus. Each lap's least is its first, ``(start - j modulus) mod
    step`` in lap j: the same question with a modulus of half the size, since a step above half the modulus is taken
    backwards.
    """
    least = start
    while True:
        if 2 * step > modulus:
            start, step = (step * (count - 1) + start) % modulus, modulus - step
            least = min(least, start)
        if step == 0:
            return least
        laps = (step * (count - 1) + start) // modulus
        if laps == 0:
            return least
        count, modulus, step, start = laps, step, -modulus % step, (start - modulus) % step
        least = min(least, start)


def steps_making(total: int, fields: Sequence[Steps], *, around: Sequence[int]) -> tuple[int, ...] | None:
    """Steps of every field that make a total exactly, moved as little as possible from `around`.

    Parameters
    ----------
    total : int
        In units.
    fields : sequence of Steps
    around : sequence of int
        Steps of every field to stay near, inside the limits.

    Returns
    -------
    steps : tuple of int or None
        With the least ``sum(size_i |n_i - around_i|)``; None where the total cannot be reached. Where that takes
        more than `MOST_TRIED_N` combinations: the least of those tried.

    Raises
    ------
    TooManyError
        If none of so many makes the total.
    """
    search = _Search(fields, around, tuple(sorted(range(len(fields)), key=lambda i: fields[i].hi - fields[i].lo)))
    try:
        search.visit(0, total - sum(f.size * n for f, n in zip(fields, around, strict=True)), 0, {})
    except TooManyError:
        if search.best is None:
            raise
    if search.best is None:
        return None
    return tuple(around[i] + search.best[i] for i in range(len(fields)))


class _Search:
    """The moves from `around` that add up to a difference, cheapest first."""

    def __init__(self, fields: Sequence[Steps], around: Sequence[int], order: tuple[int, ...]) -> None:
        self.moves = [(f.size, f.lo - n, f.hi - n) for f, n in zip(fields, around, strict=True)]
        self.order = order
        self.best: dict[int, int] | None = None
        self.cost = 0
        self.budget = _Budget()

    def visit(self, depth: int, left: int, spent: int, made: dict[int, int]) -> None:
        """Moves of the fields from `depth` on that add up to `left`."""
        if self.best is not None and spent + abs(left) >= self.cost:
            return
        rest = self.order[depth:]
        if len(rest) <= 2:
            moved = self._last(rest, left)
            if moved is not None:
                cost = spent + sum(self.moves[i][0] * abs(d) for i, d in moved.items())
                if self.best is None or cost < self.cost:
                    self.best, self.cost = made | moved, cost
            return
        size, low, high = self.moves[rest[0]]
        for d in _outward(low, high):
            if self.best is not None and spent + size * abs(d) >= self.cost:
                break
            self.budget.spend()
            self.visit(depth + 1, left - size * d, spent + size * abs(d), made | {rest[0]: d})

    def _last(self, rest: Sequence[int], left: int) -> dict[int, int] | None:
        """Cheapest moves of the last two fields or fewer."""
        if not rest:
            return {} if left == 0 else None
        if len(rest) == 1:
            size, low, high = self.moves[rest[0]]
            return {rest[0]: left // size} if left % size == 0 and low <= left // size <= high else None
        coarse, fine = sorted(rest, key=lambda i: -self.moves[i][0])
        found = _two_moves(left, self.moves[coarse], self.moves[fine])
        return None if found is None else {coarse: found[0], fine: found[1]}


def _outward(low: int, high: int) -> Iterator[int]:
    """0, 1, -1, 2, -2, ... as far as the limits go; 0 lies inside them."""
    yield 0
    for far in range(1, max(high, -low) + 1):
        if far <= high:
            yield far
        if -far >= low:
            yield -far


def _two_moves(left: int, one: tuple[int, int, int], other: tuple[int, int, int]) -> tuple[int, int] | None:
    """Whole moves x, y inside their limits with ``a x + b y = left`` and the least ``a |x| + b |y|``.

    All solutions are ``x = x_0 + k b/g, y = y_0 - k a/g``; the cost is convex in k and bends where x or y is zero, so
    that the whole k beside the bends, kept inside the limits, hold the least.
    """
    (a, x_low, x_high), (b, y_low, y_high) = one, other
    unit = gcd(a, b)
    if left % unit:
        return None
    a_part, b_part = a // unit, b // unit
    x = left // unit * pow(a_part, -1, b_part) % b_part
    y = (left - a * x) // b
    low = max(-((x - x_low) // b_part), -((y_high - y) // a_part))
    high = min((x_high - x) // b_part, (y - y_low) // a_part)
    if low > high:
        return None
    bends = (-x // b_part, y // a_part)
    near = {min(high, max(low, k + more)) for k in bends for more in (0, 1)}
    made = [(x + k * b_part, y - k * a_part) for k in near]
    return min(made, key=lambda move: (a * abs(move[0]) + b * abs(move[1]), abs(move[0]), move))
