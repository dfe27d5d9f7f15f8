"""Steps of the level and drift, told apart: records made here with both, and queues that are neither."""

import numpy as np
import pytest

from sfn.stream.capture import Piece
from sfn.stream.levels import levels
from sfn.stream.measured import measure
from sfn.study.losses import records

PACKET_S = 0.004
PACKETS = np.arange(60_000)


def arrivals(extra_us=0.0, *, drift_ppm: float = 0.0, seed: int = 3, n: int = PACKETS.size) -> np.ndarray:
    """Arrival of every packet of 240 s: half a millisecond of jitter, a clock that drifts, and what is added. [s]"""
    late_us = np.random.default_rng(seed).exponential(500, n) + extra_us
    return 1000 + PACKETS[:n] * PACKET_S * (1 + drift_ppm * 1e-6) + late_us * 1e-6


def measured(at_s: np.ndarray, number: np.ndarray = PACKETS, **options):
    """The record of these arrivals, as a capture would be written."""
    order = np.argsort(at_s, kind="stable")
    return measure([Piece(number[: at_s.size][order] & 0xFFFF, at_s[order], True)], **options)


@pytest.mark.parametrize("given_s", [None, PACKET_S])
@pytest.mark.parametrize(
    ("step_us", "at"), [(50_000, 30_000), (-50_000, 30_000), (50_000, 15_000), (5000, 30_000), (20_000, 45_000),
                        (120_000, 30_000), (600, 20_000)],
)  # fmt: skip
@pytest.mark.parametrize("drift_ppm", [0.0, -30.0])
def test_a_step_is_no_drift(given_s, step_us, at, drift_ppm):
    """A step anywhere, a drift beside it or none: both come back, and the release delay covers the step."""
    ours = measured(arrivals(step_us * (at <= PACKETS), drift_ppm=drift_ppm), packet_time_s=given_s)
    (step,) = ours.changes

    assert "clock or path step" == step.kind
    assert step.step_us == pytest.approx(step_us, abs=30)
    assert step.at_s == pytest.approx(1000 + at * PACKET_S, abs=0.1 if abs(step_us) > 4000 else 0.4)
    assert ours.drift_ppb == pytest.approx(drift_ppm * 1000, abs=150)
    found = records((ours,), names=("a",), late_probability=1e-4).found
    assert found["release_above_least_us"] > abs(step_us) + 3000  # half a millisecond of jitter: 4.6 ms at 1e-4
    assert found["hours"][0]["variation_us"] == pytest.approx(abs(step_us) + 4600, abs=1200)


def test_several_steps_and_a_dip_are_each_named():
    """A clock set wrong for twenty seconds and a path that changes: three steps, each with its size and time."""
    moved = 8000.0 * (PACKETS >= 10_000) - 30_000.0 * ((PACKETS >= 30_000) & (PACKETS < 35_000))
    ours = measured(arrivals(moved, drift_ppm=12))

    assert [8000, -30_000, 30_000] == pytest.approx([one.step_us for one in ours.changes], abs=30)
    assert [1040, 1120, 1140] == pytest.approx([one.at_s for one in ours.changes], abs=0.1)
    assert ours.drift_ppb == pytest.approx(12_000, abs=100)


@pytest.mark.parametrize("load", [0.1, 0.5, 0.9])
def test_a_queue_is_neither_step_nor_drift(load):
    """Bursts of packets into a queue (Lindley's recursion), up to hundreds of milliseconds: nothing is named."""
    rng = np.random.default_rng(int(load * 10))
    waiting, found = 0.0, np.zeros(PACKETS.size)
    for k, came in enumerate(np.where(rng.random(PACKETS.size) < load / 50, rng.exponential(20_000, PACKETS.size), 0)):
        waiting = max(0.0, waiting + came - 400)
        found[k] = waiting
    ours = measured(arrivals(found))

    assert () == ours.changes
    assert ours.drift_ppb == pytest.approx(0, abs=300)


def test_a_queue_that_stands_for_twenty_seconds_is_no_step():
    """A full buffer adds 30 ms and is empty again 20 s later: nothing goes below the least."""
    ours = measured(arrivals(30_000.0 * ((PACKETS >= 30_000) & (PACKETS < 35_000))))
    assert () == ours.changes
    assert ours.drift_ppb == pytest.approx(0, abs=100)


def test_slow_waves_of_the_path_are_no_steps():
    """Ten milliseconds up and down within the record: no jump is named."""
    ours = measured(arrivals(5000 * (1 - np.cos(PACKETS / PACKETS.size * 2 * np.pi))))
    assert () == ours.changes


@pytest.mark.parametrize("gap_s", [3.0, 3.0015, 0.5, 2.9987])
@pytest.mark.parametrize("source", [5, 7])
def test_a_restart_makes_no_drift(gap_s, source):
    """The encoder begins anew off its old beat, same source or another: no drift, and the jitter is what it was."""
    at_s, half = arrivals(), 30_000
    anew = at_s[half:] + gap_s
    pieces = [
        Piece(PACKETS[:half] + 1000, at_s[:half], True, PACKETS[:half] * 192, 5),
        Piece(PACKETS[:half] + 333, anew, True, PACKETS[:half] * 192 + 1234, source),
    ]
    ours = measure(pieces)
    plain = measure([Piece(PACKETS & 0xFFFF, at_s, True)])

    assert [{5: "restart", 7: "source change"}[source]] == [one.kind for one in ours.changes]
    assert ours.drift_ppb == pytest.approx(0, abs=100)
    assert np.nanquantile(ours.delay_us, 0.999) == pytest.approx(np.nanquantile(plain.delay_us, 0.999), abs=60)


def test_a_clock_set_back_has_the_size_of_its_step():
    """60 ms back while nothing overtakes: taken out, and its size is that of many packets, not of two."""
    ours = measure([Piece(PACKETS & 0xFFFF, arrivals() - 0.06 * (PACKETS >= 30_000), True)], packet_time_s=PACKET_S)
    (step,) = ours.changes

    assert "clock step" == step.kind
    assert step.step_us == pytest.approx(-60_000, abs=30)
    assert float(np.nanquantile(ours.delay_us, 0.9999)) < 6000


def test_a_drift_that_no_oscillator_has_is_doubted():
    """A path that grows by 300 us every second: told as a doubt, and the release delay is not called sure."""
    found = records((measured(arrivals(drift_ppm=300), packet_time_s=PACKET_S),), names=("a",), late_probability=1e-2)
    usual = records((measured(arrivals(drift_ppm=60), packet_time_s=PACKET_S),), names=("a",), late_probability=1e-2)

    told = {one.code: one for one in found.problems}
    assert {"drift-beyond-oscillators", "record-without-losses"} == set(told)
    assert told["drift-beyond-oscillators"].values["drift_ppb"] == pytest.approx(300_000, rel=1e-3)
    assert not found.found["release_sure"]
    assert ["record-without-losses"] == [one.code for one in usual.problems]


def test_nothing_but_noise_has_no_steps():
    """Twenty records of jitter alone, some with a little loss: not one step."""
    for seed in range(20):
        delay = np.random.default_rng(seed).gamma(2, 700, 20_000).astype(np.float32)
        delay[seed * 100 : seed * 150] = np.nan
        assert () == levels(delay, packet_time_s=PACKET_S).steps
