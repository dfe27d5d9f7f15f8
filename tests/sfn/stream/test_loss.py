"""Models of loss and their fit to a record."""

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.stream.loss import (
    LossModel,
    binomial_interval,
    burst_lengths_of,
    bursts,
    fit,
    from_correlation,
    independent,
    transition,
)

ratios = st.floats(min_value=1e-9, max_value=0.4)
mean_bursts = st.floats(min_value=1.0, max_value=1000.0)


@given(ratios, mean_bursts)
def test_moments_come_back(loss_ratio: float, mean_burst_packets: float) -> None:
    """A model made from loss and mean burst has that loss and that mean burst."""
    model = bursts(loss_ratio, mean_burst_packets=mean_burst_packets)

    assert loss_ratio == pytest.approx(model.loss_ratio, rel=1e-9)
    assert mean_burst_packets == pytest.approx(model.mean_burst_packets, rel=1e-9)


@given(ratios, mean_bursts, st.integers(0, 60))
def test_states_far_apart_in_one_step(loss_ratio: float, mean_burst_packets: float, packets: int) -> None:
    """The closed form of k steps equals k steps one by one."""
    model = bursts(loss_ratio, mean_burst_packets=mean_burst_packets)
    by_steps = np.linalg.matrix_power(transition(model, 1), packets)

    assert np.allclose(by_steps, transition(model, packets), rtol=1e-9, atol=1e-12)


def test_gilbert_elliott_by_hand() -> None:
    """Pi = [r (1-k) + p (1-h)] / (p + r) with losses of 0.01 and 0.5; a quarter of the time bad."""
    model = LossModel(0.05, 0.15, good_loss_probability=0.01, bad_loss_probability=0.5)

    assert 0.75 * 0.01 + 0.25 * 0.5 == pytest.approx(model.loss_ratio, rel=1e-12)
    assert not model.is_independent


def test_independent_loss_has_bursts_by_chance() -> None:
    """Lost packets in a row follow the geometric law of the loss ratio itself."""
    model = independent(0.2)

    assert model.is_independent
    assert 1 / 0.8 == pytest.approx(model.mean_burst_packets, rel=1e-12)
    assert 0.2**3 == pytest.approx(model.burst_exceeds(3), rel=1e-12)
    assert 0.0 == independent(0.0).burst_exceeds(3)
    assert np.isnan(independent(0.0).mean_burst_packets)


def test_fit_recovers_a_known_record() -> None:
    """A record of 2 million packets drawn with pi = 1e-3, B = 4 by numpy: both parameters within their interval."""
    rng = np.random.default_rng(4)
    lengths = rng.geometric(0.25, size=500)
    fitted = fit(2_000_000, burst_lengths=lengths)

    assert fitted is not None
    assert 500 == fitted.bursts_n
    assert fitted.burst_low_packets < 4 < fitted.burst_high_packets
    assert fitted.loss_low_ratio < lengths.sum() / 2e6 < fitted.loss_high_ratio
    assert fitted.model.loss_ratio == pytest.approx(lengths.sum() / 2e6, rel=1e-9)
    assert fitted.model.mean_burst_packets == pytest.approx(lengths.mean(), rel=1e-9)
    assert fitted.independence_probability < 1e-9


def test_independent_records_are_not_called_bursty() -> None:
    """Of 200 records lost independently, about 1 % have an independence probability below 0.01."""
    rng = np.random.default_rng(6)
    below = 0
    for _ in range(200):
        lost = rng.random(20_000) < 0.02
        fitted = fit(lost.size, burst_lengths=burst_lengths_of(lost))
        assert fitted is not None
        below += fitted.independence_probability < 0.01

    assert 0 <= below <= 8


def test_interval_of_the_loss_covers_bursty_records() -> None:
    """The 99 % interval from bursts holds the true ratio in at least 97 % of 300 bursty records."""
    rng = np.random.default_rng(8)
    covered = 0
    for _ in range(300):
        gaps, lengths = rng.geometric(0.002, size=60), rng.geometric(0.2, size=60)
        fitted = fit(int(gaps.sum() + lengths.sum()), burst_lengths=lengths)
        assert fitted is not None
        covered += fitted.loss_low_ratio <= 0.002 / 0.202 <= fitted.loss_high_ratio

    assert covered >= 291


def test_nothing_lost_is_no_model() -> None:
    """Without a loss there is nothing to fit; one loss fits, with a wide interval."""
    one = fit(1000, burst_lengths=np.array([3]))

    assert fit(1000, burst_lengths=np.array([], dtype=np.int64)) is None
    assert one is not None
    assert one.loss_high_ratio > 3 * one.model.loss_ratio
    assert one.burst_low_packets == pytest.approx(1.0, abs=0.3)


def test_runs_of_a_record() -> None:
    """Runs at both ends and in between; none in a clean record."""
    record = np.array([1, 1, 0, 0, 1, 0, 1, 1, 1], dtype=bool)

    assert [2, 1, 3] == burst_lengths_of(record).tolist()
    assert [] == burst_lengths_of(np.zeros(5, dtype=bool)).tolist()


def test_binomial_interval_at_its_ends() -> None:
    """No hit starts at 0, all hits end at 1."""
    assert 0.0 == binomial_interval(0, of=10)[0]
    assert 1.0 == binomial_interval(10, of=10)[1]


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: independent(1.5), "good_loss_probability must be from 0 to 1 (a probability), got 1.5"),
        (lambda: LossModel(0.1, 0.0), "end_probability must be above 0"),
        (lambda: bursts(0.01, mean_burst_packets=0.5), "mean_burst_packets must be from 1"),
        (lambda: bursts(0.9, mean_burst_packets=2), "mean_burst_packets must be at least 9 packets"),
        (lambda: from_correlation(0.1, lag_one_ratio=1.0), "lag_one_ratio must be from 0"),
        (lambda: fit(2, burst_lengths=np.array([3])), "burst_lengths must not add up to more than 2 packets, got 3"),
    ],
)
def test_refusals(make: object, text: str) -> None:
    """What is no model is refused by name, value and range."""
    with pytest.raises(ValueError, match="must") as refusal:
        make()  # type: ignore[operator]

    assert text in str(refusal.value)
