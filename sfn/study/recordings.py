"""The answer of ``correlate``: which channels, the delay, and what the pilot makes of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.survey import pilot
from sfn.survey.alignment import Tell, untold
from sfn.survey.arrivals.iq import SIGMF_SUFFIXES, looks_like_iq
from sfn.survey.correlate import delay, marked_delay
from sfn.survey.recording import FileSource, channels
from sfn.survey.spectra import Weighting
from sfn.survey.verdict import NORMAL_95, Delay

# What clocks and filters of a recorder are worth between a tone and a band.
_ONE_NANOSECOND_US = 1e-3


# A second FM arrival that no misfit shows, as a standard uncertainty: tests/bench/bench_two_arrivals.py. With the
# difference channel around 38 kHz it moved the delay by 0.6 us at most; in audio, by 6.4 us.
CLOSE_ARRIVAL_US, CLOSE_ARRIVAL_IN_AUDIO_US = 0.5, 3.5


_COMPOSITE_HZ = 30_000.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which channels to compare; numbers count from 1, None means the usual ones."""

    reference_channel: int = 1
    off_air_channel: int | None = None
    marker_channel: int | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """The delay of one or two recordings.

    Parameters
    ----------
    reference, off_air : str
        File and channel.
    found : Delay
        Its problems say why there is no number, or what is doubtful.
    signal_us, marker_us : float or None
        With a marker: the two delays whose difference `found` is. [us]
    refined, phase : Refined and PilotPhase, or None
        What the pilot makes of it, where it was asked for and could be used.
    problems : tuple of Problem
        Those of `found`, and why the pilot was not used.
    """

    reference: str
    off_air: str
    found: Delay
    signal_us: float | None
    marker_us: float | None
    refined: pilot.Refined | None
    phase: pilot.PilotPhase | None
    problems: tuple[Problem, ...]
    alone: bool = False
    """Whether it was said that one site alone arrives."""
    close_us: float = 0.0
    """What a close second arrival, which no demodulated recording shows, adds to the standard uncertainty. [us]"""


def measured(
    paths: Sequence[Path],
    *,
    chosen: Chosen,
    weighting: Weighting = "ml",
    expected_us: float = 0.0,
    search_us: float = 500_000.0,
    low_hz: float = 20.0,
    high_hz: float | None = None,
    greatest_drift_us: float = 0.1,
    use_pilot: bool = False,
    alone: bool = False,
    tell: Tell = untold,
) -> Measured:
    """Delay between two channels of one recording, or between two recordings.

    What a receiver demodulated holds one delay only where one site dominates: of FM arrivals the instantaneous
    frequencies do not add, the weaker one's weight changes with the carrier's phase. A second arrival farther off
    shows in the phase that is left over, and the answer is refused; one within a microsecond (in audio alone, within
    some 20), or far below the first, does not show, and the interval is widened by what it may be worth.

    Parameters
    ----------
    paths : sequence of Path
        One or two recordings.
    chosen : Chosen
    use_pilot : bool
        Refine by the 19 kHz pilot.
    alone : bool
        It is sure that one site alone arrives: the others are muted, or both channels came by cable.
    weighting, expected_us, search_us, low_hz, high_hz, greatest_drift_us, tell
        As `sfn.survey.correlate.delay`.

    Raises
    ------
    PlanError
        If a file, a channel or a value cannot be used.
    """
    if not search_us > 0:
        raise PlanError(
            [
                Problem(
                    "search_us",
                    f"must be positive, got {search_us:g} us",
                    "500000",
                    code="out-of-range",
                    fields=("search_us",),
                )
            ]
        )
    guessed = _not_demodulated(paths)
    reference, off_air, markers = _sources(paths, chosen)
    options: dict[str, Any] = {
        "weighting": weighting,
        "expected_us": expected_us,
        "search_us": search_us,
        "low_hz": low_hz,
        "high_hz": high_hz,
        "greatest_drift_us": greatest_drift_us,
    }
    signal_us = marker_us = None
    if markers is None:
        found = delay(reference, off_air, tell=tell, **options)
    else:
        found, signal, marker = marked_delay((markers[0], reference), (markers[1], off_air), **options)
        signal_us, marker_us = signal.delay_us, marker.delay_us
    coarse_us, close_us = found.uncertainty_us, 0.0 if alone else close_arrival_us(found)
    if not alone:
        found = _several(found, close_us=close_us, where=off_air.name)
    refined = phase = None
    problems = [*guessed, *found.problems]
    if use_pilot and found.delay_us is not None and found.uncertainty_us is not None:
        try:
            refined, phase = _refined(reference, off_air, found, marked=markers is not None)
            problems += _disagrees(off_air, refined, coarse_uncertainty_us=coarse_us or 0.0)
            if not alone:
                refined = replace(refined, uncertainty_us=math.hypot(refined.uncertainty_us, close_us))
        except PlanError as error:
            problems += [replace(p, severity="warning") for p in error.problems]
    return Measured(
        reference.name,
        off_air.name,
        found,
        signal_us,
        marker_us,
        refined,
        phase,
        problems=tuple(problems),
        alone=alone,
        close_us=close_us,
    )


def _not_demodulated(paths: Sequence[Path]) -> list[Problem]:
    """A doubt about each recording that looks like I and Q; refused where its name says that it is."""
    expected = "what a receiver demodulated; I and Q are measured as such (`arrivals`; on the page: I and Q)"
    named = [path for path in paths if path.suffix in SIGMF_SUFFIXES]
    if named:
        what = "is I and Q by its name, not demodulated"
        raise PlanError([Problem(path.name, what, expected, code="kind-guessed") for path in named])
    what = "looks like I and Q: the envelope of its two channels is as even as only a carrier's"
    return [Problem(p.name, what, expected, "warning", code="kind-guessed") for p in paths if looks_like_iq(p)]


