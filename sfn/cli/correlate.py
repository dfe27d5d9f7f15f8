"""Delay between two channels of one recording, or between two recordings.

One recording: its channel 1 is the reference, channel 2 the signal off air. Two recordings: channel 1 of each, begun at
the same instant; or, with --marker-channel, recorders that ran apart: the same marker (a pulse each second, a noise
burst) stands in that channel of both, and their starting times and clocks cancel.

JSON keys: `reference`, `off_air` (file and channel), `weighting`; `delay_us` (positive: off air is later; null when
refused), `uncertainty_us` (one sigma), `low_us`, `high_us` (95 %), `bound_us` (Cramer-Rao at the coherence found);
`refused`; `drift_us_per_s` (= ppm) and `drift_uncertainty_us_per_s`; `dispersion_us` (upper half of the band minus
lower), `misfit_ratio` (phase left over, about 1 for one clean arrival), `inverted`, `coherence_ratio`, `band_low_hz`,
`band_high_hz`, `duration_s`; `peaks` (delay_us, height_ratio; highest first); with --pilot `pilot_delay_us`,
`pilot_uncertainty_us`, `pilot_phase_deg`, `pilot_frequency_hz`, `pilot_cycles`; with --marker-channel
`signal_delay_us`, `marker_delay_us`; `problems` (an error is a refusal, a warning a doubt).
"""

import argparse
import math
from pathlib import Path
from typing import Any

from sfn.cli.table import add_json, print_json
from sfn.errors import PlanError, Problem
from sfn.report.numbers import number
from sfn.survey import pilot
from sfn.survey.correlate import delay, marked_delay
from sfn.survey.recording import FileSource, channels
from sfn.survey.verdict import Delay

