"""Where a new transmitter would serve most people more, net of the self-interference it makes: masts, or high ground.

JSON keys: `network`, `objective`, `unit`, `weights`, `counted`, `served_now`, `left_out_sites` as in `optimise
--vary`; `before` and each mast's `after`: without_service, below_target, mean_margin_db (as weighed),
without_service_people, without_service_km2, classes (each with class, code, area_km2, people); `common_delay_us` (held
for all figures); `how_found` (in words: how the places were found, and what was left out); `masts`, the one that
serves most first, each with `rank`, `name`, `site` (id it would have), `position` (text, crs or easting and northing,
as documents have it), `lat_deg`, `lon_deg`, `ground_m`, `antenna_m`, `erp_kw` (h, v), `like` (site whose device it
would have), `pattern` (id of the site whose pattern is best; -: none), `azimuth_deg` (from true north; null: alike all
round), `offset_us` and `launch_us` (best of those its device can make), `feed_us` (latency to its antenna, as given;
null: not known), `added_us` (what its device must add) and `settings` (each with name, value, unit), null and empty
where its feed is not known; `served`, `gain` = `gained` - `lost` (as weighed), `gained_people`, `lost_people`,
`gained_km2`, `lost_km2`, `lost_to` (by class what those who lose have instead), `not_judged` (served now; with it the
terrain has a gap on the way), `sampling` (what the map's places leave open of the gain), `within_sampling`,
`more_than_next` with `more_than_next_sampling` (the same of the difference to the next in the list),
`better_than_next` (share of the drawn worlds; null: not drawn), `places_that_lose`, `places_that_gain`,
`areas_that_lose` as in `optimise` (name, people, nearest, away_m, margin_before_db, margin_after_db), `reaches_out_of`
(licence contours of the document for every site, each with licence, outside_km2), `ways` (looked at with every offset,
the best first, each with pattern, azimuth_deg, offset_us, launch_us, without_service), `directions_compared`, `says`
(its doubts). Beside them `not_looked_at` (each with name, code, why), `azimuth_step_deg`, `caution`, `doubts`,
`rests_on`, `classes_by`, `ended` (all, cancelled), `places_compared` (places on which directions were compared) of
`places`, `people_said`, `pixel_m`, `smooth_earth`, `smooth_earth_says`, `terrain_averaged`, `treetops_say`,
`level_shifts`, `credits`.
Unless --worlds 0 the first four are drawn in the same worlds (words in the help of `sure`): each has people_p5,
people_p20, people_p50, people_p95, people_mean, served_p5, served_p20, served_p50, served_p95, served_mean,
served_p5_error, served_p50_error, served_p95_error, served_as_predicted, better_than_today, better_than_today_error,
unknowns_looked_at (0) and unknowns (none), and beside them stand `today_sure`, `worlds`, `worlds_seed`, `worlds_ended`,
`worlds_say`, `measured` (as in `sure`; null without --measured) and `worlds_model` (sigma_db, sigma_says, whole_db,
decorrelation_m, site_correlation, cosited_correlation). Sites on air stay as they are planned. Figures are predicted
medians. Ctrl-C once ends the search and keeps what was looked at.
"""

import argparse
import os
from dataclasses import replace
from pathlib import Path

from sfn.answer.site_files import read_sites
from sfn.cli.plan_options import measured_idle, stopped_by_hand
from sfn.cli.progress import progress_teller
from sfn.cli.sure import add_measured_options, add_world_options, print_sure_table, worlds_measured
from sfn.cli.table import add_json, print_json, print_table, say, say_left_out
from sfn.country.shelf import FOLDER, Shelf
from sfn.country.sources import data_folder
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.library.opened import load
from sfn.library.placing import PlacingAnswer, placing
from sfn.plan.sheets import content_of
from sfn.reception.reach import bounds_to_the_edge
from sfn.report.numbers import number, us
from sfn.study.high_ground import USUAL_APART_M, USUAL_MASTS_N
from sfn.study.lever_try import ALL_ROUND
from sfn.study.mast_table import TEMPLATE
from sfn.study.place_lists import fetched_names
from sfn.study.placing_asked import AskedMasts
from sfn.study.placing_found import PLACING_CAUTION, USUAL_AZIMUTH_STEP_DEG, Placed, Placing

