"""Typed losses of two paths: their common share, and what cannot be."""

import numpy as np
import pytest

from sfn.stream.loss import bursts, independent
from sfn.stream.paths import left_by, paths_given
from sfn.stream.protection import Protection, column_parity, with_second_path
from tests.sfn.stream.test_residual import record

BURSTY = bursts(0.01, mean_burst_packets=4)
TWO = with_second_path(Protection())


def test_a_typed_share_of_common_losses_is_what_is_left() -> None:
    """0.2 % lost on both, bursts of six: no product of 1 % and 1 %; columns meet exactly that process."""
    paths = paths_given(BURSTY, BURSTY, joint_loss_ratio=0.002, joint_burst_packets=6)
    lost = record(bursts(0.002, mean_burst_packets=6), 6_000_000, np.random.default_rng(2))
    matrices = lost[: lost.size // 55 * 55].reshape(-1, 11, 5)  # ten rows of media, then the column parity
    by_columns = float((matrices[:, :10] & (matrices.sum(1, keepdims=True) > 1)).mean())

    assert left_by(TWO, paths=paths).loss_ratio == pytest.approx(0.002, rel=1e-12)
    left = left_by(with_second_path(column_parity(5, 10)), paths=paths, block_n=2000)
    assert left.loss_ratio == pytest.approx(by_columns, rel=0.05)
    assert "share of common losses as given" == paths.tie
    assert 0.002 == pytest.approx(paths.joint_loss_ratio)


def test_bursts_of_the_common_share_are_the_longer_ones_unless_given() -> None:
    """A shared cause strikes as long as the worse path says; all of both paths lost together is one path."""
    paths = paths_given(BURSTY, bursts(0.01, mean_burst_packets=9), joint_loss_ratio=0.001)
    assert 9 == pytest.approx(paths.joint.model.mean_burst_packets)
    same = paths_given(BURSTY, BURSTY, joint_loss_ratio=0.01)
    one, two = left_by(Protection(), paths=paths_given(BURSTY)), left_by(TWO, paths=same)
    assert two.loss_ratio == pytest.approx(one.loss_ratio, rel=1e-12)
    assert two.errors_per_packet_ratio == pytest.approx(one.errors_per_packet_ratio, rel=1e-12)


def test_without_a_share_independence_is_an_assumption_that_is_named() -> None:
    """The product, and the words for it."""
    paths = paths_given(BURSTY, independent(0.02))
    assert left_by(TWO, paths=paths).loss_ratio == pytest.approx(0.0002, rel=1e-12)
    assert "assumed independent" == paths.tie


@pytest.mark.parametrize(("ratio", "text"), [(0.011, "from 0 to 0.01"), (-0.1, "from 0 to 0.01")])
def test_a_share_that_cannot_be_is_refused(ratio: float, text: str) -> None:
    """No more can be lost on both than on either."""
    with pytest.raises(ValueError, match=f"joint_loss_ratio must be {text}"):
        paths_given(BURSTY, BURSTY, joint_loss_ratio=ratio)


def test_very_lossy_paths_must_lose_some_together() -> None:
    """Of 60 and 70 % at least 30 % are lost on both."""
    with pytest.raises(ValueError, match=r"from 0\.3 to 0\.6"):
        paths_given(independent(0.6), independent(0.7), joint_loss_ratio=0.2)
    with pytest.raises(ValueError, match="without a second path"):
        paths_given(BURSTY, joint_loss_ratio=0.2)
