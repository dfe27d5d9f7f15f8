"""Delay table of a network: per site and route chain latency, tolerance, offset, added delay, setting, launch."""

import argparse
from pathlib import Path

from sfn.answer.delays import Delays, delays, document
from sfn.check import all_problems_in
from sfn.check.on_sheet import SheetField
from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.plan import read_file
from sfn.report.numbers import native, number
from sfn.timing import DelayRow

NAME = "delays"
SUMMARY = "delay table: what each device must be set to"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the table or its JSON."""
    network = read_file(args.network, own_services=args.own_services)
    found = delays(network, problems=all_problems_in(network, folder=args.network.resolve().parent, anywhere=True))
    if args.json:
        print_json(document(found))
    else:
        _print(found)
    return 0


def _settings(found: Delays, row: DelayRow) -> str:
    """As the sheet gives them; beside it the delay table's, where a first try splits the total otherwise."""
    asked = found.on_sheet[row.site_id, row.route]
    said = " + ".join(_setting(field) for field in asked) or "no field"
    if [one.value for one in asked] == [one.value for one in row.fields]:
        return said
    return f"{said} (coarse first {' + '.join(native(field.value, field.unit) for field in row.fields)})"


def _setting(field: SheetField) -> str:
    """What is typed into the device: the total, or the change where it takes that."""
    total = native(field.value, field.unit)
    if field.entry == "absolute":
        return total
    typed = "the difference" if field.enter is None else native(field.enter, field.unit, signed=True)
    return f"enter {typed} (total then {total})"


def _print(found: Delays) -> None:
    """The tables for people."""
    print(f"{found.network.name}: common delay {number(found.table.common_delay_us, 4)} us")
    header = (
        "site",
        "route",
        "latency us",
        "+- us",
        "rss us",
        "offset us",
        "added us",
        "setting",
        "rounding us",
        "launch us",
        "change us",
        "sheet",
    )
    print_table(
        header,
        (
            (
                row.site_id,
                row.route,
                number(row.latency_us, 4),
                number(row.tolerance_us, 1),
                number(row.rss_us, 1),
                number(row.offset_us, 1, signed=True),
                number(row.added_us, 4),
                _settings(found, row),
                number(row.rounding_us, 4, signed=True),
                number(row.launch_us, 4),
                number(row.change_us, 1, signed=True),
                found.verdicts[row.site_id, row.route].state,
            )
            for row in found.table.rows
        ),
    )
    for one in found.table.missing:
        print(f"missing: {one.problem.what}")
    print()
    print_table(
        ("pair", "km", "difference at a us", "at b us", "zero at km from a", "+- us", "+- us by positions"),
        (
            (
                f"{pair.a} - {pair.b}",
                number(pair.ground_m / 1000, 3),
                number(pair.difference_at_a_us, 3, signed=True),
                number(pair.difference_at_b_us, 3, signed=True),
                number(None if pair.zero_at_m_from_a is None else pair.zero_at_m_from_a / 1000, 3),
                number(pair.tolerance_us, 3),
                number(pair.position_us, 3),
            )
            for pair in found.pairs
        ),
    )
    if found.triangles:
        print()
        print_table(
            ("loop", "misclosure us"),
            ((" > ".join(t.sites), number(t.misclosure_us, 3, signed=True)) for t in found.triangles),
        )
    if found.problems:
        print()
        print_problems(found.problems)
