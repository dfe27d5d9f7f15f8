"""Delay quantiles with their confidence, hours, and one release delay for all."""

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.stream.buffer import Need, common_release, delay_quantile, hours
from sfn.stream.capture import Piece
from sfn.stream.measured import Measured, measure


def test_quantile_of_exponential_delays_lies_in_its_interval():
    """For mean 2 ms, 99.9 % keep 13.816 ms: at least 97 % of 200 intervals hold it, and they are narrow."""
    rng = np.random.default_rng(21)
    true = 2000 * np.log(1000)
    found = [delay_quantile(rng.exponential(2000, 40_000), late_probability=1e-3) for _ in range(200)]

    assert sum(q.low_us <= true <= (q.high_us or np.inf) for q in found) >= 194
    assert all(q.high_us is not None and q.high_us - q.low_us < 0.25 * true for q in found)


def test_queues_count_once():
    """Late packets in runs of forty are forty times fewer observations: the interval still holds the truth."""
    rng = np.random.default_rng(22)
    true = 2000 * np.log(1000)
    found = [delay_quantile(np.repeat(rng.exponential(2000, 10_000), 40), late_probability=1e-3) for _ in range(50)]

    assert sum(q.low_us <= true <= (q.high_us or np.inf) for q in found) >= 47
    assert all(q.episodes_n < 30 for q in found)


@pytest.mark.parametrize("late_probability", [0.5, 0.1, 0.01])
def test_common_lateness_has_a_narrow_interval(late_probability):
    """Where many packets are late by right, they are not taken for one long episode."""
    rng = np.random.default_rng(25)
    true = -2000 * np.log(late_probability)
    quantile = delay_quantile(rng.exponential(2000, 100_000), late_probability=late_probability)

    assert quantile.high_us is not None
    assert quantile.low_us < true < quantile.high_us
    assert quantile.high_us - quantile.low_us < 0.1 * true


def test_a_short_record_has_no_upper_end():
    """A thousand packets say nothing about one in ten thousand: no upper end, rather than the greatest seen."""
    rng = np.random.default_rng(23)
    quantile = delay_quantile(rng.exponential(2000, 1000), late_probability=1e-4)

    assert quantile.high_us is None
    assert quantile.delay_us >= quantile.low_us


def test_lost_packets_are_not_late():
    """NaN does not count, neither as late nor as arrived."""
    delay = np.concatenate((np.arange(1000.0), np.full(500, np.nan)))

    assert 1000 == delay_quantile(delay, late_probability=0.1).packets_n
    assert 899.0 == delay_quantile(delay, late_probability=0.1).delay_us


@pytest.fixture
def day():
    """Three hours from half past six: the second bursty and slow."""
    rng = np.random.default_rng(24)
    n = 3 * 3600 * 5
    at_s = 6.5 * 3600 + np.arange(n) * 0.2
    busy = (at_s >= 8 * 3600) & (at_s < 9 * 3600)
    delay_s = rng.exponential(np.where(busy, 8e-3, 1e-3))
    kept = ~(busy & (np.arange(n) % 100 < 4))
    return measure([Piece(np.flatnonzero(kept), (at_s + delay_s)[kept], False)], packet_time_s=0.2)


def test_hours_are_cut_at_whole_hours(day: Measured):
    """Four hours, the outer ones halves; losses and late packets in the one they belong to."""
    cut = hours(day, late_probability=0.01)

    assert [6, 7, 8, 9] == [h.hour_of_day for h in cut]
    assert [9000, 18_000, 18_000, 9000] == [h.packets_n for h in cut]
    assert [0, 0, 720, 0] == [h.lost_n for h in cut]
    assert [None, None] == [cut[0].loss, cut[3].loss]
    assert cut[2].loss is not None
    assert 4.0 == pytest.approx(cut[2].loss.model.mean_burst_packets)
    assert all(h.variation is not None for h in cut)
    assert [4600, 4600, 36_800, 4600] == [
        pytest.approx(h.variation.delay_us, rel=0.15) for h in cut if h.variation is not None
    ]


needs = st.lists(
    st.builds(Need, st.text(max_size=3), st.floats(0, 1e5), st.floats(0, 1e5), st.floats(0, 1e6), st.floats(0, 1e4)),
    min_size=1,
    max_size=8,
)


@given(needs, st.floats(0, 1e4), st.sampled_from([0.1, 1.0, 100.0]))
def test_one_release_covers_all(situations, margin_us, step_us):
    """Nobody is short, the neediest has the margin and less than a step more, margins are sorted."""
    release = common_release(situations, margin_us=margin_us, step_us=step_us)
    left = [m for _, m in release.margins_us]

    assert left == sorted(left)
    assert margin_us - 1e-6 <= left[0] <= margin_us + step_us + 1e-6
    assert release.decided_by == release.margins_us[0][0] or left[0] == left[1]


def test_refusals():
    """No situation, no packet, no probability: each refused by name."""
    with pytest.raises(ValueError, match="needs must hold at least one situation"):
        common_release([])
    with pytest.raises(ValueError, match=r"late_probability must be above 0 to 0\.5, got 0"):
        delay_quantile(np.ones(5), late_probability=0)
    with pytest.raises(ValueError, match="at least one packet that arrived"):
        delay_quantile(np.full(5, np.nan), late_probability=0.1)
    with pytest.raises(ValueError, match="margin_us must be from 0"):
        common_release([Need("a", 1, 1)], margin_us=-1)
