"""How sure what a network serves is: in drawn worlds of levels and launches, beside other plans, what to measure first.

JSON keys: `network`, `unit`, `counted`, `people_said`, `left_out_sites`, `pixel_m`,
`smooth_earth`, `smooth_earth_says`, `terrain_averaged`, `treetops_say`, `level_shifts`, `credits`; `classes_by`,
the rule by which served is judged, as predicted and in every world (quick estimate; 8-VSB: median levels), in words
`classes_say`, with the sentences of `zones` about classes (`class_rule`, `not_judged`, `levels_spread_say`,
`receiver_window`, `listeners_say`, `usable_says`, `significant_says`, `worse_says`; null: nothing to say); `worlds`,
`worlds_seed`, `worlds_ended`, `worlds_model` (`sigma_db`, `sigma_says`, `whole_db`: alike over a site's area,
`decorrelation_m`, `site_correlation`, `cosited_correlation`), `worlds_say`; `measured` (null without `--measured`):
`stretches_n`, `used_n`, `outside_n`, `untold_n`, `values_n` by site and pixel of `values_before_thinning_n`, `sites` by
name, `spread_before_db`, `spread_after_db` (of levels, over the places that count), `shift_db`, `meter_db`, `problems`
(what of the logs was left out, as in `check`);
`today_sure` and, each with `name`, `plans`: `people_p5`, `people_p20`, `people_p50`, `people_p95`, `people_mean` (null
where area is counted), `served_p5` (served at least with 95 % of the chances), `served_p20`, `served_p50`,
`served_p95`, `served_mean`,
standard errors `served_p5_error`, `served_p50_error`, `served_p95_error`, `served_as_predicted`, `better_than_today`
(share of the worlds) with `better_than_today_error`, `unknowns_looked_at`, `unknowns`: the three that matter most, each
with `kind`, `of`, `says`, `share_alone` (of the variance, gone once it alone is known) and `share_in_all` (left once
all else is known), with `share_alone_error` and `share_in_all_error`.
"""

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from sfn.cli.logs import add_log_options, print_origins, reading_arguments
from sfn.cli.progress import progress_teller
from sfn.cli.table import add_json, print_json, print_problems, print_table, say_left_out
from sfn.library.how_sure import SureAnswer, how_sure
from sfn.library.opened import Opened, load
from sfn.reception.level_seen import METER_DB
from sfn.report.numbers import number
from sfn.study.calibrated import Calibrated, calibrated
from sfn.study.how_sure import SHOWN_N, USUAL_WORLDS_N, AskedSure
from sfn.study.sure_figures import Sure
from sfn.survey.drive_log import read_log

