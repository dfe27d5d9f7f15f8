"""Options of commands that read logs of levels: what a log leaves open."""

import argparse
from collections.abc import Iterable
from pathlib import Path

from sfn.plan import Network
from sfn.plan.sheets import content_of
from sfn.survey.drive_log import Origin
from sfn.survey.log_about import About, Reading, about
from sfn.survey.log_fixes import fixes_of
from sfn.survey.log_places import ORDERS
from sfn.survey.receiver_level import UNITS, Receiver


def add_log_options(parser: argparse.ArgumentParser) -> None:
    """Declare them."""
    some = parser.add_argument_group("how the logs are to be read, where they do not say")
    some.add_argument("--level-unit", choices=UNITS, help="of the levels")
    some.add_argument("--antenna-factor-db", type=float, metavar="K", help="dB/m, for logs in dBuV or dBm")
    some.add_argument("--antenna-gain-dbi", type=float, metavar="G", help="dBi, in place of the factor")
    some.add_argument("--cable-loss-db", type=float, default=0.0, metavar="A", help="between antenna and receiver (0)")
    some.add_argument("--impedance-ohm", type=float, default=50.0, metavar="R", help="of the receiver, for dBm (50)")
    some.add_argument("--channel", default="", metavar="NAME", help="which, where a log holds several")
    some.add_argument("--coordinates", choices=ORDERS, default="ask", help="latitude and longitude exchanged?")
    some.add_argument("--positions", type=Path, metavar="FILE", help="GPX, CSV or NMEA: positions, joined by time")
    some.add_argument("--clock-ahead-s", type=float, metavar="S", help="the log's clock before that of the positions")


def reading_arguments(args: argparse.Namespace, network: Network) -> tuple[About, Reading]:
    """What they say, and what a log of this network is of."""
    receiver = Receiver(args.antenna_factor_db, args.antenna_gain_dbi, args.cable_loss_db, args.impedance_ohm)
    fixes = None
    if args.positions is not None:
        content = content_of(args.positions, expected="a GPX, CSV or NMEA file")
        fixes = fixes_of(content, source=args.positions.name)
    how = Reading(args.level_unit, receiver, args.channel, args.coordinates, args.clock_ahead_s, fixes)
    return about(network), how


def print_origins(origins: Iterable[tuple[Origin, int]]) -> None:
    """How each log was read, and how many of its lines were used."""
    for origin, used_n in origins:
        other = f", {origin.other_channels_n} of other channels" if origin.other_channels_n else ""
        left_out = f", {len(origin.skipped)} left out" if origin.skipped else ""
        said = f"; {'; '.join(origin.told)}" if origin.told else ""
        print(f"{origin.name}: {used_n} of {origin.lines_n} lines used{left_out}{other}{said}")
