"""Delay table of a network: per site and route chain latency, tolerance, offset, added delay, setting, launch.

JSON keys that are easily misread. `sites`: one entry a site and route; `jump_us` is the launch that a change-over to
this route leaves minus the launch on main: a field that the route names in `set` goes over to the setting computed here
for the route (`fields`), every other field stays where main has it. `pairs`: difference = arrival of `b` minus arrival
of `a`; `difference_at_a_us` and `difference_at_b_us` at the antennas themselves; `zero_at_m_from_a` is where a
receiver `zero_rx_above_sea_m` above sea level (the receiver's height over the mean of the two sites' ground) hears
both at once. `triangles`: for each point (a with b, b with c, c with a) `point_kinds` (equal; jump: levels pass each
other and are nowhere equal; nearest to equal; half-way: levels cannot be compared), `point_over` (terrain, or smooth
earth where none is named or it does not cover the line), `crossings_n` (how many such points the line has: the one
nearest to its middle is taken), `level_difference_db` (first over second), `rx_above_sea_m` (receiver over the terrain,
or over the mean of the two sites' ground). `no_loop`: why there are none (sites-in-line, too-few-sites), else null.
`state`: the planned state that the table holds in (--state), null as the network stands; `planned_states`: today and
those of the document (`name`, `date`, `until`, `note`, `common_delay_us`, `changes`).
"""

import argparse
from collections.abc import Iterator
from math import isnan
from pathlib import Path

from sfn.check.on_sheet import SheetField
from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.cli.tries import add_state
from sfn.library.delays import delay_table
from sfn.library.opened import load
from sfn.report.numbers import native, number
from sfn.study.delays import KINDS, NO_LOOP, Delays, Loop
from sfn.study.states import state_says
from sfn.timing import DelayRow

NAME = "delays"
SUMMARY = "delay table: what each device must be set to"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    add_state(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the table or its JSON."""
    answer = delay_table(load(args.network, own_services=args.own_services).in_state(args.state))
    if args.json:
        print_json(answer.document)
    else:
        _print(answer.found)
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
    for said in state_says(found.network):
        print(f"PLANNED: {said}")
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
    print()
    if found.no_loop:
        print(NO_LOOP[found.no_loop])
    else:
        print_table(
            ("loop", "offset wanted us", "at", "levels", "crossings", "first over second dB", "closure error us"),
            (line for one in found.loops for line in _loop(one)),
        )
    if found.problems:
        print()
        print_problems(found.problems)


def _loop(one: Loop) -> Iterator[tuple[str, ...]]:
    """A line for each point of a loop; the misclosure beside the first."""
    for n, (wish, at) in enumerate(zip(one.wishes_us, one.levels, strict=True)):
        yield (
            f"{one.sites[n]} > {one.sites[(n + 1) % 3]}",
            number(wish, 3, signed=True),
            KINDS[at.kind],
            "over terrain" if at.over == "terrain" else "without terrain",
            str(at.crossings_n),
            number(None if isnan(at.level_difference_db) else at.level_difference_db, 1, signed=True),
            number(one.misclosure_us, 3, signed=True) if n == 0 else "",
        )
