"""Two paths together."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.stream.capture import Piece
from sfn.stream.joint import joint_loss, loss_of_repeats, overlap
from sfn.stream.loss import bursts
from sfn.stream.measured import measure
from sfn.stream.residual import pair_loss


def bursty(n, *, seed, loss_ratio=0.01, mean=4):
    """A record of losses in bursts."""
    rng = np.random.default_rng(seed)
    model = bursts(loss_ratio, mean_burst_packets=mean)
    pairs = int(3 * n * model.start_probability) + 100
    stays = np.stack((rng.geometric(model.start_probability, pairs), rng.geometric(1 / mean, pairs)), 1)
    return np.repeat(np.tile([False, True], pairs), stays.ravel())[:n]


def path(lost, *, first=0, delay_s=0.005, seed=1):
    """A measured path with these losses, its first packet `first` of the stream."""
    kept = np.flatnonzero(~lost)
    jitter = np.random.default_rng(seed).exponential(1e-4, kept.size)
    at_s = 1000 + (kept + first) * 0.004 + delay_s + jitter
    return measure([Piece((kept + first) & 0xFFFF, at_s, True)], packet_time_s=0.004, remove_drift=False)


def test_records_are_laid_side_by_side():
    """The second began 70 000 packets later, more than one round: every packet meets its own copy."""
    lost, also = bursty(120_000, seed=1), bursty(90_000, seed=2)
    lost[0] = also[0] = also[-1] = False
    one, other = overlap(path(lost), path(also, first=70_000))

    assert np.array_equal(lost[70_000 : 70_000 + 50_000], np.isnan(one)[:50_000])
    assert np.array_equal(also[:50_000], np.isnan(other)[:50_000])


def test_independent_paths_are_called_independent():
    """Bursty but independent: the joint loss is near the product, chance explains it in 19 of 20 cases or more."""
    found = [
        joint_loss(path(bursty(60_000, seed=k)), path(bursty(60_000, seed=100 + k)), shifts_n=199) for k in range(20)
    ]

    assert sum(j.independent for j in found) >= 18
    assert 1e-4 == pytest.approx(np.mean([j.joint_loss_ratio for j in found]), rel=0.5)


def test_paths_that_share_a_failure_are_found_out():
    """A tenth of the bursts strike both: chance does not explain it, and the product is far too low."""
    shared = bursty(60_000, seed=7, loss_ratio=0.001)
    one, other = path(bursty(60_000, seed=8) | shared), path(bursty(60_000, seed=9) | shared, delay_s=0.012)
    found = joint_loss(one, other, shifts_n=199)

    assert not found.independent
    assert found.joint_loss_ratio > 5 * found.product_ratio
    assert found.joint_packets > 3 * found.expected_joint_packets
    assert 7000 == pytest.approx(found.differential_us, abs=20)
    assert found.bursts is not None
    assert found.bursts.model.mean_burst_packets > 2


def test_repeats_of_a_record_follow_the_formula():
    """Both copies lost at spacings of 1 to 40: within a tenth of the two-state model that made the record."""
    model, spacings = bursts(0.01, mean_burst_packets=4), [1, 3, 10, 40]
    ours = loss_of_repeats(bursty(4_000_000, seed=5), spacings=spacings)
    theirs = [pair_loss(model, packets=k) for k in spacings]

    assert np.allclose(ours, theirs, rtol=0.1)


def test_refusals():
    """Other times, other streams, too short: in words."""
    clean = np.zeros(20_000, dtype=bool)
    with pytest.raises(PlanError, match=r"begins 99\.0 s after the first, .*; two records of one stream"):
        overlap(path(clean), path(clean, delay_s=99.0))
    with pytest.raises(PlanError, match="shares 0 packets with the first; at least 1000 in common"):
        overlap(path(clean), path(clean, first=30_000))
    with pytest.raises(ValueError, match="spacings must be from 1 to 10000 packets, got 0"):
        loss_of_repeats(clean, spacings=[0])
    with pytest.raises(ValueError, match="shifts_n must be from 99"):
        joint_loss(path(clean), path(clean), shifts_n=5)
