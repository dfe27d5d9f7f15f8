"""Field strength along one path by ITU-R P.1812, with every intermediate by its name.

With a network document: from one of its sites (``--site``) to a place (``--at``), over the terrain that the document
names (folders beside the document), with the site's power and antenna, at several percentages of time.

A bare profile comes as CSV with the columns distance_km,ground_m,cover_m,zone: distances from the transmitter
(0 km) to the receiver in any spacing, heights in metres above sea level, cover above ground, zone inland, coast or sea.
The answer is then for 1 kW e.r.p. Both are for 50 % of locations.

JSON of the first: `credits` says whose data the ground is (empty: nobody asks). `treetops_m`: on how much of the path
treetops and roofs count as bare ground, for no ground cover is known; `treetops_say`: the same in words (null: none).
`zones_unknown_m`: how much of it lies beyond the zones that are named, and counts as inland; `zones_unknown_at_sea_m`:
how much of that lies over a sea, by cells of a tenth of a degree.
"""

import argparse
import csv
import json
import math
from pathlib import Path
from typing import Literal

from sfn.answer.path import document
from sfn.cli.table import place_argument, print_json, say
from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.position import on_globe
from sfn.plan import read_file
from sfn.propagation.horizons import ZONES, centre_latitude
from sfn.propagation.p1812 import PathLoss, path_loss
from sfn.study.path import USUAL_TIME_PCT, path_answer, path_picture, path_text
from sfn.terrain.credits import credits_say, network_credits
from sfn.terrain.ground import open_ground

NAME = "path"
SUMMARY = "field strength along one path over terrain, with every intermediate of P.1812"

