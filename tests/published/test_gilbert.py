"""Loss in bursts: Gilbert's two-state model and parity, repeats and second paths under it."""

from collections.abc import Callable

import pytest

from sfn.stream.loss import LossModel, bursts, from_correlation, independent
from sfn.stream.protection import Protection, column_parity, row_parity, with_repeat, with_second_path
from sfn.stream.residual import one_parity_loss, residual

GILBERT = "Ghanbari, Standard Codecs (IET 2005), app. E: pi = p/(p+r), mean 1/r, P(burst > k) = (1-r)^k"
PAIR = "pi [pi + (1-pi) lambda^k], by hand"
COLUMN = "pi {1 - (1/D) sum F_i B_i}, by hand, and a simulation of 20 million packets"
ALONE = "p [1 - (1-p)^n], by hand"


def test_gilbert_statistics(published: Callable[..., None]) -> None:
    """Loss ratio, mean burst and tail from p = 0.001, r = 0.25."""
    model = LossModel(0.001, 0.25)
    published("Gilbert, loss", model.loss_ratio, 3.98406e-3, tolerance=1e-8, unit="", source=GILBERT)
    published("Gilbert, mean burst", model.mean_burst_packets, 4.0, tolerance=1e-7, unit="packets", source=GILBERT)
    published("Gilbert, P(burst > 10)", model.burst_exceeds(10), 0.0563135, tolerance=1e-7, unit="", source=GILBERT)


def test_both_ways_of_stating_a_model_agree() -> None:
    """From loss and mean burst, or from loss and correlation: r = (1-pi)(1-lambda), p = pi (1-lambda)."""
    one = bursts(1e-3, mean_burst_packets=4)
    other = from_correlation(1e-3, lag_one_ratio=one.memory_ratio)

    assert one.start_probability == pytest.approx(other.start_probability, rel=1e-12)
    assert one.end_probability == pytest.approx(other.end_probability, rel=1e-12)


@pytest.mark.parametrize(("after", "theirs"), [(10, 5.70698e-5), (20, 4.14697e-6)])
def test_repeat_on_the_same_path(after: int, theirs: float, published: Callable[..., None]) -> None:
    """Both copies lost, 10 and 20 packets apart, for pi = 1e-3 and bursts of 4."""
    left = residual(with_repeat(Protection(), after=after), paths=(bursts(1e-3, mean_burst_packets=4),))
    what = f"repeat after {after}, pi 1e-3, B 4"
    published(what, left.loss_ratio, theirs, tolerance=1e-9, unit="", source=PAIR)

    assert "exact" == left.kind


@pytest.mark.parametrize(
    ("spacing", "theirs", "tolerance"), [(10, 1.1232e-4, 1e-8), (1, 9.1892e-4, 1e-8), (5, 4.04e-4, 1e-6)]
)
def test_parity_over_ten_under_bursts(
    spacing: int, theirs: float, tolerance: float, published: Callable[..., None]
) -> None:
    """Columns of 10 at spacing 10 and 5, and a row of 10: rows do almost nothing against bursts of 4."""
    ours = one_parity_loss((bursts(1e-3, mean_burst_packets=4),), members=10, spacing=spacing)
    what = f"parity over 10, spacing {spacing}, pi 1e-3, B 4"
    published(what, ours, theirs, tolerance=tolerance, unit="", source=COLUMN)


def test_residual_takes_the_exact_form_where_there_is_one() -> None:
    """Rows and columns alone answer the closed form and say so."""
    model = bursts(1e-3, mean_burst_packets=4)
    by_column = residual(column_parity(10, 10), paths=(model,), block_n=2000)
    by_row = residual(row_parity(10), paths=(model,), block_n=2000)

    assert ("exact", "exact") == (by_column.kind, by_row.kind)
    assert one_parity_loss((model,), members=10, spacing=10) == by_column.loss_ratio
    assert one_parity_loss((model,), members=10, spacing=1) == by_row.loss_ratio


@pytest.mark.parametrize(
    ("ratio", "members", "theirs", "tolerance"),
    [
        (0.01, 5, 4.901e-4, 1e-7),
        (0.01, 10, 9.5618e-4, 1e-8),
        (0.01, 20, 1.821e-3, 1e-6),
        (1e-3, 10, 9.955e-6, 1e-9),
    ],
)
def test_one_parity_without_memory(
    ratio: float, members: int, theirs: float, tolerance: float, published: Callable[..., None]
) -> None:
    """One parity packet over n, each packet lost independently, at any spacing."""
    for spacing in (1, 10):
        ours = one_parity_loss((independent(ratio),), members=members, spacing=spacing)
        what = f"parity over {members}, independent {ratio:g}, spacing {spacing}"
        published(what, ours, theirs, tolerance=tolerance, unit="", source=ALONE)


def test_second_path(published: Callable[..., None]) -> None:
    """Two independent paths of 1e-3 at 1000 packets/s lose one packet in 1000 s."""
    left = residual(with_second_path(Protection()), paths=(independent(1e-3), independent(1e-3)))
    published("two paths of 1e-3", left.loss_ratio, 1e-6, tolerance=1e-18, unit="", source="p1 p2, by hand")
    every_s = left.error_every_s(1e-3) or 0.0
    published("time between losses", every_s, 1000.0, tolerance=2.0, unit="s", source="1 / (p1 p2 1000)",
              reason="runs of two are one audible error: 0.1 % longer")  # fmt: skip
