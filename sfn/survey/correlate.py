"""Delay between two channels, with an interval, or a refusal in words.

Sign: positive when the second channel (off air) is later than the first (reference).

The search over long lags gives the delay to a sample; the slope of the cross-spectrum's phase, averaged over
blocks, gives the rest. Nothing is interpolated between samples of the correlation.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.survey.agreement import LEAST_SHARE, agreement, long_enough, shares
from sfn.survey.alignment import (
    CLEAR_PEAK_RATIO,
    Coarse,
    Sections,
    Tell,
    search,
    untold,
    within_reach,
)
from sfn.survey.recording import Source, modulation
from sfn.survey.spectra import (
    Floats,
    Spectra,
    Weighting,
    bound_us,
    coherence,
    crowd,
    phase_misfit,
    phase_slope,
)
from sfn.survey.steadiness import slip
from sfn.survey.verdict import (
    NORMAL_95,
    RIVAL_RATIO,
    Delay,
    Found,
    Peak,
    answer,
    doubts,
    drifts,
    driven,
    jump,
    refusal,
    slipped,
)

_LISTED_RATIO = 0.25
# Noise moves a side lobe; what is a quarter higher than lobes explain is something else.
_LOBE_FACTOR = 1.25
_NEIGHBOURS_N, _SURE_RATIO = 9, 0.5
# One arrival leaves 0.6 to 1.05 of the phase that noise explains; five standard deviations where few bins count.
# Under Hann's window two neighbouring bins are one reading.
_MISFIT_RATIO, _BINS_PER_READING = 0.25, 2.0


def delay(
    reference: Source,
    off_air: Source,
    *,
    weighting: Weighting = "ml",
    expected_us: float = 0.0,
    search_us: float = 500_000.0,
    low_hz: float = 20.0,
    high_hz: float | None = None,
    greatest_drift_us: float = 0.1,
    judge_clipping: bool = True,
    tell: Tell = untold,
) -> Delay:
    """Delay of `off_air` against `reference`.

    Parameters
    ----------
    reference, off_air : Source
        Two channels that start at the same instant.
    weighting : {'ml', 'phat'}
        Maximum likelihood (by coherence), or the same weight for each coherent frequency.
    expected_us, search_us : float
        Searched from `expected_us` - `search_us` to `expected_us` + `search_us`. [us]
    low_hz, high_hz : float
        Part of the spectrum to use; up to half the rate when `high_hz` is None. [Hz]
    greatest_drift_us : float
        Refuse when the delay moves significantly, and by more than this over the recording. [us]
    judge_clipping : bool
        False for pulses that stand at full scale by nature.
    tell : callable, optional
        Called as ``tell(phase, done=, total=)`` as the work goes; may raise to stop it.

    Raises
    ------
    PlanError
        If the rates differ or a value makes no sense.
    """
    _same_rate(reference, off_air)
    nyquist = reference.rate_hz / 2
    top_hz = nyquist if high_hz is None else high_hz
    if not (0 <= low_hz < top_hz <= nyquist):
        what = f"the band from {low_hz:g} to {top_hz:g} Hz does not fit a rate of {reference.rate_hz} Hz"
        raise PlanError([Problem("high_hz", what, f"0 <= low < high <= {nyquist:g} Hz", code="band-out-of-range")])
    tell("looking at levels", done=0, total=1)
    problems = [p for s in (reference, off_air) for p in driven(s, modulation(s), judge_clipping=judge_clipping)]
    if any(p.code in ("recording-silent", "recording-not-finite") for p in problems):
        return refusal(problems, weighting=weighting)
    tell("searching", done=0, total=1)
    coarse = search(reference, off_air, expected_us=expected_us, search_us=search_us)
    agreed = agreement(reference, off_air, coarse=coarse, weighting=weighting, low_hz=low_hz, high_hz=top_hz, tell=tell)
    fine, whole, w, inverted = agreed.fine, agreed.whole, agreed.weight, agreed.inverted
    if not long_enough(whole):
        what = f"only {whole.duration_s:.3f} s in common: too short to average"
        problems.append(Problem(off_air.name, what, "at least a second or two", code="recording-too-short"))
        return refusal(problems, weighting=weighting)
    low, high = expected_us - search_us, expected_us + search_us
    if np.count_nonzero(w) < 2:
        what = f"nothing in common with {reference.name} for any delay from {low:g} to {high:g} us"
        problems.append(
            Problem(
                off_air.name, what, "the same programme in both channels, or a wider search", code="no-common-signal"
            )
        )
        return refusal(problems, weighting=weighting)
    if not agreed.settled and coarse.jumps_us:
        return refusal([*problems, jump(coarse.jumps_us, where=off_air.name)], weighting=weighting)
    if not agreed.settled:
        what = f"no one delay from {low:g} to {high:g} us fits: what is in common is too weak, or moves too fast"
        expected = "the same programme in both channels, a clearer or longer recording, or a wider search"
        problems.append(Problem(off_air.name, what, expected, code="no-clear-peak"))
        return refusal(problems, weighting=weighting)
    found = _found(fine, whole=whole, weight=w, inverted=inverted)
    sample_us = 1e6 / reference.rate_hz
    if abs(found.delay_us - expected_us) > search_us + 2 * sample_us:
        what = f"what fits best lies at about {found.delay_us:.0f} us, outside {low:g} to {high:g} us"
        problems.append(
            Problem(
                off_air.name, what, "a search that reaches beyond the delay on both sides", code="peak-at-search-end"
            )
        )
        return refusal(problems, weighting=weighting)
    peaks = _peaks(coarse, whole=whole, weight=w, rate_hz=reference.rate_hz, near_us=found.delay_us)
    problems += doubts(
        found, peaks=peaks, jumps_us=coarse.jumps_us, greatest_drift_us=greatest_drift_us, where=off_air.name
    )
    lost = slip(fine, weight=w, sample_us=sample_us)
    if lost is not None and not any(p.severity == "error" for p in problems):
        problems.append(slipped(lost, where=off_air.name))
    return answer(found, peaks=peaks, weighting=weighting, inverted=inverted, problems=problems)


def marked_delay(
    first: tuple[Source, Source], second: tuple[Source, Source], *, greatest_drift_us: float = 0.1, **options: float
) -> tuple[Delay, Delay, Delay]:
    """Delay between two recordings, each with the same marker beside its signal.

    Parameters
    ----------
    first, second : (marker, signal)
        Channels of the two recordings. The marker reached both recorders at the same instant.

    Returns
    -------
    answer, signal, marker : Delay
        `answer` is signal minus marker: starting times and the rates of the two recorders' clocks cancel.
    """
    marker = delay(first[0], second[0], greatest_drift_us=float("inf"), judge_clipping=False, **options)  # type: ignore[arg-type]
    signal = delay(first[1], second[1], greatest_drift_us=float("inf"), **options)  # type: ignore[arg-type]
    problems = [*marker.problems, *signal.problems]
    drift = signal.drift_us_per_s - marker.drift_us_per_s
    drift_sigma = float(np.hypot(signal.drift_uncertainty_us_per_s, marker.drift_uncertainty_us_per_s))
    problems += drifts(drift, drift_sigma, signal.duration_s, greatest_drift_us=greatest_drift_us, where=second[1].name)
    if signal.delay_us is None or marker.delay_us is None or any(p.severity == "error" for p in problems):
        value = sigma = None
    else:
        value = signal.delay_us - marker.delay_us
        sigma = float(np.hypot(signal.uncertainty_us or 0.0, marker.uncertainty_us or 0.0))
    both = replace(
        signal,
        delay_us=value,
        uncertainty_us=sigma,
        low_us=None if value is None or sigma is None else value - NORMAL_95 * sigma,
        high_us=None if value is None or sigma is None else value + NORMAL_95 * sigma,
        drift_us_per_s=drift,
        drift_uncertainty_us_per_s=drift_sigma,
        problems=tuple(problems),
    )
    return both, signal, marker


def _same_rate(reference: Source, off_air: Source) -> None:
    """Refuse two rates."""
    if reference.rate_hz != off_air.rate_hz:
        what = f"has {off_air.rate_hz} samples a second, {reference.name} has {reference.rate_hz}"
        raise PlanError([Problem(off_air.name, what, "both recorded at the same rate", code="sample-rates-differ")])


def _found(fine: Sections, *, whole: Spectra, weight: Floats, inverted: bool) -> Found:
    """Fine estimate from all sections, with its uncertainty and its checks."""
    sign = -1.0 if inverted else 1.0
    cross, f = sign * whole.cross, whole.frequency_hz
    likeness = coherence(whole)
    used = np.flatnonzero(weight)
    share = np.cumsum(weight) / np.sum(weight)
    left = phase_slope(cross, frequency_hz=f, weight=weight)
    share_s = shares(fine, whole=whole, weight=weight)
    middle, known_s = float(np.mean(fine.middle_s)), float(np.average(fine.heard_s, weights=share_s))
    parts_us = np.array(
        [phase_slope(sign * p.cross, frequency_hz=f, weight=weight, start_us=left) for p in fine.spectra]
    )
    sigma = _sigma(weight, whole=whole)
    drift, drift_sigma, inflation = _drift(fine.heard_s, parts_us, share=share_s, sigma_us=sigma)
    heard = share_s > LEAST_SHARE
    # With fewer than three sections no drift can be told, and none is carried to the middle.
    away_us = drift_sigma * (middle - known_s) if np.isfinite(drift_sigma) else 0.0
    lower = _half(weight, f)
    low = phase_slope(cross, frequency_hz=f, weight=np.where(lower, weight, 0.0), start_us=left)
    high = phase_slope(cross, frequency_hz=f, weight=np.where(lower, 0.0, weight), start_us=left)
    halves = np.hypot(
        _sigma(np.where(lower, weight, 0.0), whole=whole),
        _sigma(np.where(lower, 0.0, weight), whole=whole),
    )
    turned = replace(whole, cross=cross)
    return Found(
        delay_us=float(fine.line.at(middle) + left + drift * (middle - known_s)),
        random_us=float(np.hypot(sigma * inflation, away_us)),
        dispersion_us=high - low,
        dispersion_sigma_us=float(halves),
        drift_us_per_s=fine.line.drift_us_per_s + drift,
        drift_sigma_us_per_s=drift_sigma,
        bound_us=bound_us(np.where(weight > 0, likeness, 0.0), frequency_hz=f, duration_s=whole.duration_s),
        misfit_ratio=phase_misfit(turned, weight=weight, delay_us=left),
        coherence_ratio=float(np.median(likeness[used])),
        band_low_hz=float(f[np.searchsorted(share, 0.001)]),
        band_high_hz=float(f[np.searchsorted(share, 0.999)]),
        duration_s=whole.duration_s,
        sections_s=fine.heard_s[heard],
        sections_us=(parts_us + np.array([fine.line.at(t) for t in fine.heard_s]))[heard],
        misfit_limit_ratio=1.0 + max(_MISFIT_RATIO, 5.0 * np.sqrt(2.0 * _BINS_PER_READING / len(used))),
    )


def _sigma(weight: Floats, *, whole: Spectra) -> float:
    """Standard uncertainty of the phase slope for any weight, from the coherence. [us]"""
    import scipy.ndimage

    likeness, shared = coherence(whole), crowd(whole)
    # Weak bins are used because they look coherent: their neighbours say how coherent such bins are. Tones stand alone.
    around = np.minimum(likeness, scipy.ndimage.uniform_filter1d(likeness, _NEIGHBOURS_N))
    likeness = np.where((shared > 1) | (likeness > _SURE_RATIO), likeness, around)
    used = (weight > 0) & (likeness > 0)
    if not used.any():
        return float("inf")
    turn, w, c = 2e-6 * np.pi * whole.frequency_hz[used], weight[used], likeness[used]
    independent = whole.duration_s * float(whole.frequency_hz[1]) / shared[used]
    variance = np.maximum(1.0 - c, 1e-6) / (2.0 * c * independent)
    return float(np.sqrt(np.sum((w * turn) ** 2 * variance)) / np.sum(w * turn**2))


def _half(weight: Floats, frequency_hz: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """The lower part of the band: below it lies half of what is known about the delay."""
    known = np.cumsum(weight * frequency_hz**2)
    return np.asarray(known <= known[-1] / 2)


def _drift(middle_s: Floats, parts_us: Floats, *, share: Floats, sigma_us: float) -> tuple[float, float, float]:
    """Drift, its standard uncertainty, and by how much the scatter about it exceeds what noise explains."""
    heard = share > LEAST_SHARE
    n = int(np.count_nonzero(heard))
    if n < 3:
        length_s = float(np.ptp(middle_s[heard])) if n else 0.0
        return 0.0, float("inf") if n < 2 else sigma_us * np.sqrt(n) / length_s * np.sqrt(2), 1.0
    w = share[heard] * n / np.sum(share[heard])
    t = middle_s[heard] - float(np.average(middle_s[heard], weights=w))
    parts = parts_us[heard] - float(np.average(parts_us[heard], weights=w))
    slope = float((w * t) @ parts / ((w * t) @ t))
    off = parts - slope * t
    explained = sigma_us**2 * n
    ratio = float((w * off) @ off) / (n - 2) / explained if explained > 0 else 1.0
    # 1 + 3 sqrt(2 / dof) stands near the 99.7 % quantile: below it the scatter is chance.
    inflation = np.sqrt(ratio) if ratio > 1.0 + 3.0 * np.sqrt(2.0 / (n - 2)) else 1.0
    return slope, float(np.sqrt(explained / ((w * t) @ t)) * inflation), float(inflation)


def _without_lobes(at: NDArray[np.int64], size: Floats, lobes: Floats) -> NDArray[np.int64]:
    """Peaks, the highest first, without those that are side lobes of a higher one.

    A lobe nearly as high as its peak is kept: of a tone nobody can tell which is meant.
    """
    kept: list[int] = []
    for k in at.tolist():
        from_others = 0.0
        for other in kept:
            around = np.take(lobes, range(abs(k - other) - 1, abs(k - other) + 2), mode="wrap")
            if float(around.max()) < RIVAL_RATIO:
                from_others += float(size[other] * around.max())
        if size[k] > _LOBE_FACTOR * from_others:
            kept.append(k)
    return np.array(kept, dtype=np.int64)


def _peaks(coarse: Coarse, *, whole: Spectra, weight: Floats, rate_hz: int, near_us: float) -> tuple[Peak, ...]:
    """Peaks over the whole search, highest first, with the weights now known."""
    import scipy.fft
    import scipy.signal

    # Divided by the reference's own spectrum, the cross-spectrum is the path's response; coherence damps what is noise.
    response = np.where(weight > 0, coherence(whole) / np.maximum(whole.reference, 1e-300), 0.0)
    grid = np.fft.rfftfreq(coarse.samples, 1.0 / rate_hz)
    r = scipy.fft.irfft(coarse.cross * np.interp(grid, whole.frequency_hz, response), coarse.samples)
    size = np.abs(within_reach(r, reach=coarse.reach_samples))
    noise = float(np.median(size)) / 0.6745
    top = float(size.max())
    at, _ = scipy.signal.find_peaks(
        np.concatenate(([0.0], size, [0.0])), height=max(_LISTED_RATIO * top, min(CLEAR_PEAK_RATIO * noise, 0.9 * top))
    )
    at = at[np.argsort(size[at - 1])[::-1]] - 1
    lobes = np.abs(
        scipy.fft.irfft(np.abs(coarse.cross) * np.interp(grid, whole.frequency_hz, response), coarse.samples)
    )
    at = _without_lobes(at, size, lobes / max(float(lobes[0]), 1e-300))[:8]
    listed = [
        Peak(float(1e6 * (k - coarse.reach_samples + coarse.shift_samples) / rate_hz), float(size[k]) / top) for k in at
    ]
    nearest = min(range(len(listed)), key=lambda k: abs(listed[k].delay_us - near_us), default=None)
    if nearest is not None and abs(listed[nearest].delay_us - near_us) <= 2e6 / rate_hz:
        listed[nearest] = Peak(float(near_us), listed[nearest].height_ratio)
    return tuple(listed)
