"""What a correlation found, what stands against it, and the answer with its interval or its refusal."""

from dataclasses import dataclass

import numpy as np

from sfn.errors import Problem
from sfn.survey.recording import Modulation, Source
from sfn.survey.spectra import Floats, Weighting
from sfn.survey.steadiness import Slip

SILENT_DB = -80.0
CLIPPED_PCT = 0.01
RIVAL_RATIO = 0.8
NORMAL_95 = 1.959964
_ONE_NANOSECOND_US = 1e-3


@dataclass(frozen=True, slots=True)
class Peak:
    """One peak of the correlation: where, and how high beside the highest."""

    delay_us: float
    height_ratio: float


@dataclass(frozen=True, slots=True)
class Delay:
    """Delay of the second channel against the first, or why there is none.

    Parameters
    ----------
    delay_us : float or None
        Positive = second later; at the middle of the recording. None when refused. [us]
    uncertainty_us : float or None
        Standard uncertainty (one sigma): coherence, scatter from section to section, and half of `dispersion_us`
        where that is significant. [us]
    low_us, high_us : float or None
        95 % interval. [us]
    bound_us : float
        Cramer-Rao bound at the coherence found. [us]
    drift_us_per_s, drift_uncertainty_us_per_s : float
        Movement of the delay; 1 us/s is 1 ppm between two clocks. [us/s]
    dispersion_us : float
        Delay of the upper half of the band minus that of the lower. [us]
    misfit_ratio : float
        Phase left over in units of what noise explains; about 1 for one clean arrival.
    inverted : bool
        The second channel has the opposite polarity.
    coherence_ratio : float
        Median coherence of the bins used.
    peaks : tuple of Peak
        All peaks of at least a quarter of the highest that are not side lobes of a higher one; several arrivals show
        here.
    sections_s, sections_us : ndarray (N,)
        Middle of each section and the delay found in it alone.
    problems : tuple of Problem
        Errors are refusals, warnings are doubts.
    """

    delay_us: float | None
    uncertainty_us: float | None
    low_us: float | None
    high_us: float | None
    bound_us: float
    drift_us_per_s: float
    drift_uncertainty_us_per_s: float
    dispersion_us: float
    misfit_ratio: float
    inverted: bool
    coherence_ratio: float
    band_low_hz: float
    band_high_hz: float
    duration_s: float
    weighting: Weighting
    peaks: tuple[Peak, ...]
    sections_s: Floats
    sections_us: Floats
    problems: tuple[Problem, ...]
    misfit_limit_ratio: float = float("nan")
    """What chance alone leaves `misfit_ratio` below: see `correlate`."""

    @property
    def refused(self) -> bool:
        """Whether any problem is a refusal."""
        return any(p.severity == "error" for p in self.problems)


@dataclass(frozen=True, slots=True)
class Found:
    """The fine estimate before it is judged."""

    delay_us: float
    random_us: float
    dispersion_us: float
    dispersion_sigma_us: float
    drift_us_per_s: float
    drift_sigma_us_per_s: float
    bound_us: float
    misfit_ratio: float
    coherence_ratio: float
    band_low_hz: float
    band_high_hz: float
    duration_s: float
    sections_s: Floats
    sections_us: Floats
    misfit_limit_ratio: float = float("nan")


def driven(source: Source, level: Modulation, *, judge_clipping: bool) -> list[Problem]:
    """Problems of one channel's level."""
    where = source.name
    if level.not_finite_n:
        what = f"holds {level.not_finite_n} samples that are no number or infinite: a broken file or converter"
        values = {"not_finite_n": float(level.not_finite_n)}
        code = "recording-not-finite"
        return [Problem(where, what, "a recording of finite samples", code=code, values=values)]
    if level.rms_db < SILENT_DB and level.peak_db < SILENT_DB + 20:
        what = "is silent" if level.peak_db == -np.inf else f"is silent ({level.rms_db:.0f} dB below full scale)"
        return [
            Problem(
                where,
                what.replace("(-", "("),
                f"a signal above {SILENT_DB:g} dB of full scale",
                code="recording-silent",
            )
        ]
    worst = max(level.full_scale_pct, level.flat_topped_pct)
    if not judge_clipping or worst == 0:
        return []
    at = "at full scale" if level.full_scale_pct > 0 else f"cut off {-level.peak_db:.1f} dB below full scale"
    what = f"is clipped: {worst:.3g} % of its samples stand {at}"
    severity = "error" if worst > CLIPPED_PCT else "warning"
    return [Problem(where, what, "a recording with some decibels of headroom", severity, code="recording-clipped")]  # type: ignore[arg-type]


