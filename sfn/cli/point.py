"""Signals at a receiving point: level, travel, arrival, delay and level difference, strongest first.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals. Of FM, `quality` says what listeners around hear, as shares of
receivers (0 to 1; `shares_are_of` places or time): `share_stereo` and `share_blended` get `wanted_snr_db` in unblended
stereo and where the receiver blends; `share_clear_stereo`, `share_clear_mono` and `share_upset` add up,
`share_disturbed` is another station's, `share_good` gets the better S/N; `class` and `for_people` go by the shares
drawn here, as a finished map and its files do (`classes_by`), as `served` (from `served_from_share`) and
`class_by_drawn_shares` (older name: `people_class`; without the margin) do; `class_quick` and `for_people_quick` are
the quick estimate, which a map being tried shows first and searches go by; `share_step` and `share_off`: the step of a
drawn share, and by how much it may be off very many draws (null: none are drawn); `listeners` (car, portable, hi-fi),
`share_that_blends`, `listener_spread_db` and `shares_say` (what they rest on). `programme`: what is heard.
`coverage_probability_quick`: the quick estimate of that share. `target_class`: the class that a fix reaches or does
not. Sentences beside the class are those of `zones`. `other_transmitters_say` tells what is known of other programmes,
`judged_without` names sites whose path's ground is not known (`judged_without_says`: then no fix is looked for, and the
map shows nothing there); `coverage_probability_says` that stations with other programmes count in the shares,
`coverage_probability_own` the share without them. `needed_beside_others_dbuvm` what the strongest must reach beside
`other_transmitter` (null: none); `others_short_ratio` (FM): at which share of the places around it falls short of that,
which class and shares do not count. `problems`: what is wrong with what is tried that is not with the plan, as settings
that no field can make. `credits`: whose data its ground is (empty: nobody asks). `treetops_say`: where, at
the place or on the ways to it, treetops and roofs count as bare ground, for no ground cover is known (null: nowhere).
"""

import argparse
from pathlib import Path

from sfn.cli.table import add_json, place_argument, print_json, print_table, say
from sfn.cli.tries import add_tries, opened, tries_argument
from sfn.errors import PlanError, Problem
from sfn.library.point import point
from sfn.plan import Network
from sfn.reception.heard import Heard
from sfn.reception.signals import PointSignals
from sfn.report.numbers import number
from sfn.study.heard import PHASES, heard, own_programme, shipped_programme
from sfn.study.point import nothing_says
from sfn.systems.of_network import service_of

