"""Runs of one road at several settings, laid side by side over distance, and which setting was best where.

Each --run US:LOG names a setting in us and a log (as `calibrate` reads it; besides levels it may hold mark, 1 to 5,
quality_db and remark). Runs are of one road where half of the shorter track lies on the other; each road is answered
by itself.

JSON keys: `network`, `stretch_m`; `routes`: each `runs` (`log`, `setting_us`), `moved`, `settings_us`, and in their
order `best_share_pct`, `lowest_mark`, `served_pct` (one of the plan alone without --moved); `parts` (`from_m`, `to_m`,
`best_us` or null), `remarks` (`distance_m`, `setting_us`, `text`), `stretches` (`distance_m`, `lat`, `lon`; a value a
setting: `level_dbuvm`, `mark`, `quality_db`; `best_us`; of the plan `strongest`, `second`, `level_difference_db` and
`delay_difference_us` (second minus strongest), `predicted_dbuvm`); `logs`: each `log`, `lines_n`, `used_n`,
`other_channels_n`, `skipped_n`, `skipped` (`line`, `why`), `read_as`; `problems`.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals.
"""

import argparse
from pathlib import Path

from sfn.answer.driven import document
from sfn.cli.logs import add_log_options, print_origins, reading_arguments
from sfn.cli.table import add_json, print_json, print_problems, print_table, readable_file
from sfn.errors import PlanError, Problem
from sfn.report.numbers import number
from sfn.study.driven import DrivenRoutes, driven_routes
from sfn.survey.runs import read_run
from sfn.terrain.ground import open_ground

NAME = "runs"
SUMMARY = "drives of one road at several settings, side by side"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument(
        "--run", dest="runs", action="append", required=True, metavar="US:LOG", help="a setting in us, and its log"
    )
    parser.add_argument("--moved", metavar="SITE", help="the site that was set later than planned by each setting")
    parser.add_argument("--stretch-m", type=float, default=100.0, metavar="M", help="road taken together (100)")
    add_log_options(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Lay side by side and print."""
    network = readable_file(args)
    of, how = reading_arguments(args, network)
    read = [read_run(path, setting_us=us, of=of, how=how) for us, path in map(_setting_and_log, args.runs)]
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    answer = driven_routes(network, read, moved=args.moved, stretch_m=args.stretch_m, ground=ground)
    if args.json:
        print_json(document(answer, network))
    else:
        _print(answer)
    return 0


def _setting_and_log(text: str) -> tuple[float, str]:
    """Both halves of what was typed."""
    setting, _, path = text.partition(":")
    try:
        return float(setting), path
    except ValueError:
        what = f"{text!r} is no setting and log"
        raise PlanError([Problem("--run", what, "US:LOG, as -2:night.csv", code="not-a-number")]) from None


def _print(answer: DrivenRoutes) -> None:
    """Each road: what was best where."""
    for one in answer.routes:
        print_origins([(each.origin, len(each.lat_deg)) for each in one.runs])
        settings = one.found.settings_us
        served = one.served_pct if one.moved else [None] * len(settings)
        rows = zip(settings, one.found.best_share_pct, one.found.lowest_mark, served, strict=True)
        print_table(
            ("setting us", "best on %", "lowest mark", "predicted to be served %"),
            ((number(s, 1, signed=True), number(b, 0), number(m, 0), number(p, 0)) for s, b, m, p in rows),
        )
        print_table(
            ("from km", "to km", "best setting us"),
            (
                (
                    number(p.from_m / 1000, 2),
                    number(p.to_m / 1000, 2),
                    "none stands out" if p.best_us is None else number(p.best_us, 1, signed=True),
                )
                for p in one.found.parts
            ),
        )
        for remark in one.found.remarks:
            at_km, setting = number(remark.distance_m / 1000, 2), number(remark.setting_us, 1, signed=True)
            print(f"{at_km} km at {setting} us: {remark.text}")
        print_problems(one.found.problems)
    print_problems(answer.problems)
