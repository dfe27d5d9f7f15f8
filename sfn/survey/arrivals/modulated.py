"""The FM signal that a known composite makes, at any instants, and the band in which it is compared.

| symbol | name | unit |
|---|---|---|
| m | composite, full scale 1 | 1 |
| D | `deviation_hz`: deviation that full scale stands for | Hz |
| theta | phase, ``2 pi D`` times the integral of m | rad |
| s | ``exp(j theta)``, band-limited as the recording is | 1 |

The integral is taken in the frequency domain, where it is exact; between its samples theta is a spline of order 5, far
above the composite's band. Both signals pass filters of one impulse response, so what they do to a delay cancels.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.survey.recording import Samples

Complex = NDArray[np.complex128]

# Nothing of an FM signal of 75 kHz with stereo and RDS that counts lies beyond; the neighbour channel begins there.
_PASS_HZ, _TRANSITION_HZ = 100e3, 20e3
_LEAST_RATE_HZ, _FINE_HZ = 250e3, 768e3
_STOP_DB = 80.0
_SPLINE = 5


@dataclass(frozen=True, slots=True)
class Band:
    """How a recording is thinned out: to `up` / `down` of its rate, what passes below `pass_hz`."""

    up: int
    down: int
    rate_hz: float
    pass_hz: float
    stop_hz: float

    @property
    def share_ratio(self) -> float:
        """Noise bandwidth of the filter over the rate."""
        return float(np.sum(self.filter(self.rate_hz) ** 2))

    def filter(self, rate_hz: float) -> Samples:
        """Impulse response of the same low-pass at any rate, with an odd number of taps."""
        import scipy.signal

        taps, beta = scipy.signal.kaiserord(_STOP_DB, (self.stop_hz - self.pass_hz) / (rate_hz / 2))
        cut_hz = (self.pass_hz + self.stop_hz) / 2
        return np.asarray(scipy.signal.firwin(taps | 1, cut_hz, window=("kaiser", beta), fs=rate_hz))


def band_of(rate_hz: float) -> Band:
    """The band for a recording of `rate_hz` complex samples a second.

    Raises
    ------
    ValueError
        If the rate is below 200 kHz: then the FM signal is not in it.
    """
    if not rate_hz >= 200e3:
        raise ValueError(f"rate_hz must be at least 200000 for an FM signal of 75 kHz, got {rate_hz:g}")
    if rate_hz < _LEAST_RATE_HZ:
        up, down = 1, 1
    else:
        ways = ((u, int(rate_hz * u // _LEAST_RATE_HZ)) for u in range(1, 6))
        up, down = min(ways, key=lambda way: (round(rate_hz * way[0] / way[1] / _LEAST_RATE_HZ, 2), way[0]))
    rate = rate_hz * up / down
    pass_hz = min(_PASS_HZ, 0.36 * rate)
    return Band(up, down, rate, pass_hz, min(pass_hz + _TRANSITION_HZ, 0.46 * rate))


@dataclass(frozen=True, slots=True)
class Modulated:
    """Phase of the FM signal, ready to be read at any time of the reference."""

    rate_hz: float
    deviation_hz: float
    frames: int
    _cycles: Samples
    """Coefficients of the spline, for a deviation of 1 Hz. [cycles]"""

    def phase(self, time_s: Samples) -> Samples:
        """Phase at any times; at either end it stands still. [rad]"""
        from scipy.ndimage import map_coordinates

        at = map_coordinates(self._cycles, [time_s * self.rate_hz], order=_SPLINE, mode="nearest", prefilter=False)
        return np.asarray(2 * np.pi * self.deviation_hz * at)


def modulated(samples: Samples, *, rate_hz: float, deviation_hz: float) -> Modulated:
    """The FM signal of a composite.

    Parameters
    ----------
    samples : ndarray (N,)
        Composite, full scale 1.
    rate_hz : float
        Its samples a second. [Hz]
    deviation_hz : float
        Deviation that full scale stands for. [Hz]
    """
    import scipy.fft
    from scipy.ndimage import spline_filter1d

    up = int(np.ceil(_FINE_HZ / rate_hz))
    n = len(samples)
    padded = int(scipy.fft.next_fast_len(n + 4096, real=True))
    padded += padded % 2
    mean = float(np.mean(samples))
    x = np.zeros(padded)
    x[:n] = samples - mean
    spectrum = scipy.fft.rfft(x)
    f = np.fft.rfftfreq(padded, 1.0 / rate_hz)
    spectrum[1:] /= 2j * np.pi * f[1:]
    spectrum[0] = 0.0
    wide = np.zeros(padded * up // 2 + 1, dtype=np.complex128)
    wide[: len(spectrum)] = spectrum
    cycles = scipy.fft.irfft(wide, padded * up)[: n * up] * up
    cycles += mean * np.arange(n * up) / (rate_hz * up)
    return Modulated(rate_hz * up, deviation_hz, n * up, spline_filter1d(cycles, order=_SPLINE, mode="nearest"))


def band_limited(
    signal: Modulated, *, first_s: float, count: int, band: Band, later: tuple[float, float]
) -> tuple[Complex, Samples]:
    """The FM signal in the band, and its phase, as a recording would hold it.

    Parameters
    ----------
    first_s : float
        Time of the first sample in the recording. [s]
    count : int
        Samples at the band's rate.
    later : (level, slope)
        What is heard at t was sent at ``t - level - slope * t``. [s, 1]
    """
    import scipy.signal

    fine = int(np.ceil(_FINE_HZ / band.rate_hz))
    response = band.filter(band.rate_hz * fine)
    edge = (len(response) // 2 + fine - 1) // fine
    t = first_s - edge / band.rate_hz + np.arange((count + 2 * edge) * fine) / (band.rate_hz * fine)
    phase = signal.phase(t - later[0] - later[1] * t)
    s = scipy.signal.oaconvolve(np.exp(1j * phase), response, mode="same")
    inside = slice(edge * fine, (edge + count) * fine, fine)
    return np.asarray(s[inside]), phase[inside]


def thinned(samples: Complex, *, rate_hz: float, carrier_hz: float, band: Band) -> Complex:
    """A recording brought to carrier 0 and to the band; sample k stands at ``k / band.rate_hz``."""
    import scipy.signal

    turned = samples * np.exp(-2j * np.pi * carrier_hz / rate_hz * np.arange(len(samples)))
    response = band.filter(rate_hz * band.up)
    return np.asarray(scipy.signal.resample_poly(turned, band.up, band.down, window=response))
