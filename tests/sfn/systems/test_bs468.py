"""The noise meter as a filter and as an instrument."""

import numpy as np
import pytest
import scipy.signal

from sfn.systems.bs468 import quasi_peak, weighting

RATE_HZ = 64_000


def test_weighting_is_a_filter_that_can_be_built() -> None:
    """The same polynomials as a transfer function in s: stable, and with scipy.signal's response."""
    turn = 2 * np.pi
    even = [-4.737338981378384e-24, 0, 2.043828333606125e-15, 0, -1.363894795463638e-7, 0, 1]
    odd = [1.306612257412824e-19, 0, -2.118150887518656e-11, 0, 5.559488023498642e-4, 0]
    # s = 2 pi j f: f^n stands for (s / 2 pi j)^n, and the odd part carries one j
    powers = np.arange(6, -1, -1)
    network = (np.array(even) + 1j * np.array([0, *odd])) / (1j * turn) ** powers
    assert np.abs(network.imag).max() <= 1e-12 * np.abs(network).max()
    assert (np.roots(network.real).real < 0).all()
    frequency_hz = np.geomspace(20, 20_000, 50)
    gain = 1.246332637532143e-4 * 10 ** (18.246 / 20) / turn
    _, response = scipy.signal.freqs([gain, 0], network.real, worN=turn * frequency_hz)
    assert 20 * np.log10(np.abs(response)) == pytest.approx(weighting(frequency_hz), abs=1e-6)


def test_a_steady_sine_reads_its_rms_value_at_any_frequency() -> None:
    """Calibration holds within 0.03 dB from 500 Hz to 12 kHz."""
    for frequency_hz in (500, 1000, 5000, 12_000):
        tone = 3 * np.sin(2 * np.pi * frequency_hz * np.arange(3 * RATE_HZ) / RATE_HZ + 0.3)
        reading = quasi_peak(tone, sample_rate_hz=RATE_HZ) / (3 / np.sqrt(2))
        assert 20 * np.log10(reading) == pytest.approx(0, abs=0.03)


def test_settling_on_a_periodic_signal_is_waiting_for_it() -> None:
    """Three periods watched from a good start give what a rested meter reads after three seconds."""
    noise = np.random.default_rng(5).standard_normal((2, RATE_HZ // 4))
    quick = quasi_peak(noise, sample_rate_hz=RATE_HZ, settling_periods=3)
    patient = quasi_peak(np.tile(noise, 12), sample_rate_hz=RATE_HZ)
    assert quick == pytest.approx(patient, rel=0.002)


def test_too_slow_a_rate_is_refused_in_words() -> None:
    """A rate that would miss peaks is named with what would be right."""
    with pytest.raises(ValueError, match="sample_rate_hz must be 30 000 Hz or more, got 8000"):
        quasi_peak([0.0, 1.0], sample_rate_hz=8000)
    with pytest.raises(ValueError, match="frequency_hz must be 0 Hz or more, got -5"):
        weighting(-5)
