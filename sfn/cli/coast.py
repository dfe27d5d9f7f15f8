"""Zones of sea, coast and inland, made once of a land cover's water classes, or of polygons of land or sea.

Writes zones.tif (0 inland, 1 coast, 2 sea) into DIR and prints the document's ``zones`` key. JSON keys: `file`,
`zones` (that key), `shares_pct` of each zone, `rule` (sentences).
"""

import argparse
from pathlib import Path

from sfn.cli.table import add_json, print_json
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.plan import read_file
from sfn.study.coast import bounds_around
from sfn.terrain.coast import Zones, source_document, write_zones, zones_of_classes, zones_of_polygons
from sfn.terrain.dem import terrain_from_folder
from sfn.terrain.ground import Ground, open_ground

NAME = "coast"
SUMMARY = "sea, coast and inland from land cover or a coastline"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for zones.tif; made if need be")
    of = parser.add_mutually_exclusive_group(required=True)
    of.add_argument("--water", metavar="CLASSES", help="classes of sea and lakes in the land cover: 80,200")
    of.add_argument("--land", type=Path, metavar="FILE", help="GeoJSON polygons of land")
    of.add_argument("--sea", type=Path, metavar="FILE", help="GeoJSON polygons of the sea")
    parser.add_argument("--cover", type=Path, metavar="DIR", help="land cover for --water (that of the network)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Make the zones, write them, say how."""
    network = read_file(args.network, own_services=args.own_services)
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    made = _made(args, ground, bounds_around(placed_sites(network).at))
    try:
        path = write_zones(made, args.out)
    except OSError as error:
        raise PlanError(
            [Problem("--out", f"cannot be written ({error.strerror})", "a folder that can", code="file-unwritable")]
        ) from None
    document = source_document(str(args.out))
    if args.json:
        print_json({"file": str(path), "zones": document, "shares_pct": made.shares_pct, "rule": list(made.says)})
        return 0
    for said in made.says:
        print(said)
    print(", ".join(f"{name} {share:.1f} %" for name, share in made.shares_pct.items()))
    print(f"{path}: name it in the document as")
    print_json({"zones": document})
    return 0


def _made(args: argparse.Namespace, ground: Ground, bounds: tuple[float, float, float, float]) -> Zones:
    """The zones of what was given."""
    if args.water is None:
        if args.cover is not None:
            raise PlanError([Problem("--cover", "counts with --water alone", "one of the two", code="option-idle")])
        of = "land" if args.land is not None else "sea"
        return zones_of_polygons(args.land or args.sea, of=of, terrain=ground.terrain, bounds_deg=bounds)
    try:
        water = tuple(int(part) for part in args.water.split(","))
    except ValueError:
        raise PlanError(
            [Problem("--water", f"cannot be {args.water!r}", "class numbers with commas", code="class-not-a-number")]
        ) from None
    cover = ground.cover if args.cover is None else terrain_from_folder(args.cover, blended=False)
    if cover is None:
        raise PlanError(
            [Problem("--cover", "is not given, and the network names no land cover", "a folder of land cover",
                     code="no-land-cover")]
        )  # fmt: skip
    return zones_of_classes(cover, water=water, terrain=ground.terrain, bounds_deg=bounds)
