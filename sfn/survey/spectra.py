"""Cross-spectra of two channels and the delay they hold: formulas only, the story is in `correlate`.

| symbol | name | unit |
|---|---|---|
| Gxx, Gyy | `reference`, `off_air` | power a bin, any scale |
| Gxy | `cross`, mean of ``conj(X) Y`` | as above |
| C | coherence, ``|Gxy|^2 / (Gxx Gyy)`` | 1 |
| tau | delay of the second channel, positive = later | us |

Knapp and Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP-24
no. 4, 1976 (from memory): the maximum-likelihood weight is ``C / (1 - C) / |Gxy|``, PHAT's is ``1 / |Gxy|``.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Weighting = Literal["ml", "phat"]
Floats = NDArray[np.float64]

# A coherence of 1 would weigh without bound; beyond this, filters decide and not noise.
_GREATEST_WEIGHT = 1e5
# Chance that a bin without common signal passes the gate.
_FALSE_ALARM_PROBABILITY = 1e-6
_SMOOTH_BINS, _MOST_SMOOTH_BINS, _USUAL_AVERAGES = 9, 129, 32.0
_LEAST_PHAT_RATIO = 0.05
# Below this a bin may hold leakage of other bins, whose phase says nothing about its own frequency.
LEAST_POWER_RATIO = 1e-6
# At a cliff, 10 bins beyond repeat the noise of the last one: tests/bench/bench_correlate.py, 1.9 dB lost.
_CLIFF_RATIO, _NEIGHBOURS = 3e-3, 10
_TONE_RATIO = 20.0
_ENOUGH_AVERAGES, _MOST_STEADY_BINS = 64.0, 65


@dataclass(frozen=True, slots=True)
class Spectra:
    """Averaged spectra of two channels that were aligned before, over `duration_s` seconds."""

    frequency_hz: Floats
    reference: Floats
    off_air: Floats
    cross: NDArray[np.complex128]
    blocks_n: int
    duration_s: float
    powers: tuple[float, float] = (0.0, 0.0)
    """Sum over blocks of the two channels' power together, and of its square; 0 where it counts as constant."""

    @property
    def averages(self) -> float:
        """Independent averages that `blocks_n` Hann windows a quarter of their length apart are worth.

        ``n / (1 + 2 (r1^2 + r2^2 + r3^2))`` with the window's own correlation 0.659, 0.167, 0.0075; and n is
        ``(sum p)^2 / sum p^2`` of the blocks' power: where a few loud ones outweigh all others, only these count.
        """
        power, square = self.powers
        n = power**2 / square if square > 0 else self.blocks_n
        return max(n / 1.925, 1.0)


