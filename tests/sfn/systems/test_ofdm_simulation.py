"""A symbol-level OFDM transmission over echoes, against the weighting function."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from sfn.systems.ofdm import ofdm_answer, window
from sfn.systems.ofdm_window import Placing, weight
from sfn.systems.service import Service, service

CARRIERS, GUARD, SYMBOLS = 1024, 256, 300
# The decision to be made is a matter of decibels: 0.5 dB is the figure, the simulation's own spread 0.1 dB.
TOLERANCE_DB = 0.5


def one_sample_a_microsecond() -> Service:
    """A service whose useful part is 1024 samples of 1 us, without equalisation limit."""
    return replace(service("dab-mode-1"), useful_us=float(CARRIERS), guard_us=float(GUARD))


def simulated_ci_db(levels_db: list[float], delays: list[int], *, window_start: int, seed: int) -> float:
    """C/I of QPSK on all carriers after an FFT of the window, each carrier's useful part found by regression."""
    rng = np.random.default_rng(seed)
    sent = np.exp(0.5j * np.pi * rng.integers(0, 4, (SYMBOLS, CARRIERS)))
    bodies = np.fft.ifft(sent, axis=1) * np.sqrt(CARRIERS)
    stream: NDArray[np.complex128] = np.concatenate([bodies[:, -GUARD:], bodies], axis=1).ravel()
    length = CARRIERS + GUARD
    got = np.zeros((SYMBOLS - 4, CARRIERS), complex)
    for level_db, delay in zip(levels_db, delays, strict=True):
        phase = np.exp(2j * np.pi * rng.random())
        # A path at window_start has its symbol's body in the window; two symbols to either side cover all delays.
        begin = 2 * length + GUARD + window_start - delay
        body = stream[begin : begin + length * (SYMBOLS - 4)].reshape(-1, length)[:, :CARRIERS]
        got += 10 ** (level_db / 20) * phase * np.fft.fft(body, axis=1) / np.sqrt(CARRIERS)
    x = sent[2:-2]
    channel = np.mean(got * x.conj(), axis=0)
    rest = np.mean(np.abs(got - channel * x) ** 2) * len(x) / (len(x) - 1)
    useful = np.mean(np.abs(channel) ** 2) - rest / len(x)
    return float(10 * np.log10(useful / rest))


@pytest.mark.parametrize(
    ("levels_db", "delays", "window_start"),
    [
        ([0.0, -3.0], [0, 400], 0),
        ([0.0, 0.0], [0, 300], 0),
        ([0.0, -6.0], [0, 900], 0),
        ([0.0, -3.0], [0, 400], 400),
        ([-3.0, 0.0], [0, 400], 100),
        ([-12.0, 0.0, -6.0], [0, 150, 500], 150),
        ([0.0, -8.0, -4.0], [0, 200, 600], 0),
        ([-5.0, 0.0, -5.0], [0, 320, 700], 200),
        ([0.0, -10.0, -2.0], [0, 1200, 350], 50),
    ],
)
def test_echoes_outside_the_guard_interval_cost_what_the_weight_says(
    levels_db: list[float], delays: list[int], window_start: int
) -> None:
    """C/I of two and three paths, early and late, agrees with the squared law within 0.5 dB."""
    of = one_sample_a_microsecond()
    simulated_db = simulated_ci_db(levels_db, delays, window_start=window_start, seed=4)
    parts = weight(np.asarray(delays) - window_start, service=of)
    powers = 10 ** (np.asarray(levels_db) / 10)
    formula_db = 10 * np.log10((parts @ powers) / ((1 - parts) @ powers))

    assert abs(formula_db - simulated_db) < TOLERANCE_DB


@pytest.mark.parametrize(
    ("levels_db", "delays"),
    [([0.0, 0.0], [0, 256]), ([0.0, -3.0, -1.0], [0, 128, 256]), ([-9.0, 0.0, -9.0], [10, 60, 250])],
)
def test_echoes_inside_the_guard_interval_cost_nothing(levels_db: list[float], delays: list[int]) -> None:
    """With every path in the guard interval nothing interferes, in the simulation and in the answer."""
    of = one_sample_a_microsecond()
    simulated_db = simulated_ci_db(levels_db, delays, window_start=min(delays), seed=5)
    (answer,) = ofdm_answer(levels_db, delays, of, strategies=["best"])["strategies"]

    assert simulated_db > 200
    assert answer["ci_db"] is None


@pytest.mark.parametrize("strategy", ["strongest", "first", "centre-of-gravity", "quasi-optimal", "best"])
def test_every_strategys_answer_is_what_the_simulation_gives(strategy: str) -> None:
    """The C/I that the answer gives for a strategy's window is that of the simulated receiver with this window."""
    of = one_sample_a_microsecond()
    levels_db, delays = [-10.0, 0.0, -8.0], [0, 152, 430]
    (answer,) = ofdm_answer(levels_db, delays, of, strategies=[strategy], noise_dbuvm=-300.0)["strategies"]
    start = round(window(Placing(strategy), levels_db, delays, service=of))
    simulated_db = simulated_ci_db(levels_db, delays, window_start=start, seed=6)

    assert abs(answer["ci_db"] - simulated_db) < TOLERANCE_DB
