"""Timing offsets that serve most: search on real reception, before and after, how sure, what else would help."""

import argparse
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from sfn.answer.optimise import Asked, Optimised, document, held_of, optimise, score_document
from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.errors import PlanError, Problem
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.coverage import coverage, usual_bounds, usual_pixel_m
from sfn.reception.listeners import listeners
from sfn.report.numbers import number
from sfn.solve.objective import Score
from sfn.terrain.ground import open_ground

NAME = "optimise"
SUMMARY = "timing offsets that serve most, before and after"
THREADS_N = 2
LEVERS_SHOWN = 3


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--objective", choices=("people", "area"), help="what is counted (people where they are known)")
    parser.add_argument("--hold", action="append", default=[], metavar="SITE", help="leave this site alone; repeatable")
    parser.add_argument("--max-offset-us", type=float, metavar="US", help="greatest offset (50; OFDM: guard interval)")
    parser.add_argument("--max-move-us", type=float, metavar="US", help="greatest change against the present offset")
    parser.add_argument("--max-changed", type=int, metavar="N", help="how many sites may get another setting")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the search's random tries (1)")
    parser.add_argument("--budget-s", type=float, default=60.0, metavar="S", help="time for the search (60)")
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compute levels, search, print offsets and what they do."""
    _refuse(args)
    network = read_file(args.network)
    placed = place(network)
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    bounds = usual_bounds(placed, ground=ground)
    grid = grid_for(bounds, pixel_m=usual_pixel_m(bounds) if args.pixel_m is None else args.pixel_m)
    heard = listeners(network, grid, folder=args.network.resolve().parent, anywhere=True)
    if args.objective == "people" and heard.people is None:
        raise PlanError([Problem("--objective", heard.said, "listeners in the document, or --objective area")])
    asked = Asked(
        people=None if args.objective == "area" else heard.people,
        held=held_of(args.hold),
        most_us=args.max_offset_us,
        most_move_us=args.max_move_us,
        most_changed=args.max_changed,
        seed=args.seed,
        budget_s=args.budget_s,
    )
    with ThreadPoolExecutor(THREADS_N) as executor:
        computed = coverage(network, grid, placed=placed, ground=ground, executor=executor)
        found = optimise(network, computed, asked, placed=placed, executor=executor)
    answer = document(found) | {"seed": args.seed, "pixel_m": grid.pixel_m, "smooth_earth": computed.smooth}
    if args.json:
        print_json(answer)
        return 0
    _print(found)
    print_problems(found.delays.problems)
    return 0


def _refuse(args: argparse.Namespace) -> None:
    """Arguments that cannot be used."""
    wrong = []
    for name, value in (("--max-offset-us", args.max_offset_us), ("--max-move-us", args.max_move_us)):
        if value is not None and not 0 <= value <= 100_000:
            wrong.append(Problem(name, f"cannot be {value!r}", "0 to 100 000 us"))
    if not 0 < args.budget_s <= 86_400:
        wrong.append(Problem("--budget-s", f"cannot be {args.budget_s!r}", "above 0, at most 86 400 s"))
    if args.seed < 0:
        wrong.append(Problem("--seed", f"cannot be {args.seed}", "0 or more"))
    if args.max_changed is not None and args.max_changed < 0:
        wrong.append(Problem("--max-changed", f"cannot be {args.max_changed}", "0 or more sites"))
    if wrong:
        raise PlanError(wrong)


def _print(found: Optimised) -> None:
    """Offsets, before and after, sensitivity, levers."""
    names = {site.id: site.name for site in found.network.sites}
    rows = [
        (
            names[site.id],
            number(site.offset_us, 1, signed=True),
            number(found.offsets_us[site.id], 1, signed=True),
            ", ".join(f"{f.name} {f.value:g} {f.unit}" for f in found.table.row(site.id, site.chains[0].route).fields),
        )
        for site in found.network.sites
    ]
    print_table(("site", "offset now, us", "found, us", "setting"), rows)
    unit = found.what.unit
    print()
    print_table(
        ("", f"no adequate service, {unit}", f"below target, {unit}", "mean margin, dB"),
        [("before", *_figures(found.before.score)), ("after", *_figures(found.after.score))],
    )
    lost, gained = (number(found.moved_weight(gained=g), 1) for g in (False, True))
    print(f"\ngain adequate service: {gained} {unit}; lose it: {lost} {unit}")
    print(f"no offsets can do better than {number(found.bound, 1)} {unit} without service (lower bound)")
    print(f"search ended: {found.found.ended}, {found.found.tried} tried in {number(found.found.seconds_s, 1)} s")
    for lever in found.levers[:LEVERS_SHOWN]:
        if lever.gain > 0:
            print(f"besides delay: {names[lever.site]} {lever.change} would serve {number(lever.gain, 1)} {unit} more")
    if not sys.stdout.isatty():
        return
    print("nothing is changed: save the offsets in the document to apply them")


def _figures(score: Score) -> tuple[str, str, str]:
    """A score for people."""
    figures = score_document(score)
    return (
        number(figures["without_service"], 1),
        number(figures["below_target"], 1),
        number(figures["mean_margin_db"], 2, signed=True),
    )