NAME = "correlate"
SUMMARY = "delay between two recordings"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("recordings", nargs="+", metavar="RECORDING", help="WAV, FLAC, WAVE64 or RF64; one or two")
    parser.add_argument("--reference-channel", type=int, default=1, metavar="N", help="counted from 1")
    parser.add_argument("--off-air-channel", type=int, metavar="N", help="2 of one recording, 1 of a second one")
    parser.add_argument("--marker-channel", type=int, metavar="N", help="channel of the common marker in both")
    parser.add_argument("--weighting", choices=("ml", "phat"), default="ml", help="maximum likelihood, or phase only")
    parser.add_argument("--expected-us", type=float, default=0.0, help="middle of the search")
    parser.add_argument("--search-us", type=float, default=500_000.0, help="how far to both sides of it")
    parser.add_argument("--low-hz", type=float, default=20.0, help="lowest frequency used")
    parser.add_argument("--high-hz", type=float, help="highest frequency used; default half the rate")
    parser.add_argument("--greatest-drift-us", type=float, default=0.1, help="refuse when the delay moves by more")
    parser.add_argument("--pilot", action="store_true", help="refine by the 19 kHz pilot of an FM composite")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return 0; a refusal is an answer too."""
    options: dict[str, Any] = {
        "weighting": args.weighting,
        "expected_us": args.expected_us,
        "search_us": args.search_us,
        "low_hz": args.low_hz,
        "high_hz": args.high_hz,
    }
    if not args.search_us > 0:
        raise PlanError([Problem("--search-us", f"must be positive, got {args.search_us:g} us", "500000")])
    reference, off_air, markers = _sources(args)
    document: dict[str, Any] = {"reference": reference.name, "off_air": off_air.name}
    if markers is None:
        found = delay(reference, off_air, greatest_drift_us=args.greatest_drift_us, **options)
        document |= answer(found)
    else:
        found, signal, marker = marked_delay(
            (markers[0], reference), (markers[1], off_air), greatest_drift_us=args.greatest_drift_us, **options
        )
        document |= answer(found) | {"signal_delay_us": signal.delay_us, "marker_delay_us": marker.delay_us}
    if args.pilot:
        document |= _pilot(reference, off_air, found, problems=document["problems"], marked=markers is not None)
    if args.json:
        print_json(document)
    else:
        print(text(document))
    return 0


def answer(found: Delay) -> dict[str, Any]:
    """The record as scripts read it."""
    names = (
        "weighting delay_us uncertainty_us low_us high_us bound_us refused drift_us_per_s drift_uncertainty_us_per_s"
        " dispersion_us misfit_ratio inverted coherence_ratio band_low_hz band_high_hz duration_s"
    ).split()
    document = {name: _finite(getattr(found, name)) for name in names}
    document["peaks"] = [{"delay_us": p.delay_us, "height_ratio": p.height_ratio} for p in found.peaks]
    document["problems"] = [p.as_json() for p in found.problems]
    return document


def text(document: dict[str, Any]) -> str:
    """The answer for people."""
    lines = [f"reference  {document['reference']}", f"off air    {document['off_air']}"]
    if document["delay_us"] is None:
        lines.append("delay      refused")
    else:
        half = number(document["high_us"] - document["delay_us"], 4)
        delay_us = number(document["delay_us"], 4, signed=True)
        lines.append(f"delay      {delay_us} us  +-{half} us (95 %)  positive: off air is later")
    if document["coherence_ratio"] is not None:
        band = f"{number(document['band_low_hz'] / 1e3, 2)} to {number(document['band_high_hz'] / 1e3, 2)} kHz"
        coherent = f"coherence {number(document['coherence_ratio'], 3)}, {number(document['duration_s'])} s"
        lines.append(f"band       {band}, {coherent}")
        lines.append(f"drift      {number(document['drift_us_per_s'], 5, signed=True)} us/s")
    if document.get("inverted"):
        lines.append("polarity   inverted")
    if document.get("pilot_delay_us") is not None:
        half = number(1.96 * document["pilot_uncertainty_us"], 4)
        lines.append(f"pilot      {number(document['pilot_delay_us'], 4, signed=True)} us  +-{half} us (95 %)")
    lines += [
        f"arrival    {number(p['delay_us'], 1, signed=True)} us  {number(100 * p['height_ratio'], 0)} % of the highest"
        for p in document["peaks"][1:]
    ]
    lines += [f"{p['severity']}: {p['where']}: {p['what']}; {p['expected']}" for p in document["problems"]]
    return "\n".join(lines)


def _sources(args: argparse.Namespace) -> tuple[FileSource, FileSource, tuple[FileSource, FileSource] | None]:
    """Reference, off air, and the two markers when there are any."""
    if len(args.recordings) > 2:
        raise PlanError([Problem("RECORDING", f"{len(args.recordings)} recordings were given", "one or two")])
    files = [channels(Path(name)) for name in args.recordings]
    reference = _channel(files[0], args.reference_channel, "--reference-channel")
    second = 2 if len(files) == 1 else 1
    if args.marker_channel is None:
        return reference, _channel(files[-1], args.off_air_channel or second, "--off-air-channel"), None
    if len(files) == 1:
        raise PlanError([Problem("--marker-channel", "one recording needs no marker", "two recordings")])
    off_air = _channel(files[1], args.off_air_channel or args.reference_channel, "--off-air-channel")
    if args.marker_channel == args.reference_channel:
        what = f"channel {args.marker_channel} cannot be marker and signal"
        raise PlanError([Problem("--marker-channel", what, "--reference-channel N for the signal's channel")])
    first, other = (_channel(f, args.marker_channel, "--marker-channel") for f in files)
    return reference, off_air, (first, other)


def _channel(file: tuple[FileSource, ...], wanted: int, where: str) -> FileSource:
    """One channel by its number from 1."""
    if not 1 <= wanted <= len(file):
        what = f"{file[0].path.name} has no channel {wanted}"
        raise PlanError([Problem(where, what, f"1 to {len(file)}" if len(file) > 1 else "1: it has one channel only")])
    return file[wanted - 1]


def _pilot(
    reference: FileSource, off_air: FileSource, found: Delay, *, problems: list[dict[str, str]], marked: bool
) -> dict[str, Any]:
    """What the pilot makes of the delay; why not goes to the problems."""
    document: dict[str, Any] = {"pilot_delay_us": None, "pilot_uncertainty_us": None}
    if found.delay_us is None or found.uncertainty_us is None:
        return document
    if marked:
        what = "the pilot's phase cannot be compared between two clocks"
        problems.append(Problem(off_air.name, what, "one recorder for both channels", "warning").as_json())
        return document
    try:
        fine, phase = pilot.refined(
            reference, off_air, coarse_us=found.delay_us, coarse_uncertainty_us=found.uncertainty_us
        )
    except PlanError as error:
        problems += [Problem(p.where, p.what, p.expected, "warning").as_json() for p in error.problems]
        return document
    return {
        "pilot_delay_us": fine.delay_us,
        "pilot_uncertainty_us": fine.uncertainty_us,
        "pilot_phase_deg": phase.phase_deg,
        "pilot_frequency_hz": phase.frequency_hz,
        "pilot_cycles": fine.cycles,
    }


def _finite(value: Any) -> Any:
    """Infinite and missing numbers are null in JSON."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