NAME = "point"
SUMMARY = "signals at a receiving point"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--at", required=True, metavar="LAT,LON", help="the point, decimal degrees on WGS84")
    parser.add_argument(
        "--rx-height-m", type=float, metavar="H", help="receiving antenna above ground (the network's receiver)"
    )
    parser.add_argument(
        "--rx-ground-m",
        type=float,
        metavar="H",
        help="ground above sea level there (terrain, or the lowest site's)",
    )
    parser.add_argument(
        "--as-set", action="store_true", help="launches with what is set now, not with the computed settings"
    )
    parser.add_argument(
        "--hear", type=Path, metavar="FILE.wav", help="FM: write a programme as heard there, and FILE-undisturbed.wav"
    )
    parser.add_argument("--programme", type=Path, metavar="SOUND", help="your own WAV or FLAC (a made one), 10 s of it")
    parser.add_argument("--phase", choices=PHASES, default=PHASES[0], help="of the carriers (worst tenth)")
    parser.add_argument("--mono", action="store_true", help="a mono programme and receiver")
    add_tries(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the signals or their JSON."""
    lat, lon = place_argument(args.at)
    for name, value, low, high in (
        ("--rx-height-m", args.rx_height_m, 1, 3000),
        ("--rx-ground-m", args.rx_ground_m, -500, 9000),
    ):
        if value is not None and not low <= value <= high:
            raise PlanError([Problem(name, f"cannot be {value:g}", f"{low} to {high} m", code="out-of-range")])
    made = point(
        opened(args),
        lat,
        lon,
        rx_height_m=args.rx_height_m,
        rx_ground_m=args.rx_ground_m,
        as_set=args.as_set,
        tries=tries_argument(args),
    )
    found, quality, now = made.found, made.quality, made.tried
    if args.hear is not None:
        _write_sound(args, now.network, found)
    if args.json:
        print_json(made.document)
        return 0
    for said in now.says:
        print(f"TRY: {said}")
    for doubt in now.doubts:
        print(f"BEWARE: {doubt.what}; {doubt.expected}")
    header = (
        "site",
        "km",
        "level dBuV/m",
        "travel us",
        "launch us",
        "arrival us",
        "delay difference us",
        "level difference dB",
        "counts",
    )
    print_table(
        header,
        (
            (
                s.site,
                number(s.ground_m / 1000, 3),
                number(s.level_dbuvm),
                number(s.travel_us, 3),
                number(s.launch_us, 3),
                number(s.arrival_us, 3),
                number(s.delay_difference_us, 3, signed=True),
                number(s.level_difference_db),
                "yes" if s.significant else "no",
            )
            for s in found.signals
        ),
    )
    spread = number(found.delay_spread_us, 3)
    print(f"delay spread of the significant signals {spread} us")
    if not found.signals:
        print(nothing_says(now.network, found))
    ground = "that is not known" if found.rx_ground_m is None else f"at {found.rx_ground_m:g} m"
    print(f"receiver {found.rx_height_m:g} m above ground {ground}")
    if quality is not None:
        if quality.without_says:
            print(quality.without_says)
        hurt = f", main interferer {quality.hurts}" if quality.hurts else ""
        by, margin = quality.says.by_words, number(quality.margin_db)
        print(f"reception {by}: {quality.for_people}, margin {margin} dB; wanted {quality.wanted}{hurt}")
        if quality.probability is not None:
            apart = number(100 * (quality.independent_probability or 0.0), 0)
            goes_by = f"; the quick estimate of that is {number(100 * (quality.quick_probability or 0), 0)} %"
            if quality.probability_says:
                own = number(100 * (quality.own_probability or 0.0), 0)
                goes_by = f"; {quality.probability_says} ({own} % without them){goes_by}"
            print(
                f"{number(100 * quality.probability, 0)} % of the places around are served, levels drawn and receivers "
                f"following ({apart} % if sites faded independently){goes_by}"
            )
        for said in (quality.quick_says, quality.drawn_says and f"shares: {quality.drawn_says}", *quality.says.lines):
            say(said)
        if quality.beside is not None and (other := quality.beside.name_at(0)):
            short = f"; {quality.others_short_says}" if quality.others_short_says else ""
            print(f"beside {other} it must reach {number(quality.beside.level_dbuvm[0])} dBuV/m{short}")
        print(quality.others_says)
        if quality.heard is not None:
            print(_listeners(quality.heard))
        if programme := quality.answer.get("programme"):
            print(f"FM quality of {programme}")
        for fix in quality.fixes[:4]:
            reach = f"makes it {quality.target_class}" if fix.reaches_target else f"gives {number(fix.margin_db)} dB"
            print(f"  {fix.site_name} by {number(fix.change_us, 1, signed=True)} us {reach}")
    if found.corrected:
        print(found.corrected)
    if found.roof:
        print(f"roof antenna ({found.roof}) points at the strongest: levels are those behind it")
    if found.smooth:
        print("no terrain: smooth earth")
        if found.smooth_says:
            print(found.smooth_says)
    if found.uncovered:
        print(f"the terrain does not cover the path from {', '.join(found.uncovered)}: not listed")
    if found.too_far:
        print(f"over 500 km away: {', '.join(found.too_far)}: not listed")
    if found.over_gaps:
        print(f"over a small gap in the terrain that was filled from its rim: {', '.join(found.over_gaps)}")
    say(made.credits_say)
    return 0


def _write_sound(args: argparse.Namespace, network: Network, found: PointSignals) -> None:
    """The programme as heard at the point, and undisturbed, as two files."""
    if service_of(network).kind != "fm":
        raise PlanError([Problem("--hear", f"{network.service} is not FM", "an FM network", code="service-not-fm")])
    programme = shipped_programme()
    if args.programme is not None:
        try:
            with args.programme.open("rb") as file:
                programme = own_programme(file, name=args.programme.name)
        except OSError as error:
            raise PlanError(
                [
                    Problem(
                        "--programme",
                        f"cannot be opened: {error.strerror}",
                        "a WAV or FLAC file",
                        code="file-unreadable",
                    )
                ]
            ) from None
    made = heard(found, programme=programme, phase=args.phase, stereo=not args.mono)
    for path, sound in (
        (args.hear, made.received),
        (args.hear.with_stem(f"{args.hear.stem}-undisturbed"), made.undisturbed),
    ):
        try:
            path.write_bytes(sound)
        except OSError as error:
            raise PlanError(
                [Problem("--hear", f"cannot be written ({error.strerror})", "a file that can", code="file-unwritable")]
            ) from None


def _listeners(heard: Heard) -> str:
    """Which share of the listeners hears what, in a line."""
    names = ("clear_stereo", "clear_mono", "upset")
    stereo, mono, upset = (f"{100 * heard.share(name):.0f} %" for name in names)
    ratio = f"{100 * heard.served_ratio:.0f} %"
    disturbed = f", disturbed by another station {100 * heard.disturbed:.0f} %" if heard.disturbed else ""
    return (
        f"listeners ({heard.blend.listeners}), shares of {heard.of}: clear stereo {stereo}, clear but partly or wholly "
        f"mono {mono}, distorted {upset}{disturbed}; served from {ratio}; {'; '.join(heard.says)}"
    )
