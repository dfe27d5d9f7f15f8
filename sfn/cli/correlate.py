"""Delay between two channels of one recording, or between two recordings.

One recording: its channel 1 is the reference, channel 2 the signal off air. Two recordings: channel 1 of each, begun at
the same instant; or, with --marker-channel, recorders that ran apart: the same marker (a pulse each second, a noise
burst) stands in that channel of both, and their starting times and clocks cancel.

JSON keys: `reference`, `off_air` (file and channel), `weighting`; `delay_us` (positive: off air is later; null when
refused), `uncertainty_us` (one sigma), `low_us`, `high_us` (95 %), `bound_us` (Cramer-Rao at the coherence found);
`refused`; `drift_us_per_s` (= ppm) and `drift_uncertainty_us_per_s`; `dispersion_us` (upper half of the band minus
lower), `misfit_ratio` (phase left over, about 1 for one clean arrival; refused above `misfit_limit_ratio`), `kind`
(demodulated: audio or composite), `alone` (as said), `close_arrival_us` (part of `uncertainty_us` for a second arrival
so close or so weak that no demodulated recording shows it: 0.5 of a composite with its difference channel, 3.5 of audio
alone; 0 with --alone), `inverted`, `coherence_ratio`,
`band_low_hz`, `band_high_hz`, `duration_s`; `peaks` (delay_us, height_ratio; highest first); with --pilot (else null)
`pilot_delay_us`, `pilot_uncertainty_us`, `pilot_phase_deg`, `pilot_frequency_hz`, `pilot_cycles`; with
--marker-channel (else null) `signal_delay_us`, `marker_delay_us`; `problems` (errors refuse, warnings doubt).
"""

import argparse
from pathlib import Path
from typing import Any

from sfn.answer.recordings import document
from sfn.cli.table import add_json, print_json, problem_lines
from sfn.report.numbers import number
from sfn.study.recordings import Chosen, measured

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
    parser.add_argument(
        "--alone", action="store_true", help="one site alone arrives: the others are muted, or both came by cable"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return 0; a refusal is an answer too."""
    answer = measured(
        [Path(name) for name in args.recordings],
        chosen=Chosen(args.reference_channel, args.off_air_channel, args.marker_channel),
        weighting=args.weighting,
        expected_us=args.expected_us,
        search_us=args.search_us,
        low_hz=args.low_hz,
        high_hz=args.high_hz,
        greatest_drift_us=args.greatest_drift_us,
        use_pilot=args.pilot,
        alone=args.alone,
    )
    tree = document(answer)
    if args.json:
        print_json(tree)
    else:
        print(text(tree))
    return 0


def text(tree: dict[str, Any]) -> str:
    """The answer for people."""
    lines = [f"reference  {tree['reference']}", f"off air    {tree['off_air']}"]
    if tree["delay_us"] is None:
        lines.append("delay      refused")
    else:
        half = number(tree["high_us"] - tree["delay_us"], 4)
        delay_us = number(tree["delay_us"], 4, signed=True)
        lines.append(f"delay      {delay_us} us  +-{half} us (95 %)  positive: off air is later")
    if tree["delay_us"] is not None and not tree["alone"]:
        lines.append(
            f"of it      +-{number(1.96 * tree['close_arrival_us'], 2)} us for a second arrival too close or too weak"
            " to show after a demodulator; --alone where no other site arrives"
        )
    if tree["coherence_ratio"] is not None:
        band = f"{number(tree['band_low_hz'] / 1e3, 2)} to {number(tree['band_high_hz'] / 1e3, 2)} kHz"
        coherent = f"coherence {number(tree['coherence_ratio'], 3)}, {number(tree['duration_s'])} s"
        lines.append(f"band       {band}, {coherent}")
        lines.append(f"drift      {number(tree['drift_us_per_s'], 5, signed=True)} us/s")
    if tree.get("inverted"):
        lines.append("polarity   inverted")
    if tree.get("pilot_delay_us") is not None:
        half = number(1.96 * tree["pilot_uncertainty_us"], 4)
        lines.append(f"pilot      {number(tree['pilot_delay_us'], 4, signed=True)} us  +-{half} us (95 %)")
    lines += [
        f"arrival    {number(p['delay_us'], 1, signed=True)} us  {number(100 * p['height_ratio'], 0)} % of the highest"
        for p in tree["peaks"][1:]
    ]
    lines += problem_lines(tree["problems"])
    return "\n".join(lines)
