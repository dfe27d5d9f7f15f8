"""Before the paths: where the carrier is, when the programme begins, how fast the clocks run apart.

All of it from the demodulated recording, which is good enough for that and for nothing else where several sites arrive.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.survey.alignment import CLEAR_PEAK_RATIO
from sfn.survey.spectra import Floats

Complex = NDArray[np.complex128]

_AUDIO_RATE_HZ, _AUDIO_HZ, _LOW_HZ = 32_000.0, 12e3, 60.0
_PART_S, _LEAST_PARTS = 1.0, 3


@dataclass(frozen=True, slots=True)
class Begin:
    """First guess: delay at time 0 and its slope, how clear it is, and how far a part stands off the line."""

    later_s: float
    slope_ratio: float
    clear_ratio: float
    jump_us: float


def carrier_of(samples: Complex, *, rate_hz: float) -> float:
    """Mean frequency, weighted by power. [Hz]"""
    return float(np.angle(np.sum(samples[1:] * np.conj(samples[:-1]))) * rate_hz / (2 * np.pi))


def demodulated(samples: Complex, *, rate_hz: float) -> Floats:
    """Instantaneous frequency half a sample after each sample. [Hz]"""
    return np.asarray(np.angle(samples[1:] * np.conj(samples[:-1])) * rate_hz / (2 * np.pi))


def begin(reference: Floats, *, reference_rate_hz: float, heard: Floats, rate_hz: float, search_us: float) -> Begin:
    """Delay of what was demodulated against the reference, and its drift, to about an audio sample."""
    x = _audio(reference, rate_hz=reference_rate_hz, late_samples=0.0)
    y = _audio(heard, rate_hz=rate_hz, late_samples=0.5)
    reach = max(round(search_us * 1e-6 * _AUDIO_RATE_HZ), 4)
    lag, clear = _highest(x, y, reach=reach)
    part = round(_PART_S * _AUDIO_RATE_HZ)
    whole = round(lag)
    count = (len(y) - abs(whole)) // part
    if count < _LEAST_PARTS:
        return Begin(lag / _AUDIO_RATE_HZ, 0.0, clear, 0.0)
    times, lags = [], []
    for k in range(count):
        start = k * part + max(whole, 0)
        piece, early = y[start : start + part], start - whole
        around = 2 * round(1e-3 * _AUDIO_RATE_HZ * max(1.0, 0.1 * count))
        near, height = _highest(_cut(x, early, part), piece, reach=around)
        if height >= CLEAR_PEAK_RATIO:
            times.append((start + part / 2) / _AUDIO_RATE_HZ)
            lags.append((whole + near) / _AUDIO_RATE_HZ)
    if len(times) < _LEAST_PARTS:
        return Begin(lag / _AUDIO_RATE_HZ, 0.0, clear, 0.0)
    from scipy.stats import theilslopes

    found = theilslopes(lags, times)
    off_us = 1e6 * float(np.max(np.abs(np.array(lags) - found.intercept - found.slope * np.array(times))))
    return Begin(float(found.intercept), float(found.slope), max(clear, CLEAR_PEAK_RATIO), off_us)


def carrier_left(samples: Complex, *, rate_hz: float, sent_hz: Floats) -> float:
    """Carrier beside what was sent, from frequency weighted by power. [Hz]

    In ``|z|^2`` times the frequency of a sum of paths every product of two paths is weighted with the mean of their
    frequencies; on average that is what one of them has, and the sent signal's own asymmetry goes out.
    """
    power = np.abs(samples[1:] * samples[:-1])
    return float(np.sum(power * (demodulated(samples, rate_hz=rate_hz) - sent_hz)) / np.sum(power))


def _audio(samples: Floats, *, rate_hz: float, late_samples: float) -> Floats:
    """Low-passed and read at the audio rate."""
    import scipy.signal

    low = scipy.signal.firwin(round(6 * rate_hz / _AUDIO_HZ) | 1, _AUDIO_HZ, fs=rate_hz)
    slow = scipy.signal.oaconvolve(samples - np.mean(samples), low, mode="same")
    at = np.arange(int(len(slow) / rate_hz * _AUDIO_RATE_HZ)) * rate_hz / _AUDIO_RATE_HZ - late_samples
    return np.asarray(np.interp(at, np.arange(len(slow)), slow), dtype=np.float64)


def _cut(samples: Floats, start: int, count: int) -> Floats:
    """A piece, zeros outside."""
    found = np.zeros(count)
    first, last = max(start, 0), min(start + count, len(samples))
    if last > first:
        found[first - start : last - start] = samples[first:last]
    return found


def _highest(x: Floats, y: Floats, *, reach: int) -> tuple[float, float]:
    """Lag of y behind x with the highest correlation, all frequencies alike, and its height over the noise."""
    import scipy.fft

    samples = int(scipy.fft.next_fast_len(len(x) + len(y), real=True))
    cross = np.conj(scipy.fft.rfft(x, samples)) * scipy.fft.rfft(y, samples)
    f = np.fft.rfftfreq(samples, 1.0 / _AUDIO_RATE_HZ)
    size = np.abs(cross)
    even = np.where((f > _LOW_HZ) & (f < _AUDIO_HZ) & (size > 0), cross / np.maximum(size, 1e-300), 0.0)
    r = scipy.fft.irfft(even, samples)
    reach = min(reach, samples // 2 - 1)
    near = np.abs(np.concatenate((r[-reach:], r[: reach + 1])))
    k = int(np.argmax(near))
    noise = float(np.median(near)) / 0.6745
    away = 0.0
    if 0 < k < len(near) - 1:
        before, top, after = near[k - 1 : k + 2].tolist()
        away = 0.5 * (before - after) / (before - 2 * top + after)
    return k - reach + away, float(near[k]) / noise if noise > 0 else float("inf")
