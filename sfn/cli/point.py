"""Signals at a receiving point: level, travel, arrival, delay and level difference, strongest first."""

import argparse
from pathlib import Path

from sfn.answer.point import document, point_signals
from sfn.cli.table import add_json, place_argument, print_json, print_table
from sfn.errors import PlanError, Problem
from sfn.plan import read_file
from sfn.reception.point import point_quality
from sfn.reception.quality import yardstick
from sfn.report.numbers import number
from sfn.terrain.ground import open_ground

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
        "--rx-ground-m", type=float, metavar="H", help="ground above sea level at the point (terrain, or 0)"
    )
    parser.add_argument(
        "--as-set", action="store_true", help="launches with what is set now, not with the computed settings"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the signals or their JSON."""
    lat, lon = place_argument(args.at)
    for name, value, low, high in (
        ("--rx-height-m", args.rx_height_m, 1, 3000),
        ("--rx-ground-m", args.rx_ground_m, -500, 9000),
    ):
        if value is not None and not low <= value <= high:
            raise PlanError([Problem(name, f"cannot be {value:g}", f"{low} to {high} m")])
    network = read_file(args.network)
    found = point_signals(
        network,
        lat_deg=lat,
        lon_deg=lon,
        rx_height_m=args.rx_height_m,
        rx_ground_m=args.rx_ground_m,
        as_set=args.as_set,
        ground=open_ground(network, folder=args.network.resolve().parent, anywhere=True),
    )
    quality = point_quality(network, found, yardstick(network))
    if args.json:
        print_json(document(found, quality))
        return 0
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
    ground = "that is not known" if found.rx_ground_m is None else f"at {found.rx_ground_m:g} m"
    print(f"receiver {found.rx_height_m:g} m above ground {ground}")
    if quality is not None:
        hurt = f", {quality.hurts} hurts most" if quality.hurts else ""
        print(f"reception: {quality.class_name}, margin {number(quality.margin_db)} dB; wanted {quality.wanted}{hurt}")
        for fix in quality.fixes[:4]:
            reach = "brings it to target" if fix.reaches_target else f"gives {number(fix.margin_db)} dB"
            print(f"  {fix.site_name} by {number(fix.change_us, 1, signed=True)} us {reach}")
    if found.corrected:
        print(found.corrected)
    if found.roof:
        print(f"roof antenna ({found.roof}) points at the strongest: levels are those behind it")
    if found.smooth:
        print("no terrain: smooth earth")
    if found.uncovered:
        print(f"the terrain does not cover the path from {', '.join(found.uncovered)}: not listed")
    if found.over_gaps:
        print(f"over a small gap in the terrain that was filled from its rim: {', '.join(found.over_gaps)}")
    return 0
