"""Protection: what it costs and what it promises."""

from fractions import Fraction

import pytest

from sfn.stream.protection import (
    Protection,
    both_parities,
    column_parity,
    longest_burst_recovered,
    row_parity,
    skew_class,
    st2022_1_problems,
    waits,
    with_repeat,
    with_second_path,
)


def test_waits_by_hand() -> None:
    """Rows wait L, columns L x D, both L x D + L - 1; spread parity nearly twice that, a repeat its spacing on top."""
    assert 5 == waits(row_parity(5)).parity
    assert 50 == waits(column_parity(5, 10)).parity
    assert 54 == waits(both_parities(5, 10)).parity
    assert 50 + 4 * 9 == waits(column_parity(5, 10, spread=True)).parity
    assert 50 + 4 * 10 == waits(both_parities(5, 10, spread=True)).parity
    assert 52_000 == waits(with_repeat(column_parity(5, 6), after=22)).total_us(Fraction(1, 1000))


def test_words_name_every_part() -> None:
    """A table's line says all that is sent."""
    guard = with_second_path(with_repeat(both_parities(5, 10), after=20))

    assert "rows and columns 5 x 10, repeat after 20 packets, second path" == guard.in_words()
    assert "rows of 5" == row_parity(5).in_words()
    assert "columns 5 x 10" == column_parity(5, 10).in_words()
    assert "none" == Protection().in_words()


def test_bursts_recovered() -> None:
    """L by columns, one by rows, none without parity."""
    assert [0, 1, 7, 7] == [
        longest_burst_recovered(p) for p in (Protection(), row_parity(7), column_parity(7, 4), both_parities(7, 4))
    ]


def test_row_parity_alone_is_outside_the_standard() -> None:
    """ST 2022-1 knows columns, or rows with columns; rows alone are a warning, not an error."""
    (problem,) = st2022_1_problems(row_parity(10))

    assert ("row FEC without column FEC", "warning") == (problem.what, problem.severity)
    assert [] == st2022_1_problems(Protection())


def test_impossible_protection_is_refused() -> None:
    """A matrix without size, a negative repeat and a negative differential are refused by name."""
    with pytest.raises(ValueError, match=r"columns \(L\) must be from 1 to 255 packets, got 0"):
        Protection(column_parity=True, rows=5)
    with pytest.raises(ValueError, match="repeat_after must be from 0"):
        with_repeat(Protection(), after=-1)
    with pytest.raises(ValueError, match="differential_ms must be from 0"):
        skew_class(-1)
