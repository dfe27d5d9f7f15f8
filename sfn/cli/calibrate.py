"""Predicted levels beside those logged on the road: prediction minus measurement per site and sector.

LOG is a CSV file with the columns lat,lon,level_dbuvm and, if wanted, site,when,remark (site: the one on air alone,
"all" or nothing: all on air), or a GPX file whose points hold the level (element level_dbuvm, or the text of name, cmt
or desc). Several logs are put together.

JSON keys: `network`, `stretch_m`, `samples_n`, `stretches_n`; `sites` and `sectors`: each `site`, `from_deg`, `to_deg`
(bearings seen from the site, 0 to 360 is all round), `stretches_n`, `difference_db` (prediction minus measurement),
`spread_db` (of single stretches), `uncertainty_db` (of the mean), `shift_db` (what to add to the prediction),
`significant` (worth a shift); `together` (power sum of all, stretches with all on air): `difference_db`, `spread_db`,
`stretches_n`; `stretches`: each `lat`, `lon`, `measured_dbuvm`, `site` (that it speaks of, or null), `difference_db`;
`problems`.
"""

import argparse
import math
from pathlib import Path
from typing import Any

import numpy as np

from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.errors import PlanError, Problem
from sfn.plan import read_file
from sfn.report.numbers import number
from sfn.survey.calibrate import Calibration, Sector, calibrate
from sfn.survey.drive_log import DriveLog, read_log, stretches
from sfn.survey.prediction import planned_levels
from sfn.terrain.ground import open_ground

NAME = "calibrate"
SUMMARY = "predicted levels beside drive-test logs"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("logs", type=Path, nargs="+", metavar="LOG", help="CSV or GPX with levels")
    parser.add_argument("--alone", metavar="SITE", help="the site on air alone, where the log does not say")
    parser.add_argument("--sectors", type=int, default=8, metavar="N", help="sectors round each site (8)")
    parser.add_argument("--stretch-m", type=float, default=100.0, metavar="M", help="road taken together (100)")
    parser.add_argument("--dominance-db", type=float, default=10.0, metavar="DB", help="all on air: a site is told by")
    parser.add_argument("--rx-height-m", type=float, metavar="H", help="antenna above ground (the network's receiver)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    network = read_file(args.network)
    sites = tuple(site.id for site in network.sites)
    _refuse(args, sites)
    logs = [read_log(path, sites=sites) for path in args.logs]
    if args.alone:
        logs = [DriveLog(g.lat_deg, g.lon_deg, g.level_dbuvm, tuple(s or args.alone for s in g.site)) for g in logs]
    parts = [stretches(log, stretch_m=args.stretch_m) for log in logs]
    road = DriveLog(
        np.concatenate([p.lat_deg for p in parts]),
        np.concatenate([p.lon_deg for p in parts]),
        np.concatenate([p.level_dbuvm for p in parts]),
        tuple(s for p in parts for s in p.site),
    )
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    level, bearing = planned_levels(network, road.lat_deg, road.lon_deg, ground=ground, rx_height_m=args.rx_height_m)
    on_air = np.array([site.on_air for site in network.sites])
    found = calibrate(
        road.level_dbuvm,
        predicted_dbuvm=np.where(on_air[:, None], level, np.nan),
        bearing_deg=bearing,
        sites=sites,
        alone=road.site,
        sectors_n=args.sectors,
        dominance_db=args.dominance_db,
    )
    samples = sum(len(log) for log in logs)
    if args.json:
        print_json(_document(network.name, found, road, samples=samples, stretch_m=args.stretch_m))
    else:
        _print(found, samples=samples, road=road)
    return 0


def _refuse(args: argparse.Namespace, sites: tuple[str, ...]) -> None:
    """Arguments that make no sense."""
    problems = []
    if args.alone and args.alone not in sites:
        problems.append(Problem("--alone", f"there is no site {args.alone}", f"one of {', '.join(sites)}"))
    if not 1 <= args.sectors <= 72:
        problems.append(Problem("--sectors", f"cannot be {args.sectors}", "1 to 72"))
    if not 1 <= args.stretch_m <= 10_000:
        problems.append(Problem("--stretch-m", f"cannot be {args.stretch_m:g}", "1 to 10000 m"))
    if args.rx_height_m is not None and not 1 <= args.rx_height_m <= 3000:
        problems.append(Problem("--rx-height-m", f"cannot be {args.rx_height_m:g}", "1 to 3000 m"))
    if problems:
        raise PlanError(problems)


def _document(name: str, found: Calibration, road: DriveLog, *, samples: int, stretch_m: float) -> dict[str, Any]:
    """The JSON document."""
    mean, spread, count = found.together_db
    return {
        "network": name,
        "stretch_m": stretch_m,
        "samples_n": samples,
        "stretches_n": len(road),
        "sites": [_sector(row) for row in found.whole],
        "sectors": [_sector(row) for row in found.sectors],
        "together": {"difference_db": _finite(mean), "spread_db": _finite(spread), "stretches_n": count},
        "stretches": [
            {
                "lat": float(lat),
                "lon": float(lon),
                "measured_dbuvm": float(level),
                "site": site,
                "difference_db": _finite(d),
            }
            for lat, lon, level, site, d in zip(
                road.lat_deg, road.lon_deg, road.level_dbuvm, found.site, found.difference_db, strict=True
            )
        ],
        "problems": [p.as_json() for p in found.problems],
    }


def _sector(row: Sector) -> dict[str, Any]:
    """One line of the answer."""
    return {
        "site": row.site,
        "from_deg": row.from_deg,
        "to_deg": row.to_deg,
        "stretches_n": row.stretches_n,
        "difference_db": _finite(row.difference_db),
        "spread_db": _finite(row.spread_db),
        "uncertainty_db": _finite(row.uncertainty_db),
        "shift_db": _finite(row.shift_db),
        "significant": row.significant,
    }


def _print(found: Calibration, *, samples: int, road: DriveLog) -> None:
    """The table for people; sectors without stretches are left out."""
    print(f"{samples} samples, {len(road)} stretches")
    print_table(
        ("site", "bearing", "stretches", "prediction - measurement dB", "spread dB", "+- dB", "worth a shift"),
        (
            (
                row.site,
                "all round" if row.to_deg == 360.0 else f"{row.from_deg:g} to {row.to_deg:g}",
                str(row.stretches_n),
                number(row.difference_db, signed=True),
                number(row.spread_db),
                number(row.uncertainty_db),
                f"{row.shift_db:+.1f} dB" if row.significant else "no",
            )
            for row in sorted((*found.whole, *found.sectors), key=lambda row: row.site)
            if row.stretches_n
        ),
    )
    mean, spread, count = found.together_db
    if count:
        print(f"all on air, power sum: {number(mean, signed=True)} dB, spread {number(spread)} dB, {count} stretches")
    print_problems(found.problems)


def _finite(value: float) -> float | None:
    """NaN is null."""
    return float(value) if math.isfinite(value) else None
