"""Stretches of a recording beside the FM signal that was sent: phase followed, columns whitened.

In each stretch the columns are the sent signal at whole samples of delay. What turns slowly and alike on all paths
(a carrier off tune, an oscillator that wanders, the lowest audio that a reference has lost) is followed and taken off;
delays and levels are not touched by it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.survey.arrivals.fit import Whitened
from sfn.survey.arrivals.modulated import Band, Modulated, band_limited
from sfn.survey.spectra import Floats

Complex = NDArray[np.complex128]

_WINDOW_S, _FOLLOW_S = 0.125e-3, 3e-3
# Weaker combinations of the columns carry nothing that a stretch could tell from the errors of interpolation.
_LEAST_POWER_RATIO = 1e-8
_STEADY_RATIO, _TURNS = 1e-4, 8


@dataclass(frozen=True, slots=True)
class Sent:
    """The sent signal in one stretch, at every whole sample of delay within reach."""

    first: int
    """Sample of the recording at which the stretch begins."""
    signal: Complex
    """Shape (samples + 2 reach,): column j begins at ``2 reach - j``, the least delay first."""
    reach: int
    phase: Floats
    size: Floats
    """Eigenvalues of the columns' products, ascending, and their vectors."""
    vectors: Complex


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of the recording, its phase followed, and the statistics that any set of paths needs."""

    sent: Sent
    root: Complex
    data: Complex
    variance_ratio: float
    pattern: Complex
    """Steadied response, one value a column."""
    turned: Floats
    """Phase taken off. [rad]"""
    power: Floats


def sent_in(signal: Modulated, *, first: int, count: int, reach: int, band: Band, later: tuple[float, float]) -> Sent:
    """The sent signal of one stretch of `count` samples, at delays of -`reach` to +`reach` samples about `later`."""
    start_s = (first - reach) / band.rate_hz
    s, phase = band_limited(signal, first_s=start_s, count=count + 2 * reach, band=band, later=later)
    size, vectors = np.linalg.eigh(_products(s, count=count, reach=reach))
    return Sent(first, s, reach, phase[reach : reach + count], size, vectors)


def _products(s: Complex, *, count: int, reach: int) -> Complex:
    """Products of all columns with each other: one row is summed, each next differs by two samples only."""
    last = 2 * reach
    found = np.empty((last + 1, last + 1), dtype=np.complex128)
    found[0] = np.correlate(s, s[last : last + count], mode="valid")[::-1]
    found[:, 0] = found[0].conj()
    head, tail = s[last - 1 :: -1][:last], s[last - 1 + count :: -1][:last]
    for i in range(last):
        found[i + 1, 1:] = found[i, :-1] + np.conj(head[i]) * head - np.conj(tail[i]) * tail
    return found


def _told(sent: Sent, z: Complex) -> Complex:
    """Product of each column with a recording."""
    import scipy.signal

    return np.asarray(scipy.signal.oaconvolve(sent.signal.conj(), z[::-1], mode="valid")[::-1])


def heard_under(sent: Sent, response: Complex) -> Complex:
    """The columns' sum under a response."""
    import scipy.signal

    return np.asarray(scipy.signal.oaconvolve(sent.signal, response, mode="valid"))


def stretch(heard: Complex, sent: Sent, *, band: Band, known: Complex | None = None) -> Stretch:
    """Statistics of one stretch.

    Parameters
    ----------
    heard : ndarray (samples,)
        Recording.
    sent : Sent
    known : ndarray (columns,), optional
        Response found before; without it the phase is found with the response by turns.
    """
    n, size, vectors = len(heard), sent.size, sent.vectors
    window = round(_FOLLOW_S * band.rate_hz)

    def response(z: Complex) -> Complex:
        """Steadied response of the stretch."""
        return np.asarray(vectors @ ((vectors.conj().T @ _told(sent, z)) / (size + _STEADY_RATIO * size[-1])))

    if known is None:
        # Carrier and deviation are tuned before: what is left turns by less than a cycle in a stretch.
        turned = np.zeros(n)
        for _ in range(_TURNS):
            z = heard * np.exp(-1j * turned)
            turned = turned + np.unwrap(np.angle(_smooth(z * np.conj(heard_under(sent, response(z))), window=window)))
    else:
        turned = np.unwrap(np.angle(_smooth(heard * np.conj(heard_under(sent, known)), window=window)))
    z = heard * np.exp(-1j * turned)
    kept = size > _LEAST_POWER_RATIO * size[-1]
    told, root = vectors[:, kept].conj().T @ _told(sent, z), np.sqrt(size[kept])
    data = told / root
    left = max(float(np.sum(np.abs(z) ** 2)) - float(np.sum(np.abs(data) ** 2)), 0.0)
    # Noise fills only the band: so much of it lies in each of the columns' dimensions, half real and half imaginary.
    variance = left / max(n * band.share_ratio - len(data), 1.0)
    floor = 1e-12 * float(np.mean(np.abs(z) ** 2))
    return Stretch(
        sent, root[:, None] * vectors[:, kept].conj().T, data, max(variance, floor) / 2.0, response(z), turned,
        np.abs(z) ** 2,
    )  # fmt: skip


