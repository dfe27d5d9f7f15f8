"""Validate a network document and list every problem: exits 1 when one is an error."""

import argparse
from pathlib import Path

from sfn.check import all_problems_in
from sfn.cli.table import add_json, print_json, print_problems
from sfn.plan import read_file

NAME = "check"
SUMMARY = "validate, list every problem"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems; 1 when any is an error."""
    network = read_file(args.network, own_services=args.own_services)
    problems = all_problems_in(network, folder=args.network.resolve().parent, anywhere=True)
    if args.json:
        print_json({"problems": [problem.as_json() for problem in problems]})
    else:
        print_problems(problems)
        print(f"{len(problems)} problems" if problems else "no problems")
    return int(any(problem.severity == "error" for problem in problems))
