"""What a receiver gets along a road: level, delay difference and quality over distance, the worst stretches, the
blame.

LINE is a GPX track, a GeoJSON LineString, or a CSV file with the columns lat,lon (a log of levels also does). LOG is
a log of measured levels, as `calibrate` reads it.

JSON keys: `network`, `revision` (null for a file), `checksum`, `tried`, `length_m`, `samples_n`, `rx_height_m`,
`smooth_earth`, `smooth_earth_says` (where it lies), `other_transmitters_say` (what is known of other programmes),
`programme` (of FM quality; null: no FM), `classes_by` (the rule that made the classes) and sentences beside them as
in `zones`; `served_m`, `classes` (each `class`,
`code`, `for_people`: the class in words for people, `length_m`, `share_pct`), `risk_served_m` (OFDM: by the strategy
"strongest"), `drawn_served_m` (OFDM: most places served, levels drawn), `unknown_m` (nothing known), `uncovered_m` (a
site's path leaves the terrain); `stretches` without adequate service, the longest loss first: `from_m`, `to_m`,
`lost_m`, `class` (of most of it), `for_people`, `lengths_m` (by class), and of its worst sample `margin_db`, `lat`,
`lon`, `hurts`, `wanted` (the strongest), `second`, `delay_difference_us` and `level_difference_db` (`second` minus
`wanted`), `hurts_delay_us` and `hurts_level_db` (`hurts` minus `wanted`), `worst_class` and `worst_for_people` (its
class, which need not be that of most of the stretch), `nearest`, `away_m`; where something is tried, also
`planned_lost_m` and `planned_margin_db` of the same part; `before` (where something is tried: lengths and `stretches`
of the plan, these with `tried_lost_m` and `tried_margin_db`); `measured` (the log: `stretches_n`, `off_road_n`,
`prediction_minus_measurement_db`, `spread_db`, `stretches`); `samples`: `distance_m`, `lat`, `lon`, `rx_ground_m`,
`covered`, `class`, `for_people`, `quality_margin_db`, `stereo_snr_db` and `mono_snr_db` (FM: worst tenth of phases;
and `share_stereo`, `share_blended`, `share_upset` of listeners) or `cni_db` (OFDM, 8-VSB), `hurts`,
`coverage_probability`, `level_dbuvm`, `strongest`, `second`, `level_difference_db` and `delay_difference_us` (`second`
minus `strongest`), `hurts_level_db` and `hurts_delay_us` (`hurts` minus `strongest`), `signals` (strongest first;
differences are from the strongest); `problems`; `treetops_m`: where treetops and roofs count as bare ground under the
receiver, for no ground cover is known, `treetops_say`: the same in words (null: nowhere).

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals.
"""

import argparse
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from sfn.answer.road_document import document
from sfn.answer.road_files import FORMS, road_file
from sfn.cli.logs import add_log_options, print_origins, reading_arguments
from sfn.cli.table import add_json, print_json, print_problems, print_table, readable_file, say
from sfn.cli.tries import add_tries, tries_argument
from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.field.shift import shift_says
from sfn.reception.classes import class_words, shown_classes
from sfn.report.numbers import number
from sfn.report.stamp import stamp
from sfn.study.road import Road
from sfn.study.road_plan import planned_road
from sfn.study.stretch import Stretch
from sfn.survey.drive_log import read_log
from sfn.survey.track import USUAL_SPACING_M, read_track
from sfn.systems.fm_carried import heard_programme
from sfn.terrain.credits import credits_say, network_credits
from sfn.terrain.ground import open_ground

