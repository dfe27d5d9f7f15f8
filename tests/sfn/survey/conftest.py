"""Simulated channels for the tests of measurements."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

Samples = NDArray[np.float64]


@pytest.fixture
def pair() -> Callable[..., tuple[Samples, Samples]]:
    """Two channels of the same band-limited noise, the second later by any fraction of a sample, both noisy."""

    def make(
        *,
        rate_hz: int = 48_000,
        duration_s: float = 2.0,
        delay_us: float = 0.0,
        snr_db: float = 20.0,
        low_hz: float = 30.0,
        high_hz: float = 15_000.0,
        drift_ppm: float = 0.0,
        seed: int = 1,
    ) -> tuple[Samples, Samples]:
        rng = np.random.default_rng(seed)
        n = int(rate_hz * duration_s)
        f = np.fft.rfftfreq(n, 1.0 / rate_hz)
        spectrum = np.fft.rfft(rng.standard_normal(n)) * ((f >= low_hz) & (f <= high_hz))
        x = np.fft.irfft(spectrum, n)
        y = np.fft.irfft(spectrum * np.exp(-2j * np.pi * f * delay_us * 1e-6), n)
        if drift_ppm:
            from scipy.interpolate import CubicSpline

            time_s = np.arange(n) / rate_hz
            y = CubicSpline(time_s, x, bc_type="periodic" if x[0] == x[-1] else "not-a-knot")(
                np.clip(time_s * (1 - drift_ppm * 1e-6) - delay_us * 1e-6, 0, time_s[-1])
            )
        level, noise = 0.05 / x.std(), 0.05 * 10 ** (-snr_db / 20) * np.sqrt(rate_hz / 2 / (high_hz - low_hz))
        return level * x + noise * rng.standard_normal(n), level * y + noise * rng.standard_normal(n)

    return make
