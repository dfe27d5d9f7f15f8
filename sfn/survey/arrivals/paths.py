"""Every path of an FM signal in a recording of I and Q, against the known composite: the story.

Sign: positive when what is heard is later than the reference.

The paths add before the discriminator, so it is there that they are told apart: the FM signal is made anew from the
composite and fitted, at several delays at once, to short stretches of the recording.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.survey.alignment import Tell, untold
from sfn.survey.arrivals.bent import bent, straight
from sfn.survey.arrivals.doubtful import MOST_MISFIT_RATIO, in_common, jump, unexplained
from sfn.survey.arrivals.fit import TAPS, Fitted, Whitened, between, refined
from sfn.survey.arrivals.iq import evenness
from sfn.survey.arrivals.modulated import Band, Modulated, band_limited, band_of, modulated, thinned
from sfn.survey.arrivals.order import edges, levels_db, misfit, ordered, resolution, sure
from sfn.survey.arrivals.parted import Path, parted, records, steady
from sfn.survey.arrivals.start import begin, carrier_left, carrier_of, demodulated
from sfn.survey.arrivals.stretches import Stretch, better_scale, rough, sent_in, shifts, stretch, together
from sfn.survey.recording import Samples
from sfn.survey.spectra import Floats

Complex = NDArray[np.complex128]

STRETCHES_N, STRETCH_S = 12, 0.020
_ROUGH_N, _ROUGH_ROUNDS, _ROUNDS = 6, 4, 15
_COUNTS, _TURNS, _SETTLED_SIGMAS = 3, 12, 0.1
_SCALE_RATIO, _SETTLED_US = 1e-5, 0.002
_LEAST_SNR_DB = 6.0
_MOST_SLOPE = 1e-4
RESOLUTION_LEVELS_DB = (0.0, -10.0, -20.0)


@dataclass(frozen=True, slots=True)
class Paths:
    """All paths, the earliest first, and what was found of the recording.

    `covariance_us2` is that of the delays in the order of `paths`; `resolution_us` the least spacing told apart beside
    the strongest path at each of `RESOLUTION_LEVELS_DB`.
    """

    paths: tuple[Path, ...]
    covariance_us2: Floats
    resolution_us: tuple[float, ...]
    carrier_hz: float
    deviation_hz: float
    drift_us_per_s: float
    snr_db: float
    misfit_ratio: float
    duration_s: float
    at_s: float
    """Time in the recording at which the delays hold. [s]"""
    problems: tuple[Problem, ...]

    @property
    def doubt(self) -> str:
        """What goes with every measurement made of it; empty where nothing does."""
        return f"misfit {self.misfit_ratio:.1f}" if self.misfit_ratio > MOST_MISFIT_RATIO else ""

    @property
    def strongest(self) -> int:
        """Number of the strongest path."""
        return max(range(len(self.paths)), key=lambda k: self.paths[k].level_db)


@dataclass(frozen=True, slots=True)
class _Work:
    """What the steps hand on: the line of delay over time is ``later[0] + later[1] t``."""

    heard: Complex
    band: Band
    signal: Modulated
    later: tuple[float, float]
    firsts: tuple[int, ...]
    count: int
    reach: int

    def taken(self, *, some: int | None = None, known: Complex | None = None) -> list[Stretch]:
        """Stretches along the line as it stands."""
        every = range(len(self.firsts))
        chosen = every if some is None else np.unique(np.linspace(0, len(self.firsts) - 1, some).astype(int)).tolist()
        found = []
        for k in chosen:
            first = self.firsts[k]
            sent = sent_in(
                self.signal, first=first, count=self.count, reach=self.reach, band=self.band, later=self.later
            )
            heard = self.heard[first : first + self.count]
            found.append(stretch(heard, sent, band=self.band, known=None if known is None else known[k]))
        return found

    def middles(self, stretches: list[Stretch]) -> Floats:
        """Times of the stretches' middles. [s]"""
        return np.array([(s.sent.first + self.count / 2) / self.band.rate_hz for s in stretches])