NAME = "road"
SUMMARY = "reception along a road, and where it is worst"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("line", type=Path, metavar="LINE", help="GPX track, GeoJSON LineString, or CSV lat,lon")
    usual = f"distance of samples ({USUAL_SPACING_M:g})"
    parser.add_argument("--spacing-m", type=float, default=USUAL_SPACING_M, metavar="M", help=usual)
    parser.add_argument("--rx-height-m", type=float, metavar="H", help="antenna above ground (the network's receiver)")
    parser.add_argument("--log", type=Path, metavar="LOG", help="measured levels to hold against the prediction")
    parser.add_argument("--out", type=Path, metavar="FILE", help=f"also write a file: {', '.join(FORMS)} by its ending")
    parser.add_argument("--as-set", action="store_true", help="launches with what is set now")
    add_tries(parser)
    add_log_options(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Work out the road and print it."""
    form = None if args.out is None else args.out.suffix.lower().removeprefix(".")
    if form is not None and form not in FORMS:
        raise PlanError(
            [Problem("--out", f"cannot end in {args.out.suffix!r}", f"one of .{', .'.join(FORMS)}", code="file-ending")]
        )
    network, track = readable_file(args), read_track(args.line)
    folder = args.network.resolve().parent
    whose = network_credits(network, folder=folder, anywhere=True)
    of, how = reading_arguments(args, network)
    log = None if args.log is None else read_log(args.log, sites=of.sites, of=of, how=how)
    made = planned_road(
        network,
        track,
        tries=tries_argument(args),
        spacing_m=args.spacing_m,
        rx_height_m=args.rx_height_m,
        as_set=args.as_set,
        log=log,
        ground=open_ground(network, folder=folder, anywhere=True),
        folder=folder,
        anywhere=True,
    )
    if form is not None:
        by = stamp(
            network, revision=None, made_at=datetime.now(UTC), says=made.found.says, classes=made.found.beside_says,
            credits=whose,
        )  # fmt: skip
        try:
            args.out.write_bytes(road_file(made, form, by))
        except OSError as error:
            raise PlanError(
                [Problem("--out", f"cannot be written ({error.strerror})", "a file that can", code="file-unwritable")]
            ) from None
    if args.json:
        print_json(document(made) | {"credits": credits_say(whose)})
        return 0
    _print(made.found, made.before)
    if made.measured is not None and log is not None:
        print_origins([(log.origin, len(log))])
        log_said = made.measured
        print(
            f"prediction minus measurement {number(log_said.bias_db, signed=True)} dB, spread "
            f"{number(log_said.spread_db)} dB, {log_said.compared_n} stretches; {log_said.off_n} off the road"
        )
    print_problems(made.problems)
    say(credits_say(whose))
    return 0


def _print(found: Road, before: Road | None) -> None:
    """Lengths in each class, and the worst stretches."""
    for said in found.says:
        print(f"TRY: {said}")
    heads = (
        f"reception, {found.says_of_classes.by_words}",
        "km",
        "share %",
        *(() if before is None else ("as planned km",)),
    )
    whole_m = found.samples.length_m
    words = class_words(found.yard.carried)
    names = {site.id: site.name for site in found.network.sites}
    rows = [
        (words[k], number(found.class_m[k] / 1000, 2), number(100 * found.class_m[k] / whole_m, 1), *_was(before, k))
        for k in shown_classes(found.yard.carried)
    ]
    if found.unknown_m:
        rows.append(("not known", number(found.unknown_m / 1000, 2), number(100 * found.unknown_m / whole_m, 1)))
    print_table(heads, rows)
    if found.stretches:
        print()
        print_table(
            (
                "without service, from km",
                "to km",
                "reception, km",
                "hurts there",
                "margin dB",
                "at the worst place, us",
                "near",
            ),
            (
                (
                    number(s.from_m / 1000, 2),
                    number(s.to_m / 1000, 2),
                    ", ".join(f"{word} {number(length_m / 1000, 2)}" for word, length_m in s.lengths),
                    s.other_transmitter or names.get(s.hurts or "", s.worst_for_people),
                    number(s.margin_db),
                    _difference(s, names),
                    f"{s.nearest}, {number(s.away_m / 1000, 1)} km" if s.nearest else "-",
                )
                for s in found.stretches
            ),
        )
    if found.unknown_says:
        print(found.unknown_says)
    if found.uncovered_m > found.unknown_m + 1.0:
        gaps_km = number((found.uncovered_m - found.unknown_m) / 1000, 2)
        print(f"the way runs over a small gap of the terrain that was filled from its rim on {gaps_km} km")
    if corrected := shift_says(found.network):
        print(corrected)
    for said in found.beside_says:
        print(said)
    if heard := heard_programme(found.network):
        print(f"FM quality of {heard}")
    if found.signals.averaged_says:
        print(found.signals.averaged_says)
    if found.signals.smooth:
        print("no terrain: smooth earth")
        if high := smooth_says(found.network):
            print(high)


def _difference(of: Stretch, names: Mapping[str, str]) -> str:
    """Delay difference at the worst place: of what hurts, else of the second strongest, to the strongest."""
    if of.wanted is None or of.second is None:
        return "-"
    who, delay_us = (of.second, of.delay_difference_us)
    if of.hurts is not None and of.hurts_delay_us is not None:
        who, delay_us = (of.hurts, of.hurts_delay_us)
    return f"{names[who]} minus {names[of.wanted]} {number(delay_us, 1, signed=True)}"


def _was(before: Road | None, k: int) -> tuple[str, ...]:
    """Length of a class in the plan."""
    return () if before is None else (number(before.class_m[k] / 1000, 2),)
