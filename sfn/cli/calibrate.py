"""Predicted levels beside those logged on the road: prediction minus measurement per site and sector.

LOG is a table as a receiver writes it (CSV, XLSX; latitude, longitude and a level in dBuV/m, dBuV or dBm under any
usual name, if wanted the site on air alone), or a GPX file whose points hold the level. What a log leaves open is
asked; a line that cannot be used is left out and counted with its number. Several logs are put together.

JSON keys: `network`, `stretch_m`, `samples_n`, `stretches_n`; `sites` and `sectors`: each `site`, `from_deg`, `to_deg`
(bearings seen from the site, 0 to 360 is all round), `stretches_n`, `difference_db` (prediction minus measurement),
`spread_db` (of single stretches), `uncertainty_db` (of the mean), `shift_db` (what to add to the prediction),
`significant` (worth a shift); `together` (power sum of all, stretches with all on air): `difference_db`, `spread_db`,
`stretches_n`; `shifts_db`: by site what could be accepted, at even bearings from 0 degrees on; `stretches`: each
`lat`, `lon`, `measured_dbuvm`, `site` (that it speaks of, or null), `difference_db`; `logs`: each `log`, `lines_n`,
`used_n`, `other_channels_n`, `skipped_n`, `skipped` (`line`, `why`), `read_as` (sentences); `problems`.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals.
"""

import argparse
from pathlib import Path

from sfn.answer.calibrated import document
from sfn.cli.logs import add_log_options, print_origins, reading_arguments
from sfn.cli.table import add_json, print_json, print_problems, print_table, readable_file
from sfn.report.numbers import number
from sfn.study.calibrated import Calibrated, calibrated
from sfn.survey.drive_log import read_log
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
    parser.add_argument("--dominance-db", type=float, default=10.0, metavar="DB", help="told from others by")
    parser.add_argument("--rx-height-m", type=float, metavar="H", help="antenna above ground (the network's receiver)")
    add_log_options(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    network = readable_file(args)
    of, how = reading_arguments(args, network)
    answer = calibrated(
        network,
        [read_log(path, sites=of.sites, of=of, how=how) for path in args.logs],
        alone=args.alone,
        sectors_n=args.sectors,
        stretch_m=args.stretch_m,
        dominance_db=args.dominance_db,
        rx_height_m=args.rx_height_m,
        ground=open_ground(network, folder=args.network.resolve().parent, anywhere=True),
    )
    if args.json:
        print_json(document(answer))
    else:
        _print(answer)
    return 0


def _print(answer: Calibrated) -> None:
    """The table for people; sectors without stretches are left out."""
    found = answer.found
    print_origins(answer.origins)
    print(f"{answer.samples_n} samples, {len(answer.road)} stretches")
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
    print_problems(answer.problems)
