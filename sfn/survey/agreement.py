"""A coarse line of delay over time brought to agreement: until both channels hold the same instants.

First all sections together: of every drift and level within reach the one at which their correlations add up highest,
which a section of noise cannot lead astray. Then each section's phase, weighted by what it hears.
"""

from dataclasses import dataclass

import numpy as np

from sfn.survey.alignment import Coarse, Line, Sections, Tell, sections, within_reach
from sfn.survey.recording import Source
from sfn.survey.spectra import Floats, Spectra, Weighting, phase_slope, steadied, weights

LEAST_BLOCKS = 24
# A section that knows less than this part of the average one hears nothing of the signal.
LEAST_SHARE = 0.05
_TRIAL_BLOCKS = 240
_ALIGNED_RATIO = 0.1
_ROUNDS = 6
_MOST_DRIFT_SAMPLES = 128


@dataclass(frozen=True, slots=True)
class Agreement:
    """Sections along the line that was found, together, each bin's weight, polarity, and whether it is the best."""

    fine: Sections
    whole: Spectra
    weight: Floats
    inverted: bool
    settled: bool


def long_enough(spectra: Spectra) -> bool:
    """Whether there are blocks enough to average at all."""
    return spectra.blocks_n >= LEAST_BLOCKS


def agreement(
    reference: Source,
    off_air: Source,
    *,
    coarse: Coarse,
    weighting: Weighting,
    low_hz: float,
    high_hz: float,
    tell: Tell,
) -> Agreement:
    """Sections along a line that was bettered until both channels agreed to a tenth of a sample."""
    sample_us = 1e6 / reference.rate_hz
    line, inverted = coarse.line, coarse.inverted

    def taken(most_blocks: int | None) -> tuple[Sections, Spectra, Floats]:
        """Sections along the line as it stands."""
        if most_blocks is None:
            fine = sections(reference, off_air, line=line, tell=tell)
        else:
            fine = sections(reference, off_air, line=line, most_blocks=most_blocks)
        whole = fine.whole if most_blocks is not None else steadied(fine.whole)
        return fine, whole, weights(whole, weighting=weighting, low_hz=low_hz, high_hz=high_hz)

    for _ in range(_ROUNDS):
        fine, whole, w = taken(_TRIAL_BLOCKS)
        if np.count_nonzero(w) < 2 or not long_enough(whole):
            return Agreement(fine, whole, w, inverted, settled=False)
        level, drift, inverted = _together(fine, whole=whole, weight=w, sample_us=sample_us)
        if abs(level) > sample_us or drift:
            middle = float(np.mean(fine.heard_s))
            line = Line(line.at(middle) + level, middle, line.drift_us_per_s + drift)
            continue
        line, moved_us = _bettered(fine, whole=whole, weight=w, inverted=inverted, sample_us=sample_us)
        if moved_us < _ALIGNED_RATIO * sample_us:
            break
    fine, whole, w = taken(None)
    settled = False
    if np.count_nonzero(w) >= 2:
        level, drift, inverted = _together(fine, whole=whole, weight=w, sample_us=sample_us)
        settled = abs(level) <= 2 * sample_us and abs(drift) * float(np.ptp(fine.heard_s)) <= 2 * sample_us
    return Agreement(fine, whole, w, inverted, settled)


def shares(fine: Sections, *, whole: Spectra, weight: Floats) -> Floats:
    """How much each section knows of the delay, 1 on average: a marker may be silent in most of them."""
    size = np.abs(whole.cross)
    unit = np.divide(np.conj(whole.cross), size, out=np.zeros_like(whole.cross), where=size > 0)
    known = np.array([max(float(weight @ (part.cross * unit).real), 0.0) for part in fine.spectra])
    return np.asarray(known / known.mean()) if known.any() else np.ones(len(known))


def _together(fine: Sections, *, whole: Spectra, weight: Floats, sample_us: float) -> tuple[float, float, bool]:
    """Level, drift and polarity at which the correlations of all sections add up highest. [us, us/s]"""
    samples = 2 * (len(weight) - 1)
    reach = samples // 8
    size = np.abs(whole.cross)
    even = np.divide(weight, size, out=np.zeros_like(weight), where=size > 0)
    rows = np.array([within_reach(np.fft.irfft(part.cross * even, samples), reach=reach) for part in fine.spectra])
    span_s = float(np.ptp(fine.heard_s))
    away = (fine.heard_s - float(np.mean(fine.heard_s))) / span_s if span_s > 0 else np.zeros(len(rows))
    most = min(_MOST_DRIFT_SAMPLES, reach) if len(rows) > 2 else 0
    best = (-1.0, 0, 0, False)
    for moved in range(-most, most + 1):
        total = np.zeros(2 * reach + 1)
        for row, steps in zip(rows, np.round(moved * away).astype(int).tolist(), strict=True):
            total[max(0, -steps) : len(row) - max(0, steps)] += row[max(0, steps) : len(row) - max(0, -steps)]
        k = int(np.argmax(np.abs(total)))
        # A drift must gain something: flat tops go to the one that is nearest.
        height = float(abs(total[k])) * (1.0 - 1e-4 * abs(moved) / max(most, 1))
        if height > best[0]:
            best = (height, k - reach, moved, bool(total[k] < 0))
    _, lag, moved, inverted = best
    # One sample over the whole recording is for the phases to tell.
    drift = moved * sample_us / span_s if abs(moved) > 1 else 0.0
    return lag * sample_us, drift, inverted


def _bettered(
    fine: Sections, *, whole: Spectra, weight: Floats, inverted: bool, sample_us: float
) -> tuple[Line, float]:
    """The line after each section's phase was heard, and by how much it moved at most. [us]"""
    sign, f = -1.0 if inverted else 1.0, whole.frequency_hz
    share = shares(fine, whole=whole, weight=weight)
    heard = share > LEAST_SHARE
    start_us = phase_slope(sign * whole.cross, frequency_hz=f, weight=weight)
    left = np.array(
        [phase_slope(sign * p.cross, frequency_hz=f, weight=weight, start_us=start_us) for p in fine.spectra]
    )[heard]
    times, share = fine.heard_s[heard], share[heard]
    middle, level, drift = float(np.average(times, weights=share)), float(np.average(left, weights=share)), 0.0
    if len(times) > 2:
        drift = float(np.polyfit(times - middle, left, 1, w=np.sqrt(share))[0])
    span_s = float(np.ptp(times))
    if abs(drift) * span_s < _ALIGNED_RATIO * sample_us:
        drift = 0.0
    line = Line(fine.line.at(middle) + level, middle, fine.line.drift_us_per_s + drift)
    return line, abs(level) + abs(drift) * span_s
