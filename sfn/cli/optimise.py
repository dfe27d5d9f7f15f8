"""Timing offsets that serve most: search on real reception, before and after, how sure, what else would help.

JSON keys: `network`, `objective` (people or area), `unit` (people or km2), `weights` (in words), `counted` (all of
it), `left_out_km2`, `left_out_people` (not covered by the terrain); `before` and `after`, each with without_service,
below_target, mean_margin_db (as weighed), without_service_people (null: not known), without_service_km2, classes
(each with class, code, people, area_km2); `served_gain_pct` of what was served; `offsets` by site, us, as planned
(limits hold for these: a device rounds by up to half its step); `changed` (sites of which a device gets another
setting) and `devices`, each with site, changes, by_offsets (the new plan sets it otherwise than the saved one: what
--max-changed counts) and against (what it was compared with: what is set now, where that is told; else the saved
plan; the night before), in words `changed_says`; `relays` (what may end the signal of a site fed off air or lead it
astray, as problems: every figure counts on that signal), `common_delay_held_us` (the plan fixes the common delay
there, so that no others change; null: as before), `nothing_to_find` (why, in words, or null); `settings` and
`problems` as in `delays`; `gained`, `gained_people`, `gained_km2`, `lost`, `lost_people`, `lost_km2`;
`places_that_lose`, `places_that_gain`, each with name, lat_deg, lon_deg, people, gained_people, lost_people,
margin_before_db, margin_after_db; `areas_that_lose`, each with lat_deg, lon_deg, lost, nearest (site or place),
away_m and the margins; `sensitivity` by site: earlier_1_us and later_1_us, scores as in before; `tolerances` (draws,
without_service with median, p90, max, target_without_service, probability_target_met, probability_better_than_before:
equal counts as no worse, null where nothing changes); `loops`, each with sites, misclosure_us, point_kinds and
point_over (as in `delays`), left_us; `levers`, each with site, change, gain, target_gain; `bound` (no offsets leave
less without service), `lower_bound` (the same); `ended` (exhaustive: every setting of the devices within the limits
was looked at; steps: every set of offsets in steps of `search_step_us`, not every setting; settled, time, cancelled),
`settled_on_devices` (no step of a device, of one site or of two that share a place, improves it) and in words what
that covers, `settled_says`; `at_limits`, sites that stand at a limit, each with site, side (latest, earliest),
offset_us, room_us (less than a step of its device), by (own: its limit in the document; move, search: the greatest move
or offset asked for; device: its delay fields; site: how far from another site), and in words `says`; `tried`, `starts`
(each with start and its score), `terrain_averaged` (how far ground heights were averaged, in words; null where none
was), `seed_spread` (without_service of searches from several seeds,
each on devices like the answer's own figure, how each ended, their width, more_time: whether it is likely to help,
night: of whose result); `seconds`, `seed`, `pixel_m`, `smooth_earth` (no terrain), `smooth_earth_says`, `programme` (of
FM), `rests_on` (sentences: what makes a place served), `classes_by` (the rule by which all of this is judged: quick
estimate; 8-VSB: median levels), `other_transmitters_say` (what is known of other programmes),
`level_shifts` (null: none), `treetops_say` (where treetops count as bare ground; null:
nowhere), `credits` (whose data ground and people are; empty: nobody asks). With
--nights also `nights`, each with night, changed, offsets, settled_on_devices, settled_says, after and
common_delay_held_us: the first is what to set in the first night.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals. Also `levers_withheld` (why no levers are worked out; null: they are).

With --vary offsets and levers are searched together (the document's `may_change`: lines of sites with power_db,
azimuth_deg, electrical_tilt_deg and mechanical_tilt_deg, each with least, greatest and step, patterns, on_air; costs;
licences with name, sites, level_dbuvm and area), and the answer is another: `plans`, the cheapest first, each serving
more than those before it, with cost, served, gain = gained - lost (as weighed), `changes` (each with site, cost, fields
as the document calls them (offset_us, ...), says, and settings of its delay fields as the saved plan and this one split
them, not as they stand at the site: name, before, after, unit), offsets, common_delay_held_us, after, who gains and
loses as above, cautions (problems: radiates more than planned), sampling (what the map's places leave open of the gain:
twice the root of the sum of squares of what changes), within_sampling, says (its doubts). Beside them `served_now`,
`vary`, `costs` (visit, rigging_day, licence_change, unit, assumed: nobody said them), `licences`,
`reaching_out_as_planned` (each with site, licence, outside_km2), `plans_left_off` (how many of the front), `not_varied`
(each with site, what, code, why), `caution`, `doubts`, `looked`, `places_searched` of `places`, `people_said`,
`all_served` (nothing is left to gain), `silent_behind_parent` (relays on air behind a parent that is not: they count
as not transmitting), `plans_left_out_for_relays` (each with cost, gain, problem: a relay would lose its parent or
its margin), `robust` (p20, mean, null), `classes_by` as above. Unless --worlds 0 every plan is drawn in the same worlds
(command `sure`, whose help has the words): each has people_p5, people_p20, people_p50, people_p95, people_mean (null
where area is counted), served_p5, served_p20, served_p50, served_p95, served_mean, served_p5_error, served_p50_error,
served_p95_error, served_as_predicted, better_than_today, better_than_today_error, unknowns_looked_at and unknowns (each
with kind, of, says, share_alone, share_alone_error, share_in_all, share_in_all_error), and beside them stand
`today_sure`, `worlds`, `worlds_seed`, `worlds_ended`, `worlds_say`, `measured` (as in `sure`; null without --measured:
with it the search of --robust too draws only worlds that agree with the drive test) and `worlds_model` (sigma_db,
sigma_says, whole_db, decorrelation_m, site_correlation, cosited_correlation). Problems bear what, where, expected,
severity, code, sites, routes, stages, fields and values (more_db, towards_deg). Figures are predicted medians. Ctrl-C
once ends the search and keeps the best so far.
"""

