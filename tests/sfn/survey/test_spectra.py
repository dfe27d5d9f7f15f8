"""Formulas on cross-spectra."""

import numpy as np
import pytest

from sfn.survey.spectra import Spectra, bound_us, coherence, flat_bound_us, hann_window, phase_slope, weights


def spectra(cross: np.ndarray, *, likeness: float = 0.5, blocks_n: int = 1000) -> Spectra:
    """Flat spectra with a given coherence and the phase of `cross`."""
    f = np.linspace(0.0, 24_000.0, len(cross))
    size = np.sqrt(likeness) * np.ones(len(cross))
    return Spectra(f, np.ones(len(cross)), np.ones(len(cross)), size * cross, blocks_n, 10.0)


def test_windows_add_up_evenly() -> None:
    """A quarter apart, the squares of the windows sum to 1.5 everywhere: no sample counts more."""
    square = hann_window(1024) ** 2

    np.testing.assert_allclose(sum(np.roll(square, 256 * k) for k in range(4)), 1.5)


@pytest.mark.parametrize("delay_us", [0.0, 0.001, -7.3, 19.9])
def test_phase_slope_has_no_grid(delay_us: float) -> None:
    """Any fraction of a sample comes back to a picosecond."""
    f = np.linspace(0.0, 15_000.0, 500)
    cross = np.exp(-2j * np.pi * f * delay_us * 1e-6)

    assert abs(phase_slope(cross, frequency_hz=f, weight=np.ones(500)) - delay_us) < 1e-6


def test_a_parabola_through_three_samples_is_biased_and_ours_is_not() -> None:
    """On a critically sampled peak the parabola is 0.107 sample wrong at a quarter; the phase slope is exact."""
    d = 0.25
    before, at, after = np.sinc(-1 - d), np.sinc(-d), np.sinc(1 - d)
    parabola = 0.5 * (before - after) / (before - 2 * at + after)
    f = np.linspace(0.0, 24_000.0, 1001)
    ours = phase_slope(np.exp(-2j * np.pi * f * d / 48_000), frequency_hz=f, weight=np.ones(1001)) * 0.048

    assert abs(parabola - 0.142857) < 1e-6
    assert abs(ours - d) < 1e-9


def test_weights_are_nought_without_coherence_and_phat_is_flat() -> None:
    """Maximum likelihood gives C / (1 - C); PHAT the same for all coherent bins; noise nothing."""
    common = spectra(np.ones(200, dtype=complex), likeness=0.8)
    none = spectra(np.ones(200, dtype=complex), likeness=0.001)

    np.testing.assert_allclose(weights(common, weighting="ml", low_hz=0, high_hz=24e3), 4.0, rtol=0.01)
    assert {1.0} == set(weights(common, weighting="phat", low_hz=0, high_hz=24e3))
    assert 0 == np.count_nonzero(weights(none, weighting="ml", low_hz=0, high_hz=24e3))
    inside = weights(common, weighting="phat", low_hz=1000, high_hz=15e3)
    assert np.all((common.frequency_hz[inside > 0] >= 1000) & (common.frequency_hz[inside > 0] <= 15e3))


def test_the_general_bound_is_the_flat_one_for_flat_noise() -> None:
    """With C = (S / (1 + S))^2 over a flat band both bounds agree to the grid's step."""
    snr = 100.0
    f = np.linspace(0.0, 15_000.0, 15_001)
    c = np.full(len(f), (snr / (1 + snr)) ** 2)

    general = bound_us(c, frequency_hz=f, duration_s=1.0)
    assert abs(general / flat_bound_us(20.0, low_hz=0.0, high_hz=15e3, duration_s=1.0) - 1) < 1e-3


def test_coherence_takes_off_the_bias_of_few_averages() -> None:
    """A raw coherence of 1/n, what noise gives, becomes nought."""
    few = spectra(np.ones(50, dtype=complex), likeness=1.925 / 100, blocks_n=100)

    np.testing.assert_allclose(coherence(few), 0.0, atol=1e-12)