def paths(
    reference: Samples,
    heard: Complex,
    *,
    reference_rate_hz: float,
    rate_hz: float,
    deviation_hz: float,
    search_us: float = 500_000.0,
    spread_us: float = 150.0,
    expected_us: tuple[float, ...] = (),
    where: str = "recording",
    tell: Tell = untold,
) -> Paths:
    """Every path of the known composite in a recording of I and Q.

    Parameters
    ----------
    reference : ndarray (N,)
        Composite, full scale 1.
    heard : ndarray of complex (M,)
        I + jQ.
    reference_rate_hz, rate_hz : float
        Samples a second of each. [Hz]
    deviation_hz : float
        Deviation that full scale of the reference stands for; what was found is answered. [Hz]
    search_us : float
        How far the beginnings may lie apart. [us]
    spread_us : float
        Paths are looked for so far to both sides of what is heard best. [us]
    expected_us : tuple of float
        Delays of the plan's arrivals beside the first of them: tried as starts. [us]
    where : str
        What messages call the recording.

    Raises
    ------
    PlanError
        If nothing of the reference is in the recording, or no set of paths explains it.
    """
    tell("carrier and beginning", done=0, total=1)
    work, carrier_hz = _begun(
        reference, heard, reference_rate_hz=reference_rate_hz, rate_hz=rate_hz, deviation_hz=deviation_hz,
        search_us=search_us, spread_us=spread_us, where=where,
    )  # fmt: skip
    for done in range(_ROUGH_ROUNDS):
        tell("clocks and deviation", done=done, total=_ROUGH_ROUNDS)
        work, settled = _bettered(work, where=where)
        if settled:
            break
    tell("paths", done=0, total=_ROUNDS)
    stretches = work.taken()
    _heard_well(stretches, where=where)
    fitted = ordered(together(stretches), split=False)
    for done in range(_ROUNDS):
        tell("paths", done=done, total=_ROUNDS)
        work, moved_us = _on_line(work, fitted, stretches, where=where)
        more = better_scale(stretches)
        work = replace(work, signal=replace(work.signal, deviation_hz=work.signal.deviation_hz * (1.0 + more)))
        stretches = work.taken(known=_response(fitted, stretches))
        all_of = together(stretches)
        low, high = edges(all_of)
        fitted = refined(all_of, fitted.at_samples, low=low, high=high)
        if moved_us < _SETTLED_US and abs(more) < _SCALE_RATIO:
            break
    starts = None
    if expected_us:
        first = fitted.at_samples.min()
        starts = first + np.asarray(expected_us) * 1e-6 * work.band.rate_hz
        starts = starts[(starts > low) & (starts < high)]
    for _ in range(_COUNTS):
        # The phase was followed with other paths: once more with those now known.
        before, fitted = len(fitted.at_samples), ordered(all_of, starts=starts)
        stretches, all_of, fitted = _settled(work, fitted, stretches)
        if len(fitted.at_samples) == before:
            break
    kept, out = sure(all_of, fitted)
    if out:
        all_of, fitted = kept, ordered(kept, starts=starts)
    used = [one for k, one in enumerate(stretches) if k not in out]
    snr_db = _heard_well(used, where=where)
    seen = bent(
        used, fitted, heard=work.heard, rate_hz=work.band.rate_hz, carrier_hz=carrier_hz,
        evenness=evenness(heard.real, heard.imag), snr_db=snr_db,
    )  # fmt: skip
    straight(seen, snr_db=snr_db, whole=not out, where=where)
    found = _answer(
        work, fitted, stretches, all_of, carrier_hz=carrier_hz, stated_hz=deviation_hz, duration_s=len(heard) / rate_hz,
        where=where,
    )  # fmt: skip
    if not out:
        return found
    middles_s = work.middles(stretches)
    told = _left_out([float(middles_s[k]) for k in out], of_n=len(stretches), where=where)
    return replace(found, problems=(*found.problems, told))


def _settled(work: _Work, fitted: Fitted, stretches: list[Stretch]) -> tuple[list[Stretch], Whitened, Fitted]:
    """The phase followed with the paths found and the paths fitted to it, by turns until they stand.

    A phase that was followed with paths a little wrong takes what contradicts them with it. Speech is as slow as that
    phase: two paths a microsecond or two apart then stay where they were first put, and nothing of it shows in the
    misfit.
    """
    for _ in range(_TURNS):
        stretches = work.taken(known=_response(fitted, stretches))
        all_of = together(stretches)
        low, high = edges(all_of)
        before, fitted = fitted.at_samples, refined(all_of, fitted.at_samples, low=low, high=high)
        sigma = np.sqrt(np.diag(np.linalg.pinv(fitted.information)))
        if np.all(np.abs(fitted.at_samples - before) < np.maximum(_SETTLED_SIGMAS * sigma, 1e-5)):
            break
    return stretches, all_of, fitted


def _left_out(at_s: list[float], *, of_n: int, where: str) -> Problem:
    """What is said where some stretches were not used."""
    listed = ", ".join(f"{t:.2f}" for t in at_s)
    what = f"{len(at_s)} of {of_n} stretches, about {listed} s into it, were left out: the paths do not explain them"
    expected = "lost samples or a fade there? The delays are those of the rest; record again where in doubt"
    values = {"stretches": float(len(at_s)), "first_s": at_s[0]}
    return Problem(where, what, expected, "warning", code="stretches-left-out", values=values)