def steadied(spectra: Spectra) -> Spectra:
    """Aligned spectra averaged over neighbouring bins as well, where too few blocks count to know the coherence.

    With 64 averages or more they are left as they are; a tone then keeps its bin.
    """
    import scipy.ndimage

    bins = int(np.clip(2 * (_ENOUGH_AVERAGES / spectra.averages // 2) + 1, 1, _MOST_STEADY_BINS))
    if bins == 1:
        return spectra

    def even(values: NDArray[np.floating]) -> Floats:
        """Mean over neighbours."""
        return np.asarray(scipy.ndimage.uniform_filter1d(values, bins, mode="nearest"))

    cross = even(spectra.cross.real) + 1j * even(spectra.cross.imag)
    power, square = spectra.powers if spectra.powers[1] > 0 else (float(spectra.blocks_n), float(spectra.blocks_n))
    return replace(
        spectra, reference=even(spectra.reference), off_air=even(spectra.off_air), cross=cross,
        powers=(power, square / bins),
    )  # fmt: skip


def hann_window(block_samples: int) -> Floats:
    """Hann's window; its squares, a quarter of its length apart, add up to a constant: no sample counts more.

    Its leakage falls fast enough that a quiet converter above the programme's band sees nothing of it.
    """
    return np.asarray(np.sin(np.pi * np.arange(block_samples) / block_samples) ** 2)


def coherence(spectra: Spectra) -> Floats:
    """Magnitude-squared coherence per bin, with the bias of few averages taken off: ``(C - 1/n) / (1 - 1/n)``."""
    power = spectra.reference * spectra.off_air
    with np.errstate(divide="ignore", invalid="ignore"):
        raw = np.where(power > 0, np.abs(spectra.cross) ** 2 / power, 0.0)
    few = 1.0 / spectra.averages
    return np.asarray(np.clip((raw - few) / max(1.0 - few, 1e-3), 0.0, 1.0))


def crowd(spectra: Spectra) -> Floats:
    """Bins that share one reading: 3 where a steady tone (a pilot) fills the window's main lobe, else 1."""
    import scipy.ndimage

    power = spectra.reference * spectra.off_air
    around = scipy.ndimage.median_filter(power, 2 * _NEIGHBOURS + 1)
    return np.where(power > _TONE_RATIO**2 * around, 3.0, 1.0)


def weights(spectra: Spectra, *, weighting: Weighting, low_hz: float, high_hz: float) -> Floats:
    """Weight of each bin's phase; zero where the channels have nothing significant in common.

    Parameters
    ----------
    spectra : Spectra
        At least about 16 averages, or the coherence says little.
    weighting : {'ml', 'phat'}
        ``C / (1 - C)``, or 1 in every bin with a coherence of at least 0.05.
    low_hz, high_hz : float
        Bins outside are not used. [Hz]

    Notes
    -----
    The gate looks at the coherence averaged over 9 bins: a bin of noise reaches ``1/n`` on average, and
    the mean of nine stays below four times that but for one in a million; with fewer than 32 averages over so many
    more bins. Bins far below their neighbours hold the neighbours' leakage and are left out.
    """
    import scipy.ndimage

    likeness = coherence(spectra)
    # The fewer averages, the more bins must agree.
    bins = int(np.clip(_SMOOTH_BINS * _USUAL_AVERAGES / spectra.averages, _SMOOTH_BINS, _MOST_SMOOTH_BINS))
    local = np.convolve(likeness, np.full(bins, 1.0 / bins), mode="same")
    alone = 1.0 - _FALSE_ALARM_PROBABILITY ** (1.0 / max(spectra.averages - 1.0, 1.0))
    in_band = (spectra.frequency_hz >= low_hz) & (spectra.frequency_hz <= high_hz)
    for power in (spectra.reference, spectra.off_air):
        loudest = scipy.ndimage.maximum_filter1d(power, 2 * _NEIGHBOURS + 1)
        in_band &= (power > LEAST_POWER_RATIO * np.mean(power)) & (power > _CLIFF_RATIO * loudest)
    shared = crowd(spectra)
    least = 4.0 / spectra.averages * np.sqrt(_SMOOTH_BINS / bins)
    gate = in_band & ((local > least) | (likeness > alone)) & (likeness > 0)
    if weighting == "phat":
        return np.where(gate & (likeness > _LEAST_PHAT_RATIO), 1.0 / shared, 0.0)
    with np.errstate(divide="ignore"):
        ml = np.minimum(likeness / np.maximum(1.0 - likeness, 1e-12), _GREATEST_WEIGHT)
    return np.where(gate, ml / shared, 0.0)


def phase_slope(cross: NDArray[np.complex128], *, frequency_hz: Floats, weight: Floats, start_us: float = 0.0) -> float:
    """Delay whose straight phase fits the cross-spectrum best: the maximum of the generalised correlation. [us]

    Parameters
    ----------
    cross : ndarray (F,)
        Averaged ``conj(X) Y``; only its phase is used.
    frequency_hz, weight : ndarray (F,)
        Bins and their weights.
    start_us : float
        Where to start; must lie on the main lobe. [us]

    Notes
    -----
    Maximises ``sum w cos(arg Gxy + 2 pi f tau)`` by Newton's steps, hence without a grid: a parabola through
    three points of the correlation is up to 0.119 sample wrong (0.62 us at 192 kHz).

    Examples
    --------
    A delay of 3.7 us over 0 to 15 kHz comes back from its phase alone:

    >>> f = np.linspace(0.0, 15e3, 301)
    >>> print(f"{phase_slope(np.exp(-2j * np.pi * f * 3.7e-6), frequency_hz=f, weight=np.ones(301)):.6f}")
    3.700000
    """
    turn = 2.0 * np.pi * frequency_hz * 1e-6
    size = np.abs(cross)
    used = (weight > 0) & (size > 0) & (frequency_hz > 0)
    if not used.any():
        return float("nan")
    turn, w, unit = turn[used], weight[used], cross[used] / size[used]
    stiff = float(np.sum(w * turn**2))
    tau = start_us
    for _ in range(60):
        turned = unit * np.exp(1j * turn * tau)
        slope = float(np.sum(w * turn * turned.imag))
        bend = float(np.sum(w * turn**2 * turned.real))
        step = -slope / (bend if bend > 0.3 * stiff else stiff)
        tau += step
        if abs(step) < 1e-9:
            break
    return tau


def bound_us(likeness: Floats, *, frequency_hz: Floats, duration_s: float) -> float:
    """Cramer-Rao bound of a delay for a given coherence: least standard uncertainty there can be. [us]

    Notes
    -----
    ``var >= 1 / (2 T sum (2 pi f)^2 C / (1 - C) df)`` (Knapp and Carter 1976, from memory).
    """
    ratio = np.minimum(likeness / np.maximum(1.0 - likeness, 1e-12), _GREATEST_WEIGHT)
    step_hz = float(frequency_hz[1] - frequency_hz[0])
    information = 2.0 * duration_s * float(np.sum((2 * np.pi * frequency_hz) ** 2 * ratio)) * step_hz
    return 1e6 / np.sqrt(information) if information > 0 else float("inf")


def flat_bound_us(snr_db: float, *, low_hz: float, high_hz: float, duration_s: float) -> float:
    """Cramer-Rao bound for noise flat from `low_hz` to `high_hz` in two channels of equal signal-to-noise ratio. [us]

    Notes
    -----
    ``var >= 3 / (8 pi^2 T) * (1 + 2 S) / S^2 / (f2^3 - f1^3)``.

    Examples
    --------
    One second of 15 kHz audio at 20 dB is enough for 15 ns:

    >>> print(f"{1e3 * flat_bound_us(20.0, low_hz=0.0, high_hz=15e3, duration_s=1.0):.2f} ns")
    15.04 ns
    """
    snr = 10.0 ** (snr_db / 10.0)
    variance = 3.0 / (8.0 * np.pi**2 * duration_s) * (1.0 + 2.0 * snr) / snr**2 / (high_hz**3 - low_hz**3)
    return float(1e6 * np.sqrt(variance))


def phase_misfit(spectra: Spectra, *, weight: Floats, delay_us: float) -> float:
    """Mean square of the phase left over, in units of what the coherence allows: about 1 for one clean arrival."""
    likeness = coherence(spectra)
    used = (weight > 0) & (likeness > 0) & (likeness < 1)
    if not used.any():
        return float("nan")
    turned = spectra.cross[used] * np.exp(2j * np.pi * spectra.frequency_hz[used] * delay_us * 1e-6)
    variance = (1.0 - likeness[used]) / (2.0 * spectra.averages * likeness[used])
    return float(np.mean(np.angle(turned) ** 2 / variance))


def correlation(cross: NDArray[np.complex128], *, weight: Floats, samples: int) -> Floats:
    """Generalised correlation over circular lags, scaled so that one clean arrival on a sample gives 1.

    Parameters
    ----------
    cross : ndarray (samples // 2 + 1,)
        Cross-spectrum of zero-padded stretches; only its phase is used.
    weight : ndarray (samples // 2 + 1,)
        Weight of each bin.
    samples : int
        Length of the transform; lag k stands at index k, negative ones from the end.
    """
    import scipy.fft

    size = np.abs(cross)
    unit = np.divide(cross, size, out=np.zeros_like(cross), where=size > 0)
    scale = 2.0 * float(np.sum(weight)) / samples
    return np.asarray(scipy.fft.irfft(unit * weight, samples)) / (scale if scale > 0 else 1.0)
