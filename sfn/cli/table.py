"""Plain tables and JSON for the terminal."""

import argparse
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import on_globe
from sfn.plan import Network, read_file
from sfn.plan.left_out import left_out_says
from sfn.timing.planned_state import in_state
from sfn.timing.readable import readable
from sfn.visible import visible


def add_json(parser: argparse.ArgumentParser) -> None:
    """The ``--json`` switch."""
    parser.add_argument("--json", action="store_true", help="one JSON document on stdout")


def place_argument(text: str) -> tuple[float, float]:
    """``LAT,LON`` in decimal degrees.

    Raises
    ------
    PlanError
        If the text is not two numbers, or they are no place on the globe.
    """
    try:
        lat, lon = (float(part) for part in text.split(","))
    except ValueError:
        expected = "LAT,LON in decimal degrees, as 36.28,-84.19"
        raise PlanError([Problem("--at", f"cannot be {text!r}", expected, code="place-unreadable")]) from None
    return on_globe(lat, lon, where="--at")


def print_json(answer: Any) -> None:
    """One document on stdout; NaN and infinities never appear."""
    json.dump(answer, sys.stdout, indent=1, ensure_ascii=False, allow_nan=False)
    print()


def say(line: str) -> None:
    """A line on stdout; none where there is nothing to say."""
    if line:
        print(line)


def print_table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Columns lined up: the first to the left, numbers to the right."""
    lines = [[visible(cell) for cell in line] for line in (header, *rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(header))]
    for line in lines:
        print(
            "  ".join(
                c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(line, widths, strict=True))
            ).rstrip()
        )


def readable_file(args: argparse.Namespace) -> Network:
    """The part of a command's network that can be read; people are told first who is left out.

    Raises
    ------
    PlanError
        If the document cannot be used, or nothing of it can be read.
    """
    network = readable(read_file(args.network, own_services=args.own_services))
    say_left_out(network, args)
    return in_state(network, getattr(args, "state", ""))


def say_left_out(network: Network, args: argparse.Namespace) -> None:
    """Who is left out, for people."""
    if network.left_out and not args.json:
        print(f"LEFT OUT: {left_out_says(network.left_out)}")


def problem_lines(told: Iterable[Mapping[str, Any]]) -> list[str]:
    """Problems of an answer, as they stand in its JSON, a line each."""
    return [f"{p['severity']}: {p['where']}: {p['what']}; {p['expected']}" for p in told]


def print_problems(problems: Iterable[Problem]) -> None:
    """Planning problems under a table."""
    for problem in problems:
        print(visible(f"{problem.severity}: {problem.where}: {problem.what}; {problem.expected}"))
