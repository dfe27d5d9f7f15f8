"""Totals that whole steps can reach, against trying every combination."""

from itertools import product

import pytest
from hypothesis import given, settings, strategies as st

from sfn.timing.totals import Steps, TooManyError, greatest_below, least_above, steps_making


@st.composite
def devices(draw: st.DrawFn) -> list[Steps]:
    """One to four fields of awkward sizes."""
    count = draw(st.integers(1, 4))
    made = []
    for _ in range(count):
        lo = draw(st.integers(-6, 4))
        size = draw(st.sampled_from([1, 2, 3, 5, 7, 10, 12, 25, 30, 97, 100]))
        made.append(Steps(size, lo, lo + draw(st.integers(0, 30 if count < 3 else 7))))
    return made


def every(fields: list[Steps]) -> dict[int, list[tuple[int, ...]]]:
    """All combinations by their total."""
    found: dict[int, list[tuple[int, ...]]] = {}
    for chosen in product(*[range(one.lo, one.hi + 1) for one in fields]):
        found.setdefault(sum(one.size * n for one, n in zip(fields, chosen, strict=True)), []).append(chosen)
    return found


@settings(max_examples=200)
@given(devices(), st.data())
def test_bounds_and_steps_are_those_of_exhaustive_search(fields: list[Steps], data: st.DataObject) -> None:
    """The greatest total below, the least above, and the steps that make a total with the least movement."""
    totals = every(fields)
    bound = data.draw(st.integers(min(totals) - 5, max(totals) + 5))

    assert greatest_below(bound, fields) == max((total for total in totals if total <= bound), default=None)
    assert least_above(bound, fields) == min((total for total in totals if total >= bound), default=None)

    around = [data.draw(st.integers(one.lo, one.hi)) for one in fields]
    total = data.draw(st.sampled_from([bound, *sorted(totals)]))
    made = steps_making(total, fields, around=around)

    def moved(steps: tuple[int, ...]) -> int:
        """How far all fields move together."""
        return sum(one.size * abs(n - at) for one, n, at in zip(fields, steps, around, strict=True))

    if total not in totals:
        assert made is None
    else:
        assert made in totals[total]
        assert moved(made) == min(map(moved, totals[total]))


def test_millions_of_steps_need_no_trying() -> None:
    """Three fields of two million steps each; the least total is the sum of the least, and the greatest likewise."""
    fields = [Steps(640_000, 0, 2_000_000), Steps(3_072, 0, 2_000_000), Steps(1_875, -7, 2_000_000)]

    assert greatest_below(10**9 + 17, fields) == 10**9 + 17  # the sizes share no factor: every number, inside
    assert greatest_below(-7 * 1_875 - 1, fields) is None
    assert greatest_below(-7 * 1_875, fields) == -7 * 1_875


def test_what_cannot_be_tried_is_said() -> None:
    """A device with more combinations than may be tried is refused, not guessed at."""
    fields = [Steps(10_000_019 + 7_919 * i * i, 0, 1) for i in range(24)]

    with pytest.raises(TooManyError):
        greatest_below(123_456_789, fields)