def close_arrival_us(found: Delay) -> float:
    """What a second arrival may add that no misfit shows, by the band in which both channels agree. [us]

    Over the 15 kHz of audio a second arrival within 20 us turns all frequencies nearly alike, and what it distorts
    looks like noise; the difference channel around 38 kHz tells it.
    """
    wide = found.band_high_hz >= _COMPOSITE_HZ
    return CLOSE_ARRIVAL_US if wide else CLOSE_ARRIVAL_IN_AUDIO_US


def _several(found: Delay, *, close_us: float, where: str) -> Delay:
    """The delay where more than one site may arrive: refused by its misfit, else with a wider interval."""
    if found.delay_us is None or found.uncertainty_us is None:
        return found
    if found.misfit_ratio > found.misfit_limit_ratio:
        what = (
            f"{found.misfit_ratio:.1f} times as much phase is left over as noise explains: several sites arrive,"
            " samples slipped within it, or filters of the two channels differ: no one delay holds"
        )
        expected = "one site at a time, the others muted; or an I/Q recording, which parts them"
        values = {"misfit_ratio": found.misfit_ratio, "greatest_ratio": found.misfit_limit_ratio}
        problem = Problem(where, what, expected, code="several-arrivals", values=values)
        return replace(
            found, delay_us=None, uncertainty_us=None, low_us=None, high_us=None, problems=(*found.problems, problem)
        )
    sigma = math.hypot(found.uncertainty_us, close_us)
    low_us, high_us = found.delay_us - NORMAL_95 * sigma, found.delay_us + NORMAL_95 * sigma
    return replace(found, uncertainty_us=sigma, low_us=low_us, high_us=high_us)


def _sources(
    paths: Sequence[Path], chosen: Chosen
) -> tuple[FileSource, FileSource, tuple[FileSource, FileSource] | None]:
    """Reference, off air, and the two markers when there are any."""
    if not 1 <= len(paths) <= 2:
        raise PlanError(
            [
                Problem(
                    "RECORDING",
                    f"{len(paths)} recordings were given",
                    "one or two",
                    code="recordings-number",
                    values={"recordings": len(paths)},
                )
            ]
        )
    files = [channels(path) for path in paths]
    reference = _channel(files[0], chosen.reference_channel, "reference_channel")
    second = 2 if len(files) == 1 else 1
    if chosen.marker_channel is None:
        return reference, _channel(files[-1], chosen.off_air_channel or second, "off_air_channel"), None
    if len(files) == 1:
        raise PlanError(
            [
                Problem(
                    "marker_channel",
                    "one recording needs no marker",
                    "two recordings",
                    code="marker-not-needed",
                    fields=("marker_channel",),
                )
            ]
        )
    off_air = _channel(files[1], chosen.off_air_channel or chosen.reference_channel, "off_air_channel")
    if chosen.marker_channel == chosen.reference_channel:
        what = f"channel {chosen.marker_channel} cannot be marker and signal"
        raise PlanError(
            [
                Problem(
                    "marker_channel",
                    what,
                    "another reference_channel for the signal",
                    code="marker-is-signal",
                    fields=("marker_channel",),
                )
            ]
        )
    first, other = (_channel(f, chosen.marker_channel, "marker_channel") for f in files)
    return reference, off_air, (first, other)


def _channel(file: tuple[FileSource, ...], wanted: int, where: str) -> FileSource:
    """One channel by its number from 1."""
    if not 1 <= wanted <= len(file):
        what = f"{file[0].path.name} has no channel {wanted}"
        raise PlanError(
            [
                Problem(
                    where,
                    what,
                    f"1 to {len(file)}" if len(file) > 1 else "1: it has one channel only",
                    code="no-such-channel",
                    values={"channel": wanted, "channels": len(file)},
                )
            ]
        )
    return file[wanted - 1]


def _refined(
    reference: FileSource, off_air: FileSource, found: Delay, *, marked: bool
) -> tuple[pilot.Refined, pilot.PilotPhase]:
    """The pilot's answer, or a refusal."""
    if marked:
        what = "the pilot's phase cannot be compared between two clocks"
        raise PlanError([Problem(off_air.name, what, "one recorder for both channels", code="clocks-too-far-apart")])
    coarse_us, uncertainty_us = found.delay_us or 0.0, found.uncertainty_us or 0.0
    return pilot.refined(reference, off_air, coarse_us=coarse_us, coarse_uncertainty_us=uncertainty_us)


def _disagrees(off_air: FileSource, refined: pilot.Refined, *, coarse_uncertainty_us: float) -> list[Problem]:
    """A pilot whose delay lies outside the interval of the correlation."""
    reach_us = NORMAL_95 * math.hypot(coarse_uncertainty_us, refined.uncertainty_us)
    if abs(refined.moved_us) <= max(reach_us, _ONE_NANOSECOND_US):
        return []
    what = f"the pilot says {refined.moved_us:+.4f} us more than the correlation, whose interval is +-{reach_us:.4f} us"
    expected = "one site alone, and a pilot that was not made anew: do not use either number before both agree"
    values = {"moved_us": refined.moved_us, "reach_us": reach_us}
    return [Problem(off_air.name, what, expected, "warning", code="pilot-disagrees", values=values)]