def jump(jumps_us: float, *, where: str) -> Problem:
    """The refusal of a delay that jumps."""
    what = f"the delay jumps by {jumps_us:.0f} us or more within the recording"
    return Problem(
        where,
        what,
        "a stretch without a change of setting, a lost packet or a dropped block",
        code="delay-jumps",
        values={"jump_us": jumps_us},
    )


def slipped(lost: Slip, *, where: str) -> Problem:
    """The refusal of a recording of which a part lies otherwise."""
    what = (
        f"no one delay holds: about {lost.at_s:.1f} s into it the two channels lie otherwise than in the rest"
        f" ({lost.misfit_ratio:.0f} times the phase that noise explains): samples were lost or repeated, or a setting"
        " changed"
    )
    expected = "a stretch without lost samples: cut the recording there, or record again"
    values = {"at_s": lost.at_s, "misfit_ratio": lost.misfit_ratio}
    return Problem(where, what, expected, code="delay-jumps", values=values)


def doubts(
    found: Found, *, peaks: tuple[Peak, ...], jumps_us: float, greatest_drift_us: float, where: str
) -> list[Problem]:
    """What stands against the number, the first cause alone where it explains the others."""
    if jumps_us:
        return [jump(jumps_us, where=where)]
    problems = drifts(
        found.drift_us_per_s,
        found.drift_sigma_us_per_s,
        found.duration_s,
        greatest_drift_us=greatest_drift_us,
        where=where,
    )
    rivals = [p for p in peaks[1:] if p.height_ratio >= RIVAL_RATIO]
    if rivals and not problems:
        listed = ", ".join(f"{p.delay_us:+.1f} us" for p in (peaks[0], *rivals))
        what = f"{len(rivals) + 1} peaks of nearly the same height ({listed}): which one is meant cannot be told"
        expected = "one clear peak: a wider band, a directional antenna, the other site muted, or a narrower search"
        problems.append(Problem(where, what, expected, code="several-peaks"))
    if _disperses(found):
        what = (
            f"the upper half of the band is {found.dispersion_us:+.3f} us later than the lower: another arrival"
            " beside the first, or different filters in the two channels"
        )
        problems.append(
            Problem(
                where,
                what,
                "the interval was widened by half of it",
                "warning",
                code="dispersion",
                values={"dispersion_us": found.dispersion_us},
            )
        )
    return problems


def _disperses(found: Found) -> bool:
    """Whether the two halves of the band disagree beyond chance and beyond a nanosecond."""
    size = abs(found.dispersion_us)
    return size > 4.0 * found.dispersion_sigma_us and size > _ONE_NANOSECOND_US


def drifts(drift: float, sigma: float, duration_s: float, *, greatest_drift_us: float, where: str) -> list[Problem]:
    """The refusal of a delay that moves."""
    moved = abs(drift) * duration_s
    if not (abs(drift) > 4.0 * sigma and moved > greatest_drift_us):
        return []
    what = (
        f"the delay drifts by {drift:+.3f} us a second ({drift:+.3f} ppm), {moved:.2f} us over the recording:"
        " the clocks are not locked, or something in between adapts"
    )
    return [
        Problem(
            where,
            what,
            f"both channels on one clock; at most {greatest_drift_us:g} us over the recording",
            code="delay-drifts",
            values={"drift_us_per_s": drift},
        )
    ]


def answer(
    found: Found, *, peaks: tuple[Peak, ...], weighting: Weighting, inverted: bool, problems: list[Problem]
) -> Delay:
    """The record, with or without its number."""
    sigma = float(np.hypot(found.random_us, found.dispersion_us / 2 if _disperses(found) else 0.0))
    refused = any(p.severity == "error" for p in problems)
    value = None if refused else found.delay_us
    return Delay(
        delay_us=value,
        uncertainty_us=None if value is None else sigma,
        low_us=None if value is None else value - NORMAL_95 * sigma,
        high_us=None if value is None else value + NORMAL_95 * sigma,
        bound_us=found.bound_us,
        drift_us_per_s=found.drift_us_per_s,
        drift_uncertainty_us_per_s=found.drift_sigma_us_per_s,
        dispersion_us=found.dispersion_us,
        misfit_ratio=found.misfit_ratio,
        inverted=inverted,
        coherence_ratio=found.coherence_ratio,
        band_low_hz=found.band_low_hz,
        band_high_hz=found.band_high_hz,
        duration_s=found.duration_s,
        weighting=weighting,
        peaks=peaks,
        sections_s=found.sections_s,
        sections_us=found.sections_us,
        problems=tuple(problems),
        misfit_limit_ratio=found.misfit_limit_ratio,
    )


def refusal(problems: list[Problem], *, weighting: Weighting) -> Delay:
    """The answer when there is nothing to measure."""
    nan, none = float("nan"), np.array([])
    found = Found(nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, none, none)
    return answer(found, peaks=(), weighting=weighting, inverted=False, problems=problems)
