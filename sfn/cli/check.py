"""Validate a network document and list every problem: exits 1 when one is an error."""

import argparse
from pathlib import Path

from sfn.check import check
from sfn.cli.table import add_json, print_json, print_problems
from sfn.errors import PlanError, Problem
from sfn.plan import read_file
from sfn.terrain.ground import Ground, open_ground

NAME = "check"
SUMMARY = "validate, list every problem"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems; 1 when any is an error."""
    network = read_file(args.network)
    unread: tuple[Problem, ...] = ()
    try:
        ground = open_ground(network, folder=args.network.parent, anywhere=True)
    except PlanError as refused:
        ground, unread = Ground(), refused.problems
    problems = (*check(network, terrain=ground.terrain), *unread)
    if args.json:
        print_json({"problems": [problem.as_json() for problem in problems]})
    else:
        print_problems(problems)
        print(f"{len(problems)} problems" if problems else "no problems")
    return int(any(problem.severity == "error" for problem in problems))
