"""What-ifs on the command line: ``--offset SITE:US``, ``--power SITE:DB`` and their like, of one site each."""

import argparse

from sfn.cli.table import say_left_out
from sfn.errors import PlanError, Problem
from sfn.library.opened import Opened, load
from sfn.plan.number_text import number_written
from sfn.study.lever_try import ALL_ROUND, Lever
from sfn.study.lever_typed import TYPED, levers_typed
from sfn.study.what_if import WhatIf
from sfn.study.window_try import WindowTry
from sfn.systems.ofdm_window import MAP_STRATEGIES


def add_tries(parser: argparse.ArgumentParser) -> None:
    """The arguments; each may be given several times."""
    for name, shape, text in (
        ("offset", "SITE:US", "try an offset (positive is later)"),
        ("clock", "SITE:US", "try a clock that is late by so much"),
        ("route", "SITE:ROUTE", "try a route, with the main route's setting"),
        ("off", "SITE", "try a site not transmitting"),
        ("power", "SITE:POWER", "try more or less power (3dB, -6dB) or another e.r.p. (2.5kW, 400W)"),
        ("azimuth", "SITE:DEG", "try the antenna turned, clockwise from the north that the document counts from"),
        ("pattern", "SITE:OTHER", f"try the pattern of another site; {ALL_ROUND}: alike in all directions"),
        ("electrical-tilt", "SITE:DEG", "try another electrical tilt, downwards"),
        ("mechanical-tilt", "SITE:DEG", "try another mechanical tilt, downwards"),
        ("antenna-height", "SITE:M", "try the middle of the antenna so high above ground"),
        ("position", "SITE:PLACE", "try the site elsewhere: a position as in a document, on WGS84"),
        ("ground-height", "SITE:M", "ground above sea level where it is tried; the terrain's where not given"),
    ):
        parser.add_argument(f"--{name}", action="append", default=[], metavar=shape, help=f"{text}; repeatable")
    add_state(parser)
    add_window(parser, "try another way for OFDM receivers to place their window")


def add_state(parser: argparse.ArgumentParser) -> None:
    """``--state NAME``."""
    parser.add_argument("--state", default="", metavar="NAME", help="in a planned state of the document, by its name")


def add_window(parser: argparse.ArgumentParser, about: str) -> None:
    """``--strategy``, ``--backoff-us`` and ``--threshold-db``."""
    default = "(the strategy's own for the service)"
    parser.add_argument("--strategy", default="", metavar="NAME", help=f"{about}: {', '.join(MAP_STRATEGIES)}")
    parser.add_argument("--backoff-us", type=float, metavar="US", help=f"how far inside the guard interval {default}")
    parser.add_argument("--threshold-db", type=float, metavar="DB", help=f'how far down "first" looks {default}')


def tries_argument(args: argparse.Namespace) -> WhatIf:
    """What is tried.

    Raises
    ------
    PlanError
        If a text is not of the shape asked for. Whether the network has the site is for `tried` to say.
    """
    problems: list[Problem] = []
    numbers = {name: _numbers(name, getattr(args, name), problems) for name in ("offset", "clock")}
    routes = dict(_pairs("route", args.route, problems))
    levers = _levers(args, problems)
    if problems:
        raise PlanError(problems)
    window = WindowTry(args.strategy, args.backoff_us, args.threshold_db)
    return WhatIf(numbers["offset"], numbers["clock"], routes, frozenset(args.off), window, args.state, levers)


def _levers(args: argparse.Namespace, problems: list[Problem]) -> dict[str, Lever]:
    """Power, direction, pattern, tilts, height and place, by site."""
    given = {name: dict(_pairs(name, getattr(args, name.replace("-", "_")), problems)) for name in TYPED}
    made, found = levers_typed(given, prefix="--")
    problems += found
    return made


def _pairs(name: str, texts: list[str], problems: list[Problem]) -> list[tuple[str, str]]:
    """``SITE:VALUE`` texts."""
    made = []
    for text in texts:
        site, colon, value = text.rpartition(":")
        if colon:
            made.append((site, value))
        else:
            problems.append(
                Problem(f"--{name}", f"cannot be {text!r}", "SITE:VALUE, as north:-12.5", code="try-unreadable")
            )
    return made


def _numbers(name: str, texts: list[str], problems: list[Problem]) -> dict[str, float]:
    """``SITE:US`` texts."""
    made = {}
    for site, value in _pairs(name, texts, problems):
        try:
            made[site] = float(number_written(value))
        except ValueError as error:
            problems.append(
                Problem(
                    f"--{name}",
                    f"{site}: {error}",
                    "microseconds, as north:-12.5",
                    code="not-a-number",
                    values={"site": site},
                )
            )
    return made


def opened(args: argparse.Namespace) -> Opened:
    """A command's network in the state that it is asked for; people are told first who is left out.

    Raises
    ------
    PlanError
        If the document cannot be used, nothing of it can be read, or it has no such state.
    """
    plan = load(args.network, own_services=args.own_services)
    say_left_out(plan.readable, args)
    return plan.in_state(args.state)
