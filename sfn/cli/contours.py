"""Contours at a field strength as GeoJSON or KML, and whether fill-ins stay inside the main's or a licence's.

The level is exceeded for 50 % of time and places at the network's receiving height.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals. `receiving_antenna_says`: that a roof antenna is not counted (null:
there is none). `treetops_say`: where treetops and roofs count as bare ground on their map (null:
nowhere).
"""

import argparse
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from sfn.answer.contours import document, features
from sfn.cli.progress import progress_teller
from sfn.cli.table import add_json, print_json, print_table, readable_file
from sfn.cli.zones import bounds_argument
from sfn.errors import PlanError, Problem
from sfn.field.contours import Area
from sfn.field.licence import read_areas
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.library.coverage import THREADS_N
from sfn.reception.coverage import usual_pixel_m
from sfn.reception.reach import bounds_to_the_edge
from sfn.report.numbers import number
from sfn.report.vector import kml
from sfn.study.contours import Contours, network_contours, sentences
from sfn.terrain.credits import credits_say, network_credits
from sfn.terrain.ground import open_ground

NAME = "contours"
SUMMARY = "contours at a field strength, and whether fill-ins stay inside the main's"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--level-dbuvm", type=float, required=True, metavar="E", help="field strength, dBuV/m")
    parser.add_argument("--site", action="append", default=[], metavar="ID", help="only this site; may be repeated")
    parser.add_argument("--main", metavar="ID", help="check that the other sites stay inside this one's contour")
    parser.add_argument("--licence", type=Path, metavar="FILE", help="GeoJSON or KML that all have to stay inside")
    parser.add_argument("--out", type=Path, metavar="FILE", help="write the contours, .geojson or .kml")
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    parser.add_argument("--bounds", metavar="S,W,N,E", help="area in degrees (as far as the network is usable)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compute the contours, write the file, print what they hold."""
    if not -20.0 <= args.level_dbuvm <= 150.0:
        raise PlanError(
            [Problem("--level-dbuvm", f"cannot be {args.level_dbuvm:g}", "-20 to 150 dBuV/m", code="out-of-range")]
        )
    if args.out is not None and args.out.suffix.lower() not in (".geojson", ".json", ".kml"):
        raise PlanError(
            [Problem("--out", f"cannot be {args.out.name}", "a name ending in .geojson or .kml", code="file-ending")]
        )
    network = readable_file(args)
    placed = place(network)
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    bounds = bounds_to_the_edge(network, placed, ground=ground) if args.bounds is None else bounds_argument(args.bounds)
    grid = grid_for(bounds, pixel_m=usual_pixel_m(bounds) if args.pixel_m is None else args.pixel_m)
    with ThreadPoolExecutor(THREADS_N) as executor:
        found = network_contours(
            network, args.site, at_dbuvm=args.level_dbuvm, grid=grid, placed=placed, ground=ground, executor=executor,
            main=args.main, licence=() if args.licence is None else licence_areas(args.licence),
            progress=progress_teller(),
        )  # fmt: skip
    if args.out is not None:
        whose = credits_say(network_credits(network, folder=args.network.resolve().parent, anywhere=True))
        _write(args.out, found, network.name, whose)
    if args.json:
        print_json(document(found, file=None if args.out is None else str(args.out)))
    else:
        _print(found)
    return 0


def licence_areas(file: Path) -> tuple[Area, ...]:
    """Areas of a licence's file."""
    try:
        return read_areas(file.read_bytes())
    except OSError as error:
        raise PlanError(
            [
                Problem(
                    "--licence", f"cannot be read ({error.strerror})", "a GeoJSON or KML file", code="file-unreadable"
                )
            ]
        ) from None
    except PlanError as refused:
        named = [replace(p, where=f"{file.name}, {p.where}") for p in refused.problems]
        raise PlanError(named) from None


def _write(file: Path, found: Contours, name: str, whose: str) -> None:
    """The contours as a file."""
    drawn = features(found, credits_say=whose)
    is_kml = file.suffix.lower() == ".kml"
    heading = "; ".join(filter(None, (f"{name}, {found.at_dbuvm:g} dBuV/m", found.cut_says, found.smooth_says, whose)))
    text = kml(drawn, name=heading) if is_kml else json.dumps(drawn, ensure_ascii=False)
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise PlanError(
            [Problem("--out", f"cannot be written ({error.strerror})", "a file that can", code="file-unwritable")]
        ) from None


def _print(found: Contours) -> None:
    """What the contours hold, for people."""
    print_table(
        ("site", "areas", "km2", "not covered km2", "reaches the edge"),
        (
            (
                one.name,
                str(len(one.areas)),
                number(one.area_km2, 1),
                number(one.uncovered_km2, 1),
                "yes: larger bounds" if one.edge_cut else "no",
            )
            for one in found.sites
        ),
    )
    if found.cut_says:
        print(found.cut_says)
    for sentence in sentences(found):
        print(sentence)
    if found.bare_says:
        print(found.bare_says)
    for beware in filter(None, (found.averaged_says, found.treetops_say)):
        print(beware)
    if found.smooth_says:
        print(found.smooth_says)
