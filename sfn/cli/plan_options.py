"""Options of ``optimise --vary``: bounds and steps, costs, and licences; and Ctrl-C, which keeps the best so far."""

import argparse
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sfn.cli.contours import licence_areas
from sfn.cli.sure import WORLDS, add_measured_options, add_world_options, worlds_measured
from sfn.errors import PlanError, Problem
from sfn.library.opened import Opened
from sfn.plan.may_change import ChangeCosts, SiteChanges
from sfn.plan.number_text import number_written
from sfn.study.plan_levers import KINDS
from sfn.study.plan_scene import Licence

STEPS = {
    "power_steps": ("power_db", "change of e.r.p., dB"),
    "azimuth_steps": ("azimuth_deg", "azimuth, degrees clockwise"),
    "tilt_steps": ("electrical_tilt_deg", "electrical tilt, degrees downwards"),
    "mechanical_tilt_steps": ("mechanical_tilt_deg", "mechanical tilt, degrees downwards"),
}
COSTS = {"visit": "visit", "rigging": "rigging_day", "licence": "licence_change"}
BESIDE = (
    "patterns",
    "on_off",
    "cost",
    "cost_unit",
    "licence",
    "licence_level_dbuvm",
    "robust",
    "measured",
    *WORLDS,
    *STEPS,
)
"""Options that mean nothing without ``--vary``."""
SHAPE = "LEAST:GREATEST:STEP"


def add_plan_options(parser: argparse.ArgumentParser) -> None:
    """The options."""
    said = "search plans that vary these together, of which the answer is the front of people served against cost: "
    more = "; bounds are the document's (may_change), else those given here"
    parser.add_argument("--vary", metavar="LEVERS", help=f"{said}{','.join(KINDS)}{more}")
    for name, (_, text) in STEPS.items():
        parser.add_argument(f"--{name.replace('_', '-')}", metavar=SHAPE, help=f"{text}; with --vary")
    parser.add_argument("--patterns", metavar="SITES", help="sites whose pattern may be taken, - for none; with --vary")
    parser.add_argument(
        "--on-off", action="store_true", help="any site may be put on air or stop transmitting; with --vary on-off"
    )
    parser.add_argument(
        "--cost", action="append", default=[], metavar="WHAT:N",
        help="what a visit (1), a rigging day (4) and a licence change (2) cost: visit:1; repeatable; with --vary",
    )  # fmt: skip
    parser.add_argument("--cost-unit", metavar="NAME", help="what costs are counted in (visits); with --vary")
    parser.add_argument(
        "--robust", choices=("p20", "mean"),
        help="then search half as long for what is served with 80 %% of the chances, or on the average of drawn "
        "worlds; with --vary",
    )  # fmt: skip
    add_world_options(parser, seed=False, beside="; with --vary, 0: none")
    add_measured_options(parser, beside="; with --vary")
    parser.add_argument("--licence", type=Path, metavar="FILE", help="GeoJSON or KML no site may reach out of")
    parser.add_argument("--licence-level-dbuvm", type=float, metavar="E", help="at this field strength, dBuV/m")


def plan_options(args: argparse.Namespace, network: Opened) -> dict[str, Any]:
    """The options as the search takes them: vary, general, costs, licences.

    Raises
    ------
    PlanError
        If one cannot be read, or does nothing.
    """
    problems: list[Problem] = []
    vary = [word.strip() for word in args.vary.split(",") if word.strip()]
    line: dict[str, Any] = {"on_air": args.on_off}
    for name, (key, _) in STEPS.items():
        if (text := getattr(args, name)) is not None:
            line[key] = _steps(f"--{name.replace('_', '-')}", text, problems)
    if args.patterns is not None:
        line["patterns"] = [one.strip() for one in args.patterns.split(",") if one.strip()]
    costs = _costs(args, problems)
    if problems:
        raise PlanError(problems)
    _refuse_idle(args, vary)
    return {
        "vary": vary,
        "general": _record(SiteChanges, line, OPTIONS),
        "costs": None if costs is None else _record(ChangeCosts, costs, COST_OPTIONS),
        "licences": _licences(args),
        "sure": None if args.worlds == 0 else worlds_measured(args, network),
        "robust": args.robust,
    }


OPTIONS = {key: f"--{name.replace('_', '-')}" for name, (key, _) in STEPS.items()} | {"patterns": "--patterns"}
COST_OPTIONS = dict.fromkeys(COSTS.values(), "--cost") | {"unit": "--cost-unit"}