NAME = "placing"
SUMMARY = "where a new transmitter would serve most people more: masts of a list, or high ground"
HIGH = ("near", "within_km", "apart_km", "most")
"""Options that mean nothing without ``--high-ground``."""
PLACES_SHOWN = 4


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    columns = TEMPLATE.splitlines()[0]
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument(
        "--masts", type=Path, metavar="FILE",
        help=f"masts (CSV, XLSX, GeoJSON) with the columns {columns}, also ground_m, erp_h_kw and erp_v_kw",
    )  # fmt: skip
    parser.add_argument("--high-ground", action="store_true", help="look for high ground on the map instead")
    parser.add_argument("--near", metavar="PLACE", help="that sees this place: position, site, counted or fetched name")
    parser.add_argument("--within-km", type=float, metavar="KM", help="within this distance of it (all over the map)")
    parser.add_argument(
        "--apart-km", type=float, metavar="KM", help=f"least distance between two ({USUAL_APART_M / 1000:g})"
    )
    parser.add_argument("--most", type=int, metavar="N", help=f"how many, those that see most ({USUAL_MASTS_N})")
    parser.add_argument("--antenna-m", type=float, metavar="M", help="antenna above ground, of masts without their own")
    parser.add_argument("--erp-kw", type=float, metavar="KW", help="e.r.p. of the stronger plane, the same")
    parser.add_argument("--like", default="", metavar="SITE", help="site whose device it would have (the nearest)")
    parser.add_argument("--patterns", metavar="SITES", help="sites whose pattern is tried, - for none (all that have)")
    parser.add_argument(
        "--azimuth-step-deg", type=float, default=USUAL_AZIMUTH_STEP_DEG, metavar="DEG",
        help=f"from one direction of a pattern to the next ({USUAL_AZIMUTH_STEP_DEG:g})",
    )  # fmt: skip
    parser.add_argument("--max-offset-us", type=float, metavar="US", help="greatest offset (50; OFDM: guard interval)")
    parser.add_argument("--objective", choices=("people", "area"), help="what is counted (people where they are known)")
    add_world_options(parser, seed=True, beside="; 0: none")
    add_measured_options(parser)
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compute levels, look at every place, print the list."""
    _refuse_idle(args)
    plan = load(args.network, own_services=args.own_services)
    say_left_out(plan.readable, args)
    table = None
    if args.masts is not None:
        content = content_of(args.masts, expected="a CSV, XLSX or GeoJSON file of masts")
        table = read_sites(content, source=args.masts.name)
    asked = AskedMasts(table, args.antenna_m, args.erp_kw, args.near or "", like=args.like)
    if args.near:
        network = plan.readable
        bounds = bounds_to_the_edge(network, placed_sites(network).at, ground=plan.ground)
        fetched = fetched_names(Shelf(data_folder(os.environ) / FOLDER), bounds_deg=bounds)
        asked = replace(asked, names=(fetched,) if fetched.places else ())
    if args.within_km is not None:
        asked = replace(asked, within_m=1000.0 * args.within_km)
    if args.apart_km is not None:
        asked = replace(asked, apart_m=1000.0 * args.apart_km)
    if args.most is not None:
        asked = replace(asked, most_n=args.most)
    patterns = None
    if args.patterns is not None:
        patterns = tuple(one.strip() for one in args.patterns.split(",") if one.strip())
    with stopped_by_hand() as stopped:
        answer = placing(
            plan, asked, patterns=patterns, azimuth_step_deg=args.azimuth_step_deg, objective=args.objective,
            max_offset_us=args.max_offset_us, pixel_m=args.pixel_m,
            sure=None if args.worlds == 0 else worlds_measured(args, plan), progress=progress_teller(),
            cancelled=stopped,
        )  # fmt: skip
    if args.json:
        print_json(answer.document)
        return 0
    _print(answer)
    say(answer.credits_say)
    return 0


def _refuse_idle(args: argparse.Namespace) -> None:
    """Neither or both ways to say where, and options that would do nothing."""
    wrong = []
    if (args.masts is None) == (not args.high_ground):
        what = "stands beside --high-ground" if args.high_ground else "is missing, and so is --high-ground"
        wrong.append(Problem("--masts", what, "one of the two", code="option-idle"))
    for name in HIGH if args.masts is not None else ():
        if getattr(args, name) is not None:
            option = f"--{name.replace('_', '-')}"
            expected = f"--high-ground, or no {option}"
            wrong.append(Problem(option, "does nothing with --masts", expected, code="option-idle"))
    wrong += measured_idle(args)
    if wrong:
        raise PlanError(wrong)


def _print(answer: PlacingAnswer) -> None:
    """All of it, for people."""
    found = answer.found
    unit = found.what.unit
    print(f"people: {answer.listeners.said}")
    for said in (*found.rests_on, *(f"found: {one}" for one in found.said)):
        print(said)
    for line in () if found.asked.counted.weights is None else found.asked.counted.weights.said:
        print(f"weighed: {line}")
    served = found.counted - found.before.score.without_service
    by = found.beside.by_words
    print(f"served as planned, {by}: {number(served, 1)} of {number(found.counted, 1)} {unit}\n")
    rows = []
    for k, one in enumerate(found.masts):
        apart, better = found.apart(k), found.better(k)
        rows.append(
            (
                str(k + 1), one.mast.name, number(one.gain, 1, signed=True), number(one.gained, 1),
                number(one.lost, 1), us(one.best.offset_us, 2, signed=True), _way(found, one),
                "-" if apart is None else f"{number(apart[0], 1)} +-{number(apart[1], 1)}",
                "-" if better is None else f"{100 * better:.0f} %",
            )
        )  # fmt: skip
    if rows:
        many = ("offset", "pattern", "more than next", "better in worlds")
        heads = ("place", "", f"more, {unit}", "gain it", "lose it", *many)
        print_table(heads, rows)
    if found.sure is not None:
        print(f"\nin drawn worlds, served {by}:")
        names = ("as planned", *(one.mast.name for one in found.masts[: len(found.sure.plans) - 1]))
        print_sure_table(names, found.sure.plans)
    for k, one in enumerate(found.masts):
        _print_mast(found, k, one)
    print()
    for left in found.left:
        print(f"not looked at: {left.name}: {left.why}")
    for said in found.doubts:
        print(f"doubt: {said}")
    print(f"caution: {PLACING_CAUTION}")
    print("nothing is changed: this is advice on where to ask")


def _way(found: Placing, one: Placed) -> str:
    """A pattern and where it points."""
    if one.best.pattern == ALL_ROUND:
        return "none"
    names = {site.id: site.name for site in found.network.sites}
    towards = "" if one.best.azimuth_deg is None else f" at {one.best.azimuth_deg:g} degrees"
    return f"{names[one.best.pattern]}{towards}"


def _print_mast(found: Placing, k: int, one: Placed) -> None:
    """One place."""
    mast = one.mast
    print(f"\n{k + 1}. {mast.name}, {mast.at.lat_deg:.5f} {mast.at.lon_deg:.5f}:")
    launch = f"launch {us(one.best.launch_us, 4)}, offset {us(one.best.offset_us, 4, signed=True)}"
    added = "" if one.added_us is None else f"; its device adds {us(one.added_us, 4)}"
    print(f"  {launch}{added}")
    for word, some in (
        ("gains", [place for place in reversed(one.places) if not place.loses and place.gained_people >= 1]),
        ("loses", [place for place in one.places if place.loses]),
    ):
        for place in some[:PLACES_SHOWN]:
            people = number(place.gained_people - place.lost_people, 0, signed=True)
            was, then = (number(m, 1, signed=True) for m in (place.margin_before_db, place.margin_after_db))
            print(f"  {word}: {place.name}, {people} people, margin {was}, then {then} dB")
        if len(some) > PLACES_SHOWN:
            print(f"  and {len(some) - PLACES_SHOWN} more: --json names them all")
    for name, km2 in one.beyond:
        print(f"  ask the licence: it would reach {number(km2, 1)} km2 out of {name}")
    for said in found.says(k):
        print(f"  doubt: {said}")