def together(stretches: list[Stretch]) -> Whitened:
    """All stretches in one, padded to the longest."""
    rows = [len(one.data) for one in stretches]
    columns = stretches[0].root.shape[1]
    root = np.zeros((len(rows), max(rows), columns), dtype=np.complex128)
    data = np.zeros((len(rows), max(rows)), dtype=np.complex128)
    for k, one in enumerate(stretches):
        root[k, : rows[k]], data[k, : rows[k]] = one.root, one.data
    return Whitened(root, data, np.array([one.variance_ratio for one in stretches]), np.array(rows))


def _windows(heard: Complex, signal: Complex, *, rate_hz: float) -> tuple[Floats, Floats]:
    """Middles of short windows, in samples, and the phase in each, before any response is known. [rad]"""
    n = len(heard)
    window = max(round(_WINDOW_S * rate_hz), 16)
    count = n // window
    columns = np.lib.stride_tricks.sliding_window_view(signal, n)[::-1][:, : count * window]
    cut = columns.reshape(len(columns), count, window)
    told = np.einsum("jwk,wk->jw", cut, heard[: count * window].reshape(count, window).conj()).conj()
    # All windows see one response, each turned by its own phase: the strongest singular vector holds the phases.
    _, vectors = np.linalg.eigh(told.conj().T @ told)
    phases = np.unwrap(-np.angle(vectors[:, -1])).astype(np.float64)
    return np.asarray((np.arange(count) + 0.5) * window, dtype=np.float64), np.asarray(phases, dtype=np.float64)


def rough(heard: Complex, signal: Complex, phase: Floats, *, reach: int, rate_hz: float) -> tuple[float, float]:
    """By what factor the deviation is too small, and the carrier left [Hz], by the phase in short windows."""
    at, phases = _windows(heard, signal, rate_hz=rate_hz)
    sent = np.interp(at, np.arange(len(heard)), phase[reach : reach + len(heard)])
    even = np.ones(len(at))
    x, y = _detrended(sent, even), _detrended(phases, even)
    above, below = float(x @ y), float(x @ x)
    factor = above / below if below > 0 else 0.0
    slope = np.polyfit(at, phases - factor * sent, 1)[0]
    return factor, float(slope * rate_hz / (2 * np.pi))


def _smooth(values: Complex, *, window: int) -> Complex:
    """Mean under a moving Hann window, mirrored at the ends."""
    import scipy.signal

    half = window // 2
    weight = np.hanning(2 * half + 1)
    wide = np.concatenate((values[half:0:-1], values, values[-2 : -half - 2 : -1]))
    return np.asarray(scipy.signal.oaconvolve(wide, weight / weight.sum(), mode="valid"), dtype=np.complex128)


def better_scale(stretches: list[Stretch]) -> float:
    """Factor by which the deviation was taken too small: phase that was followed against the phase that was sent."""
    above, below = 0.0, 0.0
    for one in stretches:
        x, y = _detrended(one.sent.phase, one.power), _detrended(one.turned, one.power)
        above += float(np.sum(one.power * x * y))
        below += float(np.sum(one.power * x * x))
    return above / below if below > 0 else 0.0


def _detrended(values: Floats, power: Floats) -> Floats:
    """Values less their weighted straight line."""
    t = np.linspace(-1.0, 1.0, len(values))
    w = np.sqrt(power)
    basis = np.stack((np.ones_like(t), t), axis=1)
    line, *_ = np.linalg.lstsq(basis * w[:, None], values * w, rcond=None)
    return np.asarray(values - basis @ line)


def shifts(stretches: list[Stretch]) -> Floats:
    """By how many samples each stretch's response lies later than the average one, from the responses' power."""
    import scipy.fft

    count = len(stretches[0].pattern)
    fine = 8 * count
    # Centre the spectrum: an upsampled magnitude may not depend on where the carrier lies.
    powers = np.abs(scipy.fft.ifft(_padded(np.array([s.pattern for s in stretches]), fine), axis=1)) ** 2
    spectra = scipy.fft.fft(powers / np.maximum(powers.sum(axis=1, keepdims=True), 1e-300), 2 * fine, axis=1)
    spectra /= np.maximum(np.sqrt(np.mean(np.abs(spectra) ** 2, axis=1, keepdims=True)), 1e-300)
    found: NDArray[np.float64] = np.zeros(len(stretches))
    turn = 2j * np.pi * np.fft.fftfreq(2 * fine)
    reach = fine // 2
    for _ in range(3):
        mean = np.mean(spectra * np.exp(turn[None, :] * found[:, None]), axis=0)
        match = scipy.fft.ifft(spectra * np.conj(mean)[None, :], axis=1).real
        near = np.concatenate((match[:, -reach:], match[:, : reach + 1]), axis=1)
        found = np.asarray(np.argmax(near, axis=1) - reach, dtype=np.float64)
    return (found - np.median(found)) / 8


def _padded(patterns: Complex, fine: int) -> Complex:
    """Spectra of the responses, padded in the middle."""
    import scipy.fft

    spectra = scipy.fft.fft(patterns, axis=1)
    count = patterns.shape[1]
    half = count // 2
    wide = np.zeros((len(patterns), fine), dtype=np.complex128)
    wide[:, : count - half], wide[:, fine - half :] = spectra[:, : count - half], spectra[:, count - half :]
    return wide
