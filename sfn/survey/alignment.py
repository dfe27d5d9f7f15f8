"""Bringing two channels together: a coarse search over long lags, then averaged spectra of what is left."""

import itertools
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sfn.survey.recording import Source
from sfn.survey.spectra import LEAST_POWER_RATIO, Floats, Spectra, correlation, hann_window

_SEGMENT_SAMPLES = 2**19
_FEW_SEGMENTS, _SEGMENTS = 3, 7
_LEAST_BLOCK, _GREATEST_BLOCK, _BLOCKS_WANTED = 512, 16384, 64
_CHUNK_BLOCKS = 64
# Both ends of a chunk meet when its phase is turned; so far inside nothing of it is left.
_MARGIN_SAMPLES = 512
_GREATEST_SECTIONS, _LEAST_BLOCKS_IN_SECTION = 16, 48
_LEAST_TRIAL_BLOCKS = 12
# Highest of a million lags of noise: about 5 times its standard deviation.
CLEAR_PEAK_RATIO = 7.0


class Tell(Protocol):
    """Takes what is being done and how much of it is finished; may raise to stop the work."""

    def __call__(self, phase: str, *, done: int, total: int) -> None:
        """Say it."""


def untold(phase: str, *, done: int, total: int) -> None:
    """Nobody listens."""


@dataclass(frozen=True, slots=True)
class Line:
    """Delay as a straight line over time: `delay_us` at `time_s`, moving by `drift_us_per_s`."""

    delay_us: float
    time_s: float
    drift_us_per_s: float

    def at(self, time_s: float) -> float:
        """Delay at a time. [us]"""
        return self.delay_us + self.drift_us_per_s * (time_s - self.time_s)


@dataclass(frozen=True, slots=True)
class Coarse:
    """What the search over long lags found; `cross` is that of the middle segment, for a second look."""

    line: Line
    inverted: bool
    jumps_us: float
    cross: NDArray[np.complex128]
    samples: int
    shift_samples: int
    reach_samples: int