NAME = "sure"
SUMMARY = "how sure what is served is, in drawn worlds, and what to measure first"
WORLDS = ("worlds", "sigma_db", "whole_db", "decorrelation_m", "site_correlation")
"""Options of drawn worlds."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON): today's")
    parser.add_argument(
        "--plan", type=Path, action="append", default=[], metavar="NETWORK",
        help="another document of the same sites, looked at in the same worlds; repeatable",
    )  # fmt: skip
    parser.add_argument("--objective", choices=("people", "area"), help="what is counted (people where they are known)")
    add_world_options(parser, seed=True)
    add_measured_options(parser)
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    add_json(parser)


def add_measured_options(parser: argparse.ArgumentParser, *, beside: str = "") -> None:
    """Drive tests that the worlds agree with, and how they are read."""
    parser.add_argument(
        "--measured", type=Path, action="append", default=[], metavar="LOG",
        help=f"drive test (as for calibrate): only worlds that agree with it are drawn; repeatable{beside}",
    )  # fmt: skip
    parser.add_argument("--alone", metavar="SITE", help="the site on air alone, where a log does not say")
    parser.add_argument("--stretch-m", type=float, default=100.0, metavar="M", help="road taken together (100)")
    parser.add_argument("--dominance-db", type=float, default=10.0, metavar="DB", help="told from others by (10)")
    parser.add_argument("--rx-height-m", type=float, metavar="H", help="antenna of the drive test above ground")
    parser.add_argument(
        "--meter-db", type=float, default=METER_DB, metavar="DB",
        help="what its receiver is off by all along (1.5: common practice, from memory)",
    )  # fmt: skip
    add_log_options(parser)


def add_world_options(parser: argparse.ArgumentParser, *, seed: bool, beside: str = "") -> None:
    """How many worlds, and how far figures may be off in them."""
    parser.add_argument("--worlds", type=int, metavar="N", help=f"drawn worlds ({USUAL_WORLDS_N}{beside})")
    parser.add_argument(
        "--sigma-db", type=float, metavar="DB",
        help="spread of predicted levels (7 over terrain, 10 over a smooth earth, from memory; more indoors)",
    )  # fmt: skip
    parser.add_argument("--whole-db", type=float, metavar="DB", help="part of it alike over a site's whole area (3)")
    parser.add_argument(
        "--decorrelation-m", type=float, metavar="M", help="distance over which the rest falls to 1/e (500)"
    )
    parser.add_argument(
        "--site-correlation", type=float, metavar="R", help="of two sites' levels at a place (the document's, or 0.5)"
    )
    if seed:
        parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the worlds: the same, the same (1)")


def worlds_asked(args: argparse.Namespace) -> AskedSure:
    """The options as they are taken."""
    given: dict[str, Any] = {
        "worlds_n": args.worlds, "sigma_db": args.sigma_db, "whole_db": args.whole_db,
        "distance_m": args.decorrelation_m, "site_correlation_ratio": args.site_correlation, "seed": args.seed,
    }  # fmt: skip
    return AskedSure(**{name: value for name, value in given.items() if value is not None})


def run(args: argparse.Namespace) -> int:
    """Compute levels, draw worlds, print percentiles and what matters most."""
    network = load(args.network, own_services=args.own_services)
    say_left_out(network.readable, args)
    plans = [(path.name, load(path, own_services=args.own_services)) for path in args.plan]
    asked = worlds_measured(args, network)
    answer = how_sure(
        network, plans, asked=asked, objective=args.objective, pixel_m=args.pixel_m, progress=progress_teller()
    )
    if args.json:
        print_json(answer.document)
    else:
        _print(answer)
    return 0


def worlds_measured(args: argparse.Namespace, network: Opened) -> AskedSure:
    """The worlds asked for, with the drive tests that they agree with.

    Raises
    ------
    PlanError
        If a log leaves something open or cannot be used.
    """
    return replace(worlds_asked(args), meter_db=args.meter_db, measured=_measured(args, network))


def _measured(args: argparse.Namespace, network: Opened) -> Calibrated | None:
    """Drive tests beside the network's levels; None where none is given."""
    if not args.measured:
        return None
    of, how = reading_arguments(args, network.readable)
    found = calibrated(
        network.readable, [read_log(path, sites=of.sites, of=of, how=how) for path in args.measured], alone=args.alone,
        stretch_m=args.stretch_m, dominance_db=args.dominance_db, rx_height_m=args.rx_height_m, ground=network.ground,
    )  # fmt: skip
    if not args.json:
        print_origins(found.origins)
        print_problems(tuple(p for origin, _ in found.origins for p in origin.problems))
    return found


def _print(answer: SureAnswer) -> None:
    """For people."""
    print(f"people: {answer.listeners.said}")
    for said in (*answer.says, *answer.found.beside.lines):
        print(said)
    found, names = answer.found, ("as it is", *answer.names)
    print(f"served {found.beside.by_words}, of {number(answer.counted, 1)} {answer.unit}:")
    print_sure_table(names, found.plans)
    for name, one in zip(names, found.plans, strict=True):
        print(f"\n{name}, what to measure first:")
        print_unknowns(one)
    print()
    for said in found.says:
        print(f"doubt: {said}")


def print_sure_table(names: tuple[str, ...], plans: tuple[Sure, ...]) -> None:
    """Percentiles and chances, a plan a line."""
    rows = []
    for name, one in zip(names, plans, strict=True):
        three = (one.p5, one.p5_error), (one.p50, one.p50_error), (one.p95, one.p95_error)
        better = "-" if one.better is None or one.better_error is None else _share(one.better, one.better_error)
        shown = (f"{number(value, 0)} +-{number(error, 0)}" for value, error in three)
        rows.append((name, number(one.nominal, 0), *shown, number(one.mean, 0), better))
    heads = ("plan", "as predicted", "5 %", "50 %", "95 %", "mean", "better than as it is")
    print_table(heads, rows)


def print_unknowns(one: Sure) -> None:
    """The three that matter most."""
    for what in one.unknowns[:SHOWN_N]:
        alone, in_all = _share(what.alone, what.alone_error), _share(what.in_all, what.in_all_error)
        print(f"  {what.says}: {alone} of the variance goes once it is known; {in_all} stays once all else is")
    if not one.unknowns:
        print("  nothing that is drawn changes what is served")


def _share(value: float, error: float) -> str:
    """A share in percent, with its standard error."""
    return f"{100 * max(value, 0.0):.0f} +-{100 * error:.0f} %"
