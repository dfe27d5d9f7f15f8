"""The command line: one module a command, a table for people or ``--json`` for scripts.

A command module has `NAME`, `SUMMARY`, ``arguments(parser)`` and ``run(args) -> int``. It raises
`sfn.errors.PlanError` for anything it cannot use; `main` prints that, one line a problem, and
exits 2. Planning problems are part of the answer and exit 0.
"""

import argparse
import importlib
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from sfn.errors import PlanError
from sfn.systems.mode_table import read_own

OWN_SERVICES = "SFN_DELAYS_SERVICES"  # names the user's own file of services for every command
# One line a command: module name. Imported only when asked for, so that `--help` stays quick.
COMMANDS: tuple[str, ...] = (
    "correlate",
    "arrivals",
    "reconcile",
    "calibrate",
    "check",
    "delays",
    "ages",
    "point",
    "zones",
    "road",
    "runs",
    "contours",
    "coast",
    "country",
    "optimise",
    "sure",
    "placing",
    "path",
    "stream",
    "loss",
    "holdover",
    "refractivity",
    "repeaters",
    "signals",
    "services",
)


def _parser(wanted: str | None) -> argparse.ArgumentParser:
    """The argument parser; only the wanted command's module is given its arguments."""
    parser = argparse.ArgumentParser(
        prog="python -m sfn", description="Delays and reception in single-frequency networks."
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name in COMMANDS:
        module = importlib.import_module(f"sfn.cli.{name}")
        command = commands.add_parser(module.NAME, help=module.SUMMARY, description=module.__doc__)
        if wanted is None or wanted == module.NAME:
            module.arguments(command)
        command.set_defaults(run=module.run)
    return parser


def _southern(arguments: list[str]) -> list[str]:
    """``--at -33.9,18.4`` as ``--at=-33.9,18.4``: argparse would take a southern latitude for an option."""
    joined: list[str] = []
    for text in arguments:
        if re.match(r"-[\d.]", text) and joined and re.fullmatch(r"--[a-z0-9-]+", joined[-1]):
            joined[-1] += f"={text}"
        else:
            joined.append(text)
    return joined


def _brought(args: argparse.Namespace) -> list[str]:
    """Names of the other files that a command was given: what is wrong in one of them is not the network's."""
    given = [getattr(args, name, None) for name in ("logs", "log", "positions", "measurements", "line")]
    flat = [one for some in given for one in (some if isinstance(some, list) else [some])]
    runs = [text.partition(":")[2] for text in getattr(args, "runs", ())]
    return [Path(one).name for one in (*flat, *runs) if one]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 `check` found errors, 2 could not.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process when not given.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    wanted = arguments[0] if arguments and not arguments[0].startswith("-") else None
    words = _southern(arguments)
    args = _parser(wanted).parse_args(words)
    args.typed_words = words[1:]
    source = str(getattr(args, "network", None) or getattr(args, "signals_file", None) or args.command)
    try:
        mine = getattr(args, "services_file", None) or os.environ.get(OWN_SERVICES)
        args.own_services = read_own(mine) if mine else ""
        return int(args.run(args))
    except PlanError as error:
        for problem in error.problems:
            print(problem.line(source, brought=_brought(args)), file=sys.stderr)
        return 2
    except ValueError as refused:  # a formula's refusal: argument, value, unit and range
        print(f"{source}: {args.command}: {refused}", file=sys.stderr)
        return 2
    except BrokenPipeError:  # whoever reads has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print(f"{source}: stopped", file=sys.stderr)
        return 130