COLUMNS = ("distance_km", "ground_m", "cover_m", "zone")
# More lines of the same kind of mistake help nobody.
NEEDED = {
    "frequency_mhz": "the carrier frequency, 30 to 6000 MHz",
    "tx_height_m": "the transmitting antenna's height above ground, 1 to 3000 m",
    "rx_height_m": "the receiving antenna's height above ground, 1 to 3000 m",
    "polarisation": "H or V",
    "time_pct": "the percentage of time, 1 to 50",
    "tx": "the transmitter's position, LAT,LON in decimal degrees",
    "rx": "the receiver's position, LAT,LON in decimal degrees",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """The options of both forms."""
    parser.add_argument("network", nargs="?", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--site", metavar="ID", help="with NETWORK: the transmitter")
    parser.add_argument("--at", metavar="LAT,LON", help="with NETWORK: the receiving point, decimal degrees on WGS84")
    parser.add_argument("--rx-ground-m", type=float, metavar="H", help="with NETWORK: ground at the point (terrain's)")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="with NETWORK: draw the profile, .svg or .png")
    parser.add_argument("--profile", type=Path, metavar="FILE.csv", help=f"columns {','.join(COLUMNS)}")
    parser.add_argument("--frequency-mhz", type=float, metavar="F", help="30 to 6000")
    parser.add_argument("--tx-height-m", type=float, metavar="H", help="above ground, 1 to 3000")
    parser.add_argument("--rx-height-m", type=float, metavar="H", help="above ground, 1 to 3000")
    parser.add_argument("--polarisation", choices=("H", "V"))
    parser.add_argument("--time-pct", metavar="P", help="1 to 50; with NETWORK several, as 50,10,1 (those by default)")
    parser.add_argument("--tx", metavar="LAT,LON", help="transmitter, decimal degrees; gives the latitude of the path")
    parser.add_argument("--rx", metavar="LAT,LON", help="receiver, decimal degrees")
    parser.add_argument("--dn", type=float, default=45.0, metavar="DN", help="DN, N-units/km (default 45)")
    parser.add_argument("--n0", type=float, default=325.0, metavar="N0", help="N0, N-units (default 325)")
    for end in ("tx", "rx"):
        parser.add_argument(
            f"--{end}-coast-km",
            type=float,
            default=500.0,
            metavar="KM",
            help="land between this antenna and the coast; default 500 (no coast), 0 where its zone is sea",
        )
    parser.add_argument("--json", action="store_true", help="print one JSON document")


def run(args: argparse.Namespace) -> int:
    """Work out one path and print it."""
    if args.network is not None:
        return _run_network(args)
    missing = [
        Problem(f"--{name.replace('_', '-')}", "is missing", expected, code="argument-missing")
        for name, expected in ({"profile": "a CSV file of the profile"} | NEEDED).items()
        if getattr(args, name) is None
    ]
    if missing:
        raise PlanError(missing)
    columns = read_profile(args.profile)
    tx, rx = position("--tx", args.tx), position("--rx", args.rx)
    try:
        answer = path_loss(
            columns["distance_km"],
            columns["ground_m"],
            cover_m=columns["cover_m"],
            zone=columns["zone"],
            frequency_mhz=args.frequency_mhz,
            tx_height_m=args.tx_height_m,
            rx_height_m=args.rx_height_m,
            polarisation=args.polarisation,
            time_pct=_percentages(args.time_pct, most=1)[0],
            latitude_deg=centre_latitude(*tx, *rx, distance_km=columns["distance_km"][-1]),
            delta_n=args.dn,
            surface_refractivity_n0=args.n0,
            tx_coast_km=args.tx_coast_km,
            rx_coast_km=args.rx_coast_km,
        )
    except ValueError as refused:
        name, _, what = str(refused).partition(" ")
        raise PlanError([Problem(name, what, "", code="outside-propagation-model")]) from None
    print(_json(answer) if args.json else _table(answer))
    return 0


def _run_network(args: argparse.Namespace) -> int:
    """The form with a network document."""
    missing = [
        Problem(name, "is missing", expected, code="argument-missing")
        for name, value, expected in (
            ("--site", args.site, "the id of a site of the network"),
            ("--at", args.at, "the receiving point, LAT,LON in decimal degrees"),
        )
        if value is None
    ]
    if args.plot is not None and args.plot.suffix.lower() not in (".svg", ".png"):
        missing.append(
            Problem("--plot", f"cannot be {args.plot.name}", "a name ending in .svg or .png", code="file-ending")
        )
    if missing:
        raise PlanError(missing)
    network = read_file(args.network, own_services=args.own_services)
    lat, lon = place_argument(args.at)
    answer = path_answer(
        network,
        site_id=args.site,
        lat_deg=lat,
        lon_deg=lon,
        ground=open_ground(network, folder=args.network.parent, anywhere=True),
        rx_height_m=args.rx_height_m,
        rx_ground_m=args.rx_ground_m,
        time_pct=_percentages(args.time_pct, most=20) if args.time_pct else USUAL_TIME_PCT,
    )
    whose = credits_say(network_credits(network, folder=args.network.parent, anywhere=True))
    if args.plot is not None:
        picture: Literal["svg", "png"] = "svg" if args.plot.suffix.lower() == ".svg" else "png"
        _draw(args.plot, path_picture(network, answer, picture=picture, credits_say=whose))
    if args.json:
        print_json(document(answer) | {"credits": whose})
    else:
        print(path_text(answer))
        say(whose)
    return 0


def _draw(file: Path, content: bytes) -> None:
    """Write the picture."""
    try:
        file.write_bytes(content)
    except OSError as reason:
        raise PlanError(
            [
                Problem(
                    "--plot", f"cannot write {file.name}: {_plain(reason)}", "a place to write", code="file-unwritable"
                )
            ]
        ) from None


def _percentages(text: str, *, most: int) -> list[float]:
    """Percentages of time, separated by commas."""
    parts = text.split(",")
    try:
        found = [float(part) for part in parts]
    except ValueError:
        found = []
    if not (0 < len(found) <= most and all(1.0 <= p <= 50.0 for p in found)):
        one = "a number from 1 to 50" if most == 1 else f"up to {most} numbers from 1 to 50 with commas between"
        raise PlanError([Problem("--time-pct", f"cannot be {text!r}", one, code="out-of-range")])
    return found


def read_profile(file: Path) -> dict[str, list]:  # type: ignore[type-arg] # numbers and names, by column
    """Columns of a profile file: three of numbers and `zone` of names.

    Raises
    ------
    PlanError
        If the file cannot be read, a column is missing, or a cell is not what its column holds; all of them, by line.
    """
    try:
        rows = list(csv.reader(file.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error) as reason:
        raise PlanError(
            [Problem(str(file), f"cannot be read: {_plain(reason)}", "a CSV file in UTF-8", code="file-unreadable")]
        ) from None
    header = [cell.strip() for cell in rows[0]] if rows else []
    if sorted(header) != sorted(COLUMNS):
        raise PlanError(
            [
                Problem(
                    f"{file}, line 1",
                    f"has the columns {','.join(header) or 'nothing'}",
                    ",".join(COLUMNS),
                    code="columns-missing",
                )
            ]
        )
    columns: dict[str, list] = {name: [] for name in COLUMNS}  # type: ignore[type-arg]
    problems = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            problems.append(
                Problem(
                    f"{file}, line {number}",
                    f"has {len(row)} cells",
                    f"{len(header)} cells",
                    code="line-length",
                    values={"cells": len(row), "columns": len(header)},
                )
            )
            continue
        for name, cell in zip(header, row, strict=True):
            value = _cell(name, cell.strip())
            if value is None:
                wanted = " or ".join(ZONES) if name == "zone" else "a number"
                problems.append(Problem(f"{file}, line {number}", f"{name} is {cell!r}", wanted, code="not-a-number"))
            columns[name].append(value)
    if problems:
        raise PlanError(at_most(problems, source=str(file)))
    if not columns["zone"]:
        raise PlanError([Problem(str(file), "has no points", "at least 2 lines below the header", code="file-empty")])
    return columns


def _cell(name: str, text: str) -> float | str | None:
    """The cell's value, or None when its column cannot hold it."""
    if name == "zone":
        return text if text in ZONES else None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def position(option: str, text: str) -> tuple[float, float]:
    """Latitude and longitude out of ``LAT,LON``.

    Raises
    ------
    PlanError
        If the text is not two numbers, or they are no latitude and longitude.
    """
    try:
        lat_deg, lon_deg = (float(part) for part in text.split(","))
    except ValueError:
        expected = "LAT,LON in decimal degrees, such as 51.48,-3.18"
        raise PlanError([Problem(option, f"is {text!r}", expected, code="place-unreadable")]) from None
    return on_globe(lat_deg, lon_deg, where=option)


def _plain(reason: Exception) -> str:
    """The reason without type names and file paths."""
    if isinstance(reason, OSError):
        return (reason.strerror or "no such file").lower()
    return "it is not a text file in UTF-8"


def _json(answer: PathLoss) -> str:
    """The answer as one document."""
    return json.dumps(
        {
            "loss_db": answer.loss_db,
            "field_dbuvm": answer.field_dbuvm,
            "line_of_sight": answer.line_of_sight,
            "tx_elevation_deg": answer.tx_elevation_deg,
            "rx_elevation_deg": answer.rx_elevation_deg,
            "intermediates": answer.intermediates,
        },
        indent=1,
    )


def _table(answer: PathLoss) -> str:
    """The answer for people: the result first, then every intermediate."""
    sight = "in sight" if answer.line_of_sight else "beyond the horizon"
    lines = [
        f"loss            {answer.loss_db:10.2f} dB",
        f"field strength  {answer.field_dbuvm:10.2f} dBuV/m for 1 kW e.r.p.",
        f"receiver        {sight}",
        "",
        *(f"{name:<10}{value:16.6f}" for name, value in answer.intermediates.items()),
    ]
    return "\n".join(lines)