def _record(of: Any, tree: dict[str, Any], options: dict[str, str]) -> Any:
    """A record of the document out of options; what is wrong is told at the option."""
    import json

    try:
        return of.model_validate_json(json.dumps(tree))
    except ValidationError as error:
        raise PlanError(
            Problem(
                options.get(str(one["loc"][0]), "--vary"), f"cannot be used: {one['msg']}", SHAPE, code="out-of-range"
            )
            for one in error.errors(include_url=False)
        ) from None


def _steps(option: str, text: str, problems: list[Problem]) -> dict[str, float]:
    """``-6:0:3``."""
    try:
        least, greatest, step = (float(number_written(part)) for part in text.split(":"))
    except ValueError:
        problems.append(Problem(option, f"cannot be {text!r}", f"{SHAPE}, as -6:0:3", code="not-a-number"))
        return {}
    return {"least": least, "greatest": greatest, "step": step}


def _costs(args: argparse.Namespace, problems: list[Problem]) -> dict[str, Any] | None:
    """``visit:1``, any number of times."""
    made: dict[str, Any] = {} if args.cost_unit is None else {"unit": args.cost_unit}
    for text in args.cost:
        word, _, value = text.partition(":")
        try:
            made[COSTS[word.strip()]] = float(number_written(value))
        except (KeyError, ValueError):
            expected = f"one of {', '.join(COSTS)}, a colon and a number, as visit:1"
            problems.append(Problem("--cost", f"cannot be {text!r}", expected, code="not-a-number"))
    return made or None


def _licences(args: argparse.Namespace) -> tuple[Licence, ...]:
    """The licence's file at its level."""
    if args.licence is None:
        return ()
    level = args.licence_level_dbuvm
    if level is None or not -20.0 <= level <= 150.0:
        what = "is missing" if level is None else f"cannot be {level:g}"
        raise PlanError([Problem("--licence-level-dbuvm", what, "-20 to 150 dBuV/m", code="out-of-range")])
    return (Licence(args.licence.name, level, licence_areas(args.licence)),)


def _refuse_idle(args: argparse.Namespace, vary: list[str]) -> None:
    """Options that would do nothing."""
    needs = {
        "power_steps": "power", "azimuth_steps": "azimuth", "tilt_steps": "tilt", "mechanical_tilt_steps": "tilt",
        "patterns": "pattern", "on_off": "on-off",
    }  # fmt: skip
    wrong = [
        Problem(f"--{name.replace('_', '-')}", f"does nothing where {kind} is not varied", f"{kind} among --vary",
                code="option-idle")
        for name, kind in needs.items()
        if getattr(args, name) and kind not in vary
    ]  # fmt: skip
    for name in ("max_changed", "nights"):
        if getattr(args, name) is not None:
            option = f"--{name.replace('_', '-')}"
            wrong.append(Problem(option, "does nothing with --vary", f"no {option}: costs say it", code="option-idle"))
    if args.licence is None and args.licence_level_dbuvm is not None:
        expected = "--licence beside it"
        wrong.append(Problem("--licence-level-dbuvm", "does nothing without --licence", expected, code="option-idle"))
    wrong += measured_idle(args)
    if wrong:
        raise PlanError(wrong)


def measured_idle(args: argparse.Namespace) -> list[Problem]:
    """Drive tests where no worlds are drawn."""
    if not args.measured or args.worlds != 0:
        return []
    what, expected = "does nothing where no worlds are drawn", "--worlds above 0, or no --measured"
    return [Problem("--measured", what, expected, code="option-idle")]


def refuse_without_vary(args: argparse.Namespace) -> None:
    """Options of plans where plans are not asked for.

    Raises
    ------
    PlanError
        If there are any.
    """
    given = [f"--{name.replace('_', '-')}" for name in BESIDE if getattr(args, name) not in (None, False, [])]
    if given:
        raise PlanError(
            Problem(option, "does nothing without --vary", "--vary beside it", code="option-idle") for option in given
        )


@contextmanager
def stopped_by_hand() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed: once stops the search and keeps the best, twice ends the command."""
    pressed: list[int] = []

    def press(number: int, _frame: object) -> None:
        signal.signal(number, usual)
        pressed.append(number)

    usual = signal.signal(signal.SIGINT, press)
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, usual)
