"""Protection by the hour, and the one release delay that covers every hour's."""

import numpy as np
import pytest

from sfn.answer.losses import by_hour, needs_answer, usual_protections
from sfn.stream.buffer import Hour, common_release, delay_quantile
from sfn.stream.loss import bursts, fit
from tests.sfn.stream.test_residual import record

PACKET_S = 1e-3


def hour(k: int, loss_ratio: float, variation_us: float) -> Hour:
    """An hour of 3.6 million packets: bursts of four at a loss ratio, and delays up to a variation."""
    rng = np.random.default_rng(k)
    n = 3_600_000
    lengths = np.array([], dtype=np.int64)
    lost_n = 0
    if loss_ratio:
        lost = record(bursts(loss_ratio, mean_burst_packets=4), n, rng)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], lost.astype(int), [0]))))
        lengths, lost_n = edges[1::2] - edges[::2], int(lost.sum())
    delays = rng.uniform(0, variation_us, 200_000)
    return Hour(
        k * 3600.0,
        n,
        lost_n,
        lengths.size,
        fit(n, burst_lengths=lengths),
        delay_quantile(delays, late_probability=1e-4),
    )


def test_a_bad_hour_asks_for_more_and_decides_the_release() -> None:
    """Nothing where nothing was lost; the lightest that does elsewhere; the release delay is the neediest hour's."""
    hours = (hour(3, 0.0, 2000), hour(4, 2e-5, 3000), hour(20, 2e-3, 9000))
    quiet, light, bad = by_hour(hours, packet_time_s=PACKET_S)
    assert quiet.chosen is None
    assert quiet.need.wait_us == 0
    assert light.chosen is not None
    assert light.chosen.left.errors_high_ratio <= PACKET_S / 604_800
    assert light.need.wait_us == light.chosen.wait_us
    cheaper = [
        one
        for one in usual_protections((hours[1].loss.model,), packet_time_s=PACKET_S)  # type: ignore[union-attr]
        if one.rate_factor < light.chosen.rate_factor and not one.protection.second_path
    ]
    assert all(one.left.errors_high_ratio > PACKET_S / 604_800 for one in cheaper)
    assert bad.need.total_us > light.need.total_us > quiet.need.total_us
    answer = needs_answer((quiet, light, bad))
    assert [line["protection"] for line in answer["hours_need"]][:2] == ["none", light.chosen.protection.in_words()]
    assert answer["release_decided_by"] == "20 h"
    release = common_release([one.need for one in (quiet, light, bad)], step_us=1000.0)
    assert answer["release_above_least_us"] == release.release_us
    assert release.decided_by == "20 h"
    assert release.release_us == pytest.approx(np.ceil(bad.need.total_us / 1000) * 1000)