def _begun(
    reference: Samples,
    heard: Complex,
    *,
    reference_rate_hz: float,
    rate_hz: float,
    deviation_hz: float,
    search_us: float,
    spread_us: float,
    where: str,
) -> tuple[_Work, float]:
    """Carrier, beginning, deviation and the stretches to look at."""
    band = band_of(rate_hz)
    carrier_hz = carrier_of(heard, rate_hz=rate_hz)
    z = thinned(heard, rate_hz=rate_hz, carrier_hz=carrier_hz, band=band)
    start = begin(
        reference, reference_rate_hz=reference_rate_hz, heard=demodulated(z, rate_hz=band.rate_hz),
        rate_hz=band.rate_hz, search_us=search_us,
    )  # fmt: skip
    in_common(start, where=where)
    t = (np.arange(len(z) - 1) + 0.5) / band.rate_hz
    at = (t - start.later_s - start.slope_ratio * t) * reference_rate_hz
    sent_hz = deviation_hz * np.interp(at, np.arange(len(reference)), reference, left=0.0, right=0.0)
    left_hz = carrier_left(z, rate_hz=band.rate_hz, sent_hz=sent_hz)
    carrier_hz += left_hz
    z = thinned(heard, rate_hz=rate_hz, carrier_hz=carrier_hz, band=band)
    signal = modulated(reference, rate_hz=reference_rate_hz, deviation_hz=deviation_hz)
    count = round(STRETCH_S * band.rate_hz)
    firsts = _loudest(sent_hz, count=count, inside=(at > 2000) & (at < len(reference) - 2000))
    if len(firsts) < 4:
        what = f"only {len(firsts) * STRETCH_S:.2f} s in common with the reference"
        raise PlanError([Problem(where, what, "a second or two", code="recording-too-short")])
    reach = round(spread_us * 1e-6 * band.rate_hz) + TAPS
    work = _Work(z, band, signal, (start.later_s, start.slope_ratio), firsts, count, reach)
    return _tuned(work, carrier_hz)


def _tuned(work: _Work, carrier_hz: float) -> tuple[_Work, float]:
    """Carrier and deviation from the phase in short windows."""
    rate = work.band.rate_hz
    for _ in range(_ROUGH_ROUNDS):
        sums = []
        for first in work.firsts[::2]:
            s, phase = band_limited(
                work.signal, first_s=(first - work.reach) / rate, count=work.count + 2 * work.reach, band=work.band,
                later=work.later,
            )  # fmt: skip
            heard = work.heard[first : first + work.count]
            sums.append(rough(heard, s, phase, reach=work.reach, rate_hz=rate))
        more, left_hz = np.median(sums, axis=0).tolist()
        turn = np.exp(-2j * np.pi * left_hz / rate * np.arange(len(work.heard)))
        signal = replace(work.signal, deviation_hz=work.signal.deviation_hz * (1.0 + more))
        work, carrier_hz = replace(work, heard=work.heard * turn, signal=signal), carrier_hz + left_hz
        if abs(more) < 2e-3 and abs(left_hz) < 20.0:
            break
    return work, carrier_hz


def _loudest(sent_hz: Floats, *, count: int, inside: NDArray[np.bool_]) -> tuple[int, ...]:
    """Where the stretches begin: of each part of the recording the one with the greatest deviation."""
    usable = np.flatnonzero(inside)
    if len(usable) < count:
        return ()
    first, last = int(usable[0]), int(usable[-1])
    rows = (last + 1 - first) // count
    power = np.var(sent_hz[first : first + rows * count].reshape(rows, count), axis=1)
    parts = np.array_split(np.arange(rows), min(STRETCHES_N, rows))
    return tuple(first + count * int(part[np.argmax(power[part])]) for part in parts)


def _bettered(work: _Work, *, where: str) -> tuple[_Work, bool]:
    """Deviation and the line of delay once more, from some stretches; whether they moved."""
    stretches = work.taken(some=_ROUGH_N)
    more = better_scale(stretches)
    late, t = shifts(stretches), work.middles(stretches)
    from scipy.stats import theilslopes

    line = theilslopes(late, t)
    off = late - line.intercept - line.slope * t
    rate = work.band.rate_hz
    if abs(line.slope) / rate > _MOST_SLOPE:
        raise PlanError([jump(1e6 * float(np.ptp(late)) / rate, where=where)])
    if np.count_nonzero(np.abs(off) > max(1.5, 3 * float(np.median(np.abs(off))))) > len(off) // 3:
        raise PlanError([jump(1e6 * float(np.max(np.abs(off))) / rate, where=where)])
    later = (work.later[0] + line.intercept / rate, work.later[1] + line.slope / rate)
    # The strongest path to the middle: then the spread reaches as far to both sides.
    power = np.sum([np.abs(s.pattern) ** 2 / np.sum(np.abs(s.pattern) ** 2) for s in stretches], axis=0)
    centre = int(np.argmax(power)) - work.reach
    moved = float(np.max(np.abs(late)))
    if moved <= 0.5 and abs(centre) > work.reach // 8:
        later, moved = (later[0] + centre / rate, later[1]), abs(centre)
    signal = replace(work.signal, deviation_hz=work.signal.deviation_hz * (1.0 + more))
    return replace(work, signal=signal, later=later), abs(more) < 3e-4 and moved <= 0.25


