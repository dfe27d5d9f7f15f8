"""Every path of a known composite in a recording of I and Q, each with its delay, level and 95 % interval.

RECORDING: two channels, I and Q (WAV, FLAC, WAVE64, RF64), or SigMF (`.sigmf-meta` beside `.sigmf-data`), 200,000
samples a second or more, the carrier near its middle; its first 10 s are used. REFERENCE: the composite that was on
air. Delays are absolute only where both began at the same instant and ran on one clock; differences hold always.

JSON keys: `recording`, `reference`, `kind` (iq); `arrivals`, the earliest first: `delay_us` (positive: later than the
reference), `low_us`, `high_us` (95 %), `uncertainty_us` (one sigma), `hidden_us` (part of it for a path too close to
show), `after_strongest_us`, `level_db` (beside the strongest), `level_uncertainty_db` (one sigma: noise, misfit or
scatter, the delays' errors, and `level_hidden_db`, its part for a path 20 dB weaker that is too close to show, beside
this one or the strongest; one as strong, in the same place, is in the level and not in its interval, but where
`parted` is false), `resolution_us` (a path as strong that is nearer does not show), `parted` (true: parted from all
that is listed; a path within the resolution of another is not seen; false: signs of several, too close to part, listed
as one), `site` and `alternatives` (with --network and --at); `resolution` beside the strongest path (`level_db`,
`resolution_us`);
`carrier_hz` (off the middle), `deviation_khz` (of full scale, as found), `drift_us_per_s` (= ppm between the clocks),
`snr_db`, `misfit_ratio` (about 1; above 5 a doubt, which stands in each row's column `doubt`), `duration_s`, `at_s`
(when the delays hold), `unheard` (sites), `measurements_head` and `measurements` (rows that `reconcile` takes; those of
one recording share the column `response`), `problems`.
"""

import argparse
from pathlib import Path
from typing import Any

from sfn.answer.arrivals import document
from sfn.cli.table import add_json, place_argument, print_json, problem_lines, readable_file
from sfn.errors import PlanError, Problem
from sfn.report.numbers import number
from sfn.study.arrivals import arrivals
from sfn.survey.verdict import NORMAL_95
from sfn.terrain.ground import open_ground

NAME = "arrivals"
SUMMARY = "every site's arrival in one I/Q recording"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("recording", type=Path, metavar="RECORDING", help="I and Q: two channels, or SigMF")
    parser.add_argument("reference", type=Path, metavar="REFERENCE", help="the composite that was on air")
    parser.add_argument(
        "--deviation-khz", type=float, required=True, metavar="D", help="deviation that full scale of REFERENCE makes"
    )
    parser.add_argument("--reference-channel", type=int, default=1, metavar="N", help="counted from 1")
    parser.add_argument("--search-us", type=float, default=500_000.0, help="how far the beginnings may lie apart")
    parser.add_argument("--spread-us", type=float, default=150.0, help="how far paths lie from what is heard best")
    parser.add_argument("--network", type=Path, metavar="NETWORK", help="give paths to its sites; with --at")
    parser.add_argument("--at", metavar="LAT,LON", help="where it was recorded, decimal degrees on WGS84")
    parser.add_argument(
        "--launch-uncertainty-us", type=float, default=2.0, help="uncertainty of the launches against the plan"
    )
    parser.add_argument("--as-set", action="store_true", help="launches with what is set now")
    parser.add_argument("--when", default="", help="when it was recorded, for the rows: 2026-11-20T09:00:00Z")
    parser.add_argument("--by", default="", help="who recorded it, for the rows")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Measure, print, and return 0."""
    if (args.network is None) != (args.at is None):
        missing = "--at" if args.at is None else "--network"
        raise PlanError([Problem(missing, "is missing", "--network and --at together, or neither", code="half-told")])
    network = readable_file(args) if args.network else None
    answer = arrivals(
        args.recording,
        args.reference,
        deviation_khz=args.deviation_khz,
        reference_channel=args.reference_channel,
        search_us=args.search_us,
        spread_us=args.spread_us,
        network=network,
        at=place_argument(args.at) if args.at else None,
        launch_uncertainty_us=args.launch_uncertainty_us,
        as_set=args.as_set,
        when=args.when,
        by=args.by,
        ground=None if network is None else open_ground(network, folder=args.network.resolve().parent, anywhere=True),
    )
    tree = document(answer)
    if args.json:
        print_json(tree)
    else:
        print(text(tree))
    return 0


def text(tree: dict[str, Any]) -> str:
    """The answer for people."""
    lines = [f"I and Q    {tree['recording']}", f"reference  {tree['reference']}"]
    for one in tree["arrivals"]:
        half = number(one["high_us"] - one["delay_us"], 3)
        after = number(one["after_strongest_us"], 3, signed=True)
        site = f"  {one['site']}" if one["site"] else ""
        unsure = f" (or {', '.join(str(s) for s in one['alternatives'])})" if one["alternatives"] else ""
        parted = "" if one["parted"] else "  several, too close to part"
        beside = number(one["level_db"], 1)
        if one["level_uncertainty_db"] > 0:
            beside += f" +-{number(NORMAL_95 * one['level_uncertainty_db'], 1)}"
        lines.append(
            f"arrival    {number(one['delay_us'], 3, signed=True)} us +-{half} us (95 %), {after} us after the"
            f" strongest, {beside} dB{parted}{site}{unsure}"
        )
    told = [
        f"{number(r['resolution_us'], 2)} us at {number(r['level_db'], 0)} dB"
        for r in tree["resolution"]
        if r["resolution_us"] is not None
    ]
    lines.append(f"resolution {', '.join(told) or 'none'}: beside the strongest, nearer paths are not parted")
    lines.append(
        f"recording  {number(tree['snr_db'], 0)} dB over noise, carrier {number(tree['carrier_hz'], 0, signed=True)}"
        f" Hz, deviation {number(tree['deviation_khz'], 2)} kHz,"
        f" clocks {number(tree['drift_us_per_s'], 3, signed=True)} ppm, misfit {number(tree['misfit_ratio'], 1)}"
    )
    if tree["measurements"]:
        lines += ["", tree["measurements_head"], *tree["measurements"]]
    lines += problem_lines(tree["problems"])
    return "\n".join(lines)