def search(reference: Source, off_air: Source, *, expected_us: float, search_us: float) -> Coarse:
    """Delay to about a sample, by correlation with equal weight for all frequencies (PHAT) of a few segments.

    Parameters
    ----------
    reference, off_air : Source
        Of one rate.
    expected_us, search_us : float
        The search goes from `expected_us` - `search_us` to `expected_us` + `search_us`. [us]
    """
    import scipy.fft

    rate = reference.rate_hz
    frames = min(reference.frames, off_air.frames)
    length = min(_SEGMENT_SAMPLES, frames)
    shift = round(expected_us * 1e-6 * rate)
    reach = min(max(round(search_us * 1e-6 * rate), 1), length // 2)
    samples = int(scipy.fft.next_fast_len(length + reach, real=True))
    count = 1 if frames < 2 * length else _FEW_SEGMENTS if frames < 10 * length else _SEGMENTS
    starts = [round(k * (frames - length) / max(count - 1, 1)) for k in range(count)]
    taper = _taper(length)
    crosses, times, lags, signs, clear = [], [], [], [], []
    for start in starts:
        x = scipy.fft.rfft(reference.read(start, length) * taper, samples)
        y = scipy.fft.rfft(off_air.read(start + shift, length) * taper, samples)
        crosses.append(np.where(_loud(x) & _loud(y), np.conj(x) * y, 0.0))
        lag, sign, ratio = _highest(crosses[-1], samples=samples, reach=reach)
        lags.append(lag)
        signs.append(sign)
        clear.append(ratio >= CLEAR_PEAK_RATIO)
        times.append((start + length / 2) / rate)
    middle = count // 2
    if sum(clear) < 2:
        lag, sign, _ = _highest(_units(crosses), samples=samples, reach=reach)
        found = [(times[middle], lag)]
        signs[middle] = sign
    else:
        found = [(t, lag) for t, lag, good in zip(times, lags, clear, strict=True) if good]
    line, jumps = _line(found, rate_hz=rate, shift=shift)
    return Coarse(
        line=line,
        inverted=signs[middle] < 0,
        jumps_us=jumps,
        cross=crosses[middle],
        samples=samples,
        shift_samples=shift,
        reach_samples=reach,
    )


def _taper(length: int) -> Floats:
    """Ones with cosine flanks of a twentieth: a hard edge would be the same in both channels, at no delay."""
    flank = max(length // 20, 1)
    rise = np.sin(0.5 * np.pi * (np.arange(flank) + 0.5) / flank) ** 2
    return np.concatenate((rise, np.ones(length - 2 * flank), rise[::-1]))


def _loud(spectrum: NDArray[np.complex128]) -> NDArray[np.bool_]:
    """Bins that hold more than leakage of others."""
    power = spectrum.real**2 + spectrum.imag**2
    return np.asarray(power > LEAST_POWER_RATIO * float(np.mean(power)))


def _units(crosses: list[NDArray[np.complex128]]) -> NDArray[np.complex128]:
    """Sum of cross-spectra, each bin of each with the same weight."""
    total = np.zeros_like(crosses[0])
    for cross in crosses:
        size = np.abs(cross)
        total += np.divide(cross, size, out=np.zeros_like(cross), where=size > 0)
    return total


def _highest(cross: NDArray[np.complex128], *, samples: int, reach: int) -> tuple[int, int, float]:
    """Lag, sign and clearness (height over the noise's standard deviation) of the highest peak."""
    r = within_reach(correlation(cross, weight=np.ones(len(cross)), samples=samples), reach=reach)
    size = np.abs(r)
    k = int(np.argmax(size))
    noise = float(np.median(size)) / 0.6745
    return k - reach, 1 if r[k] >= 0 else -1, float(size[k]) / noise if noise > 0 else np.inf


def within_reach(r: Floats, *, reach: int) -> Floats:
    """Lags from -reach to +reach of a circular correlation, in order."""
    return np.concatenate((r[-reach:], r[: reach + 1]))


def _line(found: list[tuple[float, int]], *, rate_hz: int, shift: int) -> tuple[Line, float]:
    """Straight line through coarse delays, and by how much one of them stands off it. [us]"""
    times = np.array([t for t, _ in found])
    delays = np.array([1e6 * (lag + shift) / rate_hz for _, lag in found])
    sample = 1e6 / rate_hz
    middle = float(np.median(delays))
    if np.ptp(delays) <= 2.5 * sample:
        return Line(middle, float(np.mean(times)), 0.0), 0.0
    drift, level = np.polyfit(times - times.mean(), delays, 1) if len(times) > 1 else (0.0, middle)
    line = Line(float(level), float(times.mean()), float(drift))
    off = float(np.max(np.abs(delays - [line.at(t) for t in times])))
    # Of three or more points on a step, one stands off the line by a third of the step; drift blurs far less.
    return line, off if off > max(5 * sample, 0.2 * float(np.ptp(delays))) else 0.0


@dataclass(frozen=True, slots=True)
class Sections:
    """Spectra of what is left when `line` is taken away, one for each section of the recording."""

    line: Line
    middle_s: Floats
    heard_s: Floats
    """Where in each the reference's power lies: of a burst, when it was."""
    spectra: tuple[Spectra, ...]

    @property
    def whole(self) -> Spectra:
        """All sections together."""
        parts = self.spectra
        return Spectra(
            frequency_hz=parts[0].frequency_hz,
            reference=np.sum([p.reference for p in parts], axis=0),
            off_air=np.sum([p.off_air for p in parts], axis=0),
            cross=np.sum([p.cross for p in parts], axis=0),
            blocks_n=sum(p.blocks_n for p in parts),
            duration_s=sum(p.duration_s for p in parts),
            powers=(sum(p.powers[0] for p in parts), sum(p.powers[1] for p in parts)),
        )


def block_length(frames: int) -> int:
    """Length of a block: a power of two, short enough for 64 of them where there is enough recording."""
    wanted = max(frames // _BLOCKS_WANTED, 1)
    return int(np.clip(2 ** int(np.log2(wanted)), _LEAST_BLOCK, _GREATEST_BLOCK))


def sections(
    reference: Source, off_air: Source, *, line: Line, most_blocks: int | None = None, tell: Tell = untold
) -> Sections:
    """Averaged spectra of both channels after the delay of `line` was taken off the second.

    Blocks with Hann's window, a quarter of their length apart. Whole samples are taken off by reading later,
    the rest of a sample by turning the phase of a whole chunk: both channels then hold the same instants under
    the same window, and no bin's phase leans towards its louder neighbour.

    Parameters
    ----------
    most_blocks : int, optional
        Look only at so many blocks, the first of each section.
    tell : callable, optional
        Called with what is done; may raise to stop.
    """
    rate = reference.rate_hz
    origin, end_frame = _common(reference, off_air, line=line)
    block = block_length(end_frame - origin)
    hop = block // 4
    blocks = max((end_frame - origin - block) // hop + 1, 1)
    count = int(np.clip(blocks // _LEAST_BLOCKS_IN_SECTION, 1, _GREATEST_SECTIONS))
    edges = np.linspace(0, blocks, count + 1).astype(int).tolist()
    smear = abs(line.drift_us_per_s) * hop * 1e-6  # samples a block
    chunk = int(np.clip(0.25 / smear if smear > 0 else _CHUNK_BLOCKS, 1, _CHUNK_BLOCKS))
    middles: list[float] = []
    parts: list[tuple[Spectra, float]] = []
    for first, end in itertools.pairwise(edges):
        tell("averaging", done=len(parts), total=count)
        last = end if most_blocks is None else min(end, first + max(most_blocks // count, _LEAST_TRIAL_BLOCKS))
        starts = range(origin + first * hop, origin + last * hop, chunk * hop)
        middles.append((origin + (first + last + 3) / 2 * hop) / rate)
        parts.append(_section(reference, off_air, line=line, starts=starts, number=last - first, block=block))
    heard = np.array([heard_s for _, heard_s in parts])
    return Sections(line, np.array(middles), heard, tuple(part for part, _ in parts))


def _common(reference: Source, off_air: Source, *, line: Line) -> tuple[int, int]:
    """First sample of the reference, and the one after the last, whose counterparts are in both recordings."""
    shifts = [round(line.at(t) * 1e-6 * reference.rate_hz) for t in (0.0, reference.frames / reference.rate_hz)]
    begin = max(0, *(-shift for shift in shifts))
    end = min(reference.frames, *(off_air.frames - shift for shift in shifts))
    return (begin, end) if end > begin else (0, min(reference.frames, off_air.frames))


def _section(
    reference: Source, off_air: Source, *, line: Line, starts: range, number: int, block: int
) -> tuple[Spectra, float]:
    """Spectra of `number` blocks in chunks that begin at `starts`, and the middle of the reference's power. [s]"""
    import scipy.fft

    rate, hop = reference.rate_hz, block // 4
    frequency = np.asarray(np.fft.rfftfreq(block, 1.0 / rate), dtype=np.float64)
    window = hann_window(block)
    gxx, gyy = np.zeros(len(frequency)), np.zeros(len(frequency))
    gxy = np.zeros(len(frequency), dtype=np.complex128)
    left, power, moment_s, both = number, 0.0, 0.0, np.zeros(2)
    for start in starts:
        length = (min(starts.step // hop, left) - 1) * hop + block
        left -= starts.step // hop
        here_us = line.at((start + length / 2) / rate)
        x = scipy.fft.rfft(_blocks(reference.read(start, length), block=block) * window, axis=1)
        y = scipy.fft.rfft(_blocks(_earlier(off_air, start, length, by_us=here_us), block=block) * window, axis=1)
        if line.drift_us_per_s:
            _turned(y, frequency, first_us=line.at((start + block / 2) / rate) - here_us,
                    step_us=line.drift_us_per_s * hop / rate)  # fmt: skip
        size = x.real**2 + x.imag**2
        gxx += size.sum(axis=0)
        power_b = size.sum(axis=1)
        power += float(power_b.sum())
        moment_s += float(power_b @ (start + hop * np.arange(len(power_b)) + block / 2)) / rate
        other = y.real**2 + y.imag**2
        gyy += other.sum(axis=0)
        shared = power_b * other.sum(axis=1)
        both += (np.sqrt(shared).sum(), shared.sum())
        gxy += np.einsum("bf,bf->f", np.conj(x), y)
    middle_s = moment_s / power if power > 0 else starts.start / rate
    return Spectra(frequency, gxx, gyy, gxy, number, number * hop / rate, (float(both[0]), float(both[1]))), middle_s


def _turned(blocks: NDArray[np.complex128], frequency_hz: Floats, *, first_us: float, step_us: float) -> None:
    """Take off, in place, what a drifting line moves from the middle of a chunk to each of its blocks."""
    turn = np.exp(2e-6j * np.pi * frequency_hz * first_us)
    step = np.exp(2e-6j * np.pi * frequency_hz * step_us)
    for row in blocks:
        row *= turn
        turn *= step


def _earlier(source: Source, start: int, length: int, *, by_us: float) -> Floats:
    """`length` samples that the source would have from `start` on if it were earlier by `by_us`."""
    import scipy.fft

    samples = by_us * 1e-6 * source.rate_hz
    whole = round(samples)
    if abs(samples - whole) < 1e-9:
        return source.read(start + whole, length)
    padded = int(scipy.fft.next_fast_len(length + 2 * _MARGIN_SAMPLES, real=True))
    turn = np.exp(2j * np.pi * np.fft.rfftfreq(padded) * (samples - whole))
    spectrum = scipy.fft.rfft(source.read(start + whole - _MARGIN_SAMPLES, padded))
    moved = scipy.fft.irfft(spectrum * turn, padded)
    return np.asarray(moved[_MARGIN_SAMPLES : _MARGIN_SAMPLES + length])


def _blocks(samples: Floats, *, block: int) -> Floats:
    """Blocks a quarter of their length apart as rows, without copying."""
    return np.lib.stride_tricks.sliding_window_view(samples, block)[:: block // 4]