def _heard_well(stretches: list[Stretch], *, where: str) -> float:
    """Signal over noise in the band. [dB]"""
    share = [float(np.mean(s.power)) / (2 * s.variance_ratio) for s in stretches]
    snr_db = float(10 * np.log10(max(np.median(share) - 1.0, 1e-9)))
    if snr_db < _LEAST_SNR_DB:
        what = f"what the reference explains stands {snr_db:.0f} dB above what it does not"
        expected = f"{_LEAST_SNR_DB:g} dB: the composite on air, its deviation, no neighbour, no lost samples"
        raise PlanError([Problem(where, what, expected, code="reference-explains-little", values={"snr_db": snr_db})])
    return snr_db


def _response(fitted: Fitted, stretches: list[Stretch]) -> Complex:
    """Response of each stretch that the paths found make."""
    q = between(fitted.at_samples, columns=stretches[0].root.shape[1])
    return np.asarray(fitted.amplitude @ q.T)


def _on_line(work: _Work, fitted: Fitted, stretches: list[Stretch], *, where: str) -> tuple[_Work, float]:
    """The line after each stretch's own delay was heard, and by how much it moved. [us]"""
    known = fitted.parts.sum(axis=(1, 2))
    late = fitted.steps.sum(axis=1) / known
    t = work.middles(stretches)
    weight = np.sqrt(known)
    slope, level = np.polyfit(t - t.mean(), late, 1, w=weight)
    off = late - level - slope * (t - t.mean())
    rate = work.band.rate_hz
    sigma = np.sqrt(misfit(fitted) / known)
    wrong = np.abs(off) > np.maximum(8 * sigma, 0.25 * 1e-6 * rate)
    if np.count_nonzero(wrong) > len(off) // 4:
        raise PlanError([jump(1e6 * float(np.max(np.abs(off))) / rate, where=where)])
    moved_us = 1e6 * float(np.max(np.abs(slope * (t - t.mean())))) / rate
    if moved_us < _SETTLED_US:
        return work, moved_us
    later = (work.later[0] - slope * t.mean() / rate, work.later[1] + slope / rate)
    return replace(work, later=later), moved_us


def _answer(
    work: _Work,
    fitted: Fitted,
    stretches: list[Stretch],
    all_of: Whitened,
    *,
    carrier_hz: float,
    stated_hz: float,
    duration_s: float,
    where: str,
) -> Paths:
    """The record."""
    rate = work.band.rate_hz
    middle_s = float(np.mean(work.middles(stretches)))
    base_us = 1e6 * (work.later[0] + work.later[1] * middle_s - work.reach / rate)
    found, covariance, groups = parted(fitted, all_of, rate_hz=rate)
    steady(found, where=where)
    strongest = int(np.argmax(levels_db(found)))
    problems = []
    deviation_hz = work.signal.deviation_hz
    if abs(abs(deviation_hz) / stated_hz - 1.0) > 0.05:
        what = f"full scale of the reference deviates by {deviation_hz / 1e3:.2f} kHz, not by {stated_hz / 1e3:.2f} kHz"
        expected = "the deviation of the recording's level; what was found was used"
        problems.append(Problem(where, what, expected, "warning", code="deviation-differs"))
    misfit_ratio = fitted.chi2_ratio / max(fitted.freedom_n, 1)
    if misfit_ratio > MOST_MISFIT_RATIO:
        problems.append(unexplained(misfit_ratio, where=where))
    return Paths(
        paths=records(found, covariance, groups, all_of, base_us=base_us, rate_hz=rate),
        covariance_us2=covariance,
        resolution_us=tuple(
            1e6 / rate * resolution(all_of, found, path=strongest, level_db=db) for db in RESOLUTION_LEVELS_DB
        ),
        carrier_hz=carrier_hz,
        deviation_hz=deviation_hz,
        drift_us_per_s=1e6 * work.later[1],
        snr_db=_heard_well(stretches, where=where),
        misfit_ratio=misfit_ratio,
        duration_s=duration_s,
        at_s=middle_s,
        problems=tuple(problems),
    )