import argparse
import sys
from pathlib import Path

from sfn.answer.optimise_document import document
from sfn.cli.optimise_plans import print_plans
from sfn.cli.plan_options import add_plan_options, plan_options, refuse_without_vary, stopped_by_hand
from sfn.cli.progress import progress_teller
from sfn.cli.table import add_json, print_json, print_problems, print_table, say, say_left_out
from sfn.library.opened import load
from sfn.library.plans import plans
from sfn.library.search import optimise
from sfn.report.numbers import number
from sfn.solve.limits import RELAYS_CHANGED, RELAYS_MOST, RELAYS_MOVE
from sfn.study.optimise_devices import changed_says
from sfn.study.optimised import Optimised
from sfn.study.served import State

NAME = "optimise"
SUMMARY = "timing offsets that serve most, before and after"
LEVERS_SHOWN = 3
PLACES_SHOWN = 8
MOST_HELP = (
    "greatest offset as planned (50; OFDM: guard interval); what a device rounds, up to half its step, comes on top; "
    f"{RELAYS_MOST}"
)

BUDGET_HELP = (
    "time for each search (60; page: 20); levels, the steps of devices, drawn tolerances and what else would help take "
    "theirs besides: minutes with many sites or pixels"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--objective", choices=("people", "area"), help="what is counted (people where they are known)")
    parser.add_argument("--hold", action="append", default=[], metavar="SITE", help="leave this site alone; repeatable")
    parser.add_argument("--max-offset-us", type=float, metavar="US", help=MOST_HELP)
    parser.add_argument(
        "--max-move-us",
        type=float,
        metavar="US",
        help=f"greatest change against the saved offset, as planned; {RELAYS_MOVE}",
    )
    parser.add_argument("--from-set", action="store_true", help="count that change from what the devices are set to")
    parser.add_argument(
        "--max-changed", type=int, metavar="N", help=f"how many sites may get another setting; {RELAYS_CHANGED}"
    )
    parser.add_argument("--nights", type=int, metavar="N", help="look for the plan in so many nights of --max-changed")
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="random seed: the same one, the same answer (1)"
    )
    parser.add_argument("--budget-s", type=float, default=60.0, metavar="S", help=BUDGET_HELP)
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    add_plan_options(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compute levels, search, print offsets and what they do."""
    if args.vary is not None:
        return _run_plans(args)
    refuse_without_vary(args)
    plan = load(args.network, own_services=args.own_services)
    say_left_out(plan.readable, args)
    answer = optimise(
        plan,
        objective=args.objective,
        hold=args.hold,
        max_offset_us=args.max_offset_us,
        max_move_us=args.max_move_us,
        from_set=args.from_set,
        max_changed=args.max_changed,
        nights=args.nights,
        seed=args.seed,
        budget_s=args.budget_s,
        pixel_m=args.pixel_m,
        progress=progress_teller(),
    )
    found, *later = answer.nights
    if args.json:
        print_json(answer.document)
        return 0
    print(f"people: {answer.listeners.said}")
    for said in found.rests_on:
        print(said)
    _print(found, nights=args.nights is not None)
    for night, one in enumerate(later, start=2):
        names = {site.id: site.name for site in found.network.sites}
        moved = ", ".join(f"{names[site]} {number(one.offsets_us[site], 1, signed=True)} us" for site in one.changed)
        left = number(one.after.score.without_service, 1)
        print(f"night {night}: {moved or 'nothing more'}; then {left} {one.what.unit} without service")
        print(f"night {night}: {one.settled_says}")
    print_problems(found.delays.problems)
    say(answer.credits_say)
    return 0


def _run_plans(args: argparse.Namespace) -> int:
    """Compute levels, search offsets and levers together, print the plans."""
    plan = load(args.network, own_services=args.own_services)
    options = plan_options(args, plan)
    say_left_out(plan.readable, args)
    with stopped_by_hand() as stopped:
        answer = plans(
            plan, **options, objective=args.objective, hold=args.hold, max_offset_us=args.max_offset_us,
            max_move_us=args.max_move_us, from_set=args.from_set, seed=args.seed, budget_s=args.budget_s,
            pixel_m=args.pixel_m, progress=progress_teller(), cancelled=stopped,
        )  # fmt: skip
    if args.json:
        print_json(answer.document)
    else:
        print_plans(answer)
        say(answer.credits_say)
    return 0


def _print(found: Optimised, *, nights: bool) -> None:
    """Offsets, before and after, who loses, how sure, what else would help."""
    names, unit = {site.id: site.name for site in found.network.sites}, found.what.unit
    weights = found.asked.weights
    for line in () if weights is None else weights.said:
        print(f"weighed: {line}")
    after = found.after.score.without_service
    if found.nothing_to_find:
        print(f"nothing to find: {found.nothing_to_find}\n")
    rows = [
        (
            names[site.id],
            number(site.offset_us, 1, signed=True),
            number(found.offsets_us[site.id], 1, signed=True),
            ", ".join(f"{f.name} {f.value:g} {f.unit}" for f in found.table.row(site.id, site.chains[0].route).fields),
            *(number(one.without_service - after, 1, signed=True) for one in found.sensitivity[site.id]),
        )
        for site in found.network.sites
    ]
    print_table(("site", "offset now, us", "found, us", "setting", "1 us early", "1 us late"), rows)
    print(f"(1 us early, 1 us late: {unit} more without adequate service if that site is off by as much)\n")
    counted = f"{unit} as weighed" if weights else unit
    by = found.beside.by_words
    heads = (f"no adequate service, {counted}", f"below target, {counted}", "mean margin, dB", "people", "km2")
    print_table(("", *heads), [("before", *_figures(found.before)), ("after", *_figures(found.after))])
    print(f"(people and km2: on the map, without adequate service, as they are; all judged {by})\n")
    if found.left_out_km2 > 0:
        who = "" if found.left_out_people is None else f" with {number(found.left_out_people, 0)} people"
        print(f"not covered by the terrain, and left out: {number(found.left_out_km2, 1)} km2{who}")
    for one in found.relays:
        print(f"every figure here counts on a relay that may fail: {one.what}")
    _print_who(found)
    _print_how_sure(found, nights=nights)
    if found.common_held_us is not None:
        print(
            f"only with the common delay held at {number(found.common_held_us, 4)} us do no other devices change: "
            "save the plan with it fixed"
        )
    for line in changed_says(found.devices, names):
        print(line)
    for limit in found.at_limits:
        print(f"at a limit: {limit.says}")
    for lever in [lever for lever in found.levers if lever.gain > 0][:LEVERS_SHOWN]:
        print(f"besides delay: {names[lever.site]} {lever.change} would serve {number(lever.gain, 1)} {counted} more")
    if found.network.unjudged:
        print(f"what else would help besides delay: {found.network.unjudged}")
    if sys.stdout.isatty():
        print("nothing is changed: save the offsets in the document to apply them")


def _print_who(found: Optimised) -> None:
    """Who gains and who loses."""
    people, area_km2 = found.asked.people, found.area_km2
    for says, gained in (("gain adequate service", True), ("lose it", False)):
        moved, moved_km2 = found.moved(people, gained=gained), found.moved(area_km2, gained=gained)
        said = "" if moved is None else f"{number(moved, 0)} people, "
        print(f"{says}: {said}{number(moved_km2 or 0.0, 1)} km2")
    losing = [one for one in found.places if one.loses]
    for one in losing[:PLACES_SHOWN]:
        before, after = (number(m, 1, signed=True) for m in (one.margin_before_db, one.margin_after_db))
        print(f"  loses: {one.name}, {number(one.lost_people, 0)} people, margin {before} dB, then {after} dB")
    if len(losing) > PLACES_SHOWN:
        print(f"  and {len(losing) - PLACES_SHOWN} more places: --json names them all")


def _print_how_sure(found: Optimised, *, nights: bool) -> None:
    """The bound, the search, the tolerances."""
    unit, answer = found.what.unit, document(found)
    print(f"no offsets can do better than {number(found.bound, 1)} {unit} without service (lower bound)")
    grid = {
        "exhaustive": " (every setting of the devices within the limits)",
        "steps": f" (every set of offsets in steps of {found.limits.step_us:g} us)",
    }.get(found.found.ended, "")
    print(
        f"search ended: {found.found.ended}{grid}, {found.found.tried} tried in {number(found.found.seconds_s, 1)} s; "
        f"{'first night: ' if nights else ''}{found.settled_says}"
    )
    apart = found.spread
    of = f" in the result of night {apart.night}" if nights else ""
    print(
        f"{len(apart.without_service)} seed{'s' if len(apart.without_service) > 1 else ''}, on devices: "
        f"{number(apart.width, 1)} {unit} apart{of}; more time: {apart.more_time}"
    )
    drawn = answer["tolerances"]
    met, better = drawn["probability_target_met"], drawn["probability_better_than_before"]
    print(
        f"with the chains' tolerances drawn {drawn['draws']} times: within 1 % of what it serves in {100 * met:.0f} %"
        + ("" if better is None else f", no worse than before in {100 * better:.0f} %")
    )


def _figures(one: State) -> tuple[str, ...]:
    """A state for people."""
    score = one.score
    return (
        number(score.without_service, 1),
        number(score.below_target, 1),
        number(-score.minus_mean_margin_db, 2, signed=True),
        "-" if one.without_people is None else number(one.without_people, 0),
        number(one.without_km2, 1),
    )
