"""Validate a network document, list every problem, and say whether each site's sheet may go out.

Exits 1 when a problem is an error. A sheet may be withheld where none is: what a field is set to now is not known, say.

JSON keys: `problems`; `verdicts`: each with `site`, `route`, `verdict` (fit, sign-off, withheld) and `reasons` (codes);
`reported_fields_n`: fields whose present value was reported: 0 of a document, whose reports the application keeps;
`radiated_before`: the file of `--before`, null without it: whether anything is planned to be radiated otherwise is then
not asked.
"""

import argparse
from pathlib import Path

from sfn.answer.check import document
from sfn.check import all_problems_in
from sfn.check.review import review
from sfn.cli.table import add_json, print_json, print_problems
from sfn.plan import read_file
from sfn.plan.reported import Reported
from sfn.study.radiated_apart import radiated_problems
from sfn.units import counted

NAME = "check"
SUMMARY = "validate, list every problem"
IN_WORDS = {"fit": "fit to issue", "sign-off": "SIGN-OFF needed", "withheld": "WITHHELD"}


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument(
        "--before",
        type=Path,
        metavar="NETWORK",
        help="the document as which the sites radiate now: what this one plans to be radiated otherwise is named",
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems and the verdicts; 1 when any problem is an error."""
    network = read_file(args.network, own_services=args.own_services)
    if args.before is not None:
        was = read_file(args.before, own_services=args.own_services)
        known = {site.id: (site, f"{args.before.name}") for site in was.sites}
        network = network.beside(Reported({}, problems=radiated_problems(network, known)))
    problems = all_problems_in(network, folder=args.network.resolve().parent, anywhere=True)
    reviewed = review(network, problems=problems)
    if args.json:
        print_json(document(reviewed) | {"radiated_before": None if args.before is None else args.before.name})
    else:
        print_problems(problems)
        print(counted(len(problems), "problem") if problems else "no problems")
        print("no report stands beside this document: what is set now, and the way back, are only what it says")
        if args.before is None:
            print(
                "power, antennas and which sites are on air count as they stand here: --before tells what is "
                "not radiated so yet"
            )
        names = {site.id: site.name for site in network.sites}
        for one in reviewed.verdicts.values():
            because = f": {', '.join(one.codes)}" if one.codes else ""
            print(f"sheet of {names[one.site]} ({one.route}): {IN_WORDS[one.state]}{because}")
    return int(any(problem.severity == "error" for problem in problems))
