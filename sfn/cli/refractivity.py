"""Lapse and sea-level refractivity at the middle of a network, from the ITU's digital maps DN50.TXT and N050.TXT.

The maps come with ITU-R P.1812 and may not be passed on: bring them. JSON keys: `lat`, `lon`, `delta_n` and
`surface_refractivity_n0` as the maps have them, `in_document` (the same two as planned with).
"""

import argparse
from pathlib import Path

from sfn.cli.table import add_json, print_json
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.propagation.refractivity import refractivity_at
from sfn.study.air import middle_of

NAME = "refractivity"
SUMMARY = "delta N and N0 from the ITU's maps"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--maps", type=Path, required=True, metavar="DIR", help="folder of DN50.TXT and N050.TXT")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Read the maps, compare."""
    network = read_file(args.network, own_services=args.own_services)
    placed = place(network)
    lat, lon = middle_of([at.lat_deg for at in placed.values()], [at.lon_deg for at in placed.values()])
    found = refractivity_at(args.maps, lat, lon)
    if args.json:
        print_json(
            {
                "lat": lat, "lon": lon, "delta_n": found.delta_n,
                "surface_refractivity_n0": found.surface_refractivity_n0,
                "in_document": {
                    "delta_n": network.delta_n, "surface_refractivity_n0": network.surface_refractivity_n0
                },
            }
        )  # fmt: skip
        return 0
    print(f"at {lat:.3f}, {lon:.3f}, the middle of {network.name}")
    print(f"delta N  {found.delta_n:.1f} N-units/km, in the document {network.delta_n:g}")
    print(f"N0       {found.surface_refractivity_n0:.1f} N-units, in the document {network.surface_refractivity_n0:g}")
    return 0
