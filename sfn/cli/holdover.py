"""Time until clocks without their reference cost a given error, each alone and between sites.

One clock: from its own figures (signs count) or of a class (worst signs). Several sites: --site ID:CLASS, a class or
"locked". JSON keys: `limit_us`; one clock: `oscillator`, `initial_us`, `frequency_offset_ratio`, `ageing_per_day`,
`temperature_per_degc`, `temperature_step_degc`, `temperature_swing_degc`, `time_to_limit_h` (null: never), `curve`
(each with after_h, error_us: greatest until then, over the phase of the day), `alarms` (each with name, after_h,
error_us);
several sites: `sites` (each with id, oscillator, time_to_limit_h) and `pairs` (each with a, b,
time_to_limit_h by worst case, rss_time_to_limit_h if independent); `left_out` (terms of the model that count for
nothing because their figure is 0: the true time is shorter), `note`.
"""

import argparse
import json
import sys
from itertools import combinations
from math import isinf

import numpy as np

from sfn.cli.idle import Idle, refuse_idle
from sfn.clock.holdover import Clock, alarms, greatest_error, left_out, pair_time_to_limit, time_to_limit
from sfn.clock.oscillator import NOTE, oscillator, oscillators
from sfn.errors import PlanError, Problem
from sfn.study.clocks import LOCKED_US

NAME = "holdover"
SUMMARY = "time until a clock costs a given error"

CURVE_H = (1, 2, 4, 8, 12, 24, 48, 72, 120, 168)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--limit-us",
        type=float,
        required=True,
        help="error to reach, us (page: the service's)",
    )
    source = parser.add_argument_group("one clock")
    source.add_argument("--oscillator", help=f"a class ({', '.join(oscillators())}); {NOTE}")
    source.add_argument("--good", action="store_true", help="the good end of the class instead of the poor one")
    source.add_argument("--initial-us", type=float, default=0.0)
    source.add_argument(
        "--frequency-offset",
        type=float,
        default=0.0,
        help="relative; 0: not counted, and said so (page: 1e-10)",
    )
    source.add_argument(
        "--ageing-per-day",
        type=float,
        default=0.0,
        help="relative; 0: not counted, and said so (page: 5e-10)",
    )
    source.add_argument(
        "--temperature-per-degc",
        type=float,
        default=0.0,
        help="relative; 0: not counted, and said so (page: 1e-10)",
    )
    parser.add_argument(
        "--step-degc",
        type=float,
        default=0.0,
        help="away from where it was disciplined; 0: not counted, and said so (page: 5)",
    )
    parser.add_argument(
        "--swing-degc",
        type=float,
        default=0.0,
        help="day and night, each way from the mean; 0: not counted, and said so (page: 5)",
    )
    parser.add_argument(
        "--reaction-h",
        type=float,
        default=0.0,
        help="time somebody needs to get there (0; page: 2)",
    )
    parser.add_argument("--locked-us", type=float, default=LOCKED_US, help="error of a site that keeps its reference")
    parser.add_argument(
        "--site", action="append", default=[], metavar="ID:CLASS", help="several sites, and their pairs"
    )
    parser.add_argument("--json", action="store_true", help="one JSON document")


def run(args: argparse.Namespace) -> int:
    """Work out the times and print them."""
    try:
        refuse_idle(args, arguments, _idle(args))
        answer = _sites(args) if args.site else _one(args)
    except ValueError as error:
        raise PlanError(
            [Problem("arguments", str(error), "see python -m sfn holdover --help", code="arguments-unusable")]
        ) from None
    if args.json:
        json.dump(answer, sys.stdout, indent=1, allow_nan=False)
        print()
    else:
        print("\n".join(_table(answer)))
    return 0


def _idle(args: argparse.Namespace) -> list[Idle]:
    """Options that would do nothing beside what else is given."""
    own = ("initial_us", "frequency_offset", "ageing_per_day", "temperature_per_degc")
    by_class = args.oscillator is not None or any(not text.endswith(":locked") for text in args.site)
    warmth = by_class or args.temperature_per_degc != 0
    return [
        Idle(("oscillator", *own, "reaction_h"), not args.site, "together with --site"),
        Idle(("locked_us",), any(text.endswith(":locked") for text in args.site), "without a --site ID:locked"),
        Idle(("good",), by_class, "without --oscillator or a class of a --site"),
        Idle(
            ("good",),
            _good_counts(args),
            "where both ends of the class are alike: only temperature tells them apart, "
            "and neither --step-degc nor --swing-degc is given",
        ),
        Idle(("step_degc", "swing_degc"), warmth, "without a class or --temperature-per-degc: no temperature counts"),
    ]


def _good_counts(args: argparse.Namespace) -> bool:
    """Whether the good end of any class named does otherwise than its poor one."""
    kinds = [args.oscillator] if args.oscillator else [text.partition(":")[2] for text in args.site]
    classes = [oscillator(kind) for kind in kinds if kind in oscillators()]
    warm = args.step_degc != 0 or args.swing_degc != 0
    ends = [
        [_figures(one.clock(poor=poor, step_degc=0.0, swing_degc=0.0)) for poor in (True, False)] for one in classes
    ]
    return not classes or any(poor[:3] != good[:3] or (warm and poor != good) for poor, good in ends)


def _one(args: argparse.Namespace) -> dict[str, object]:
    """One clock."""
    own = (args.initial_us, args.frequency_offset, args.ageing_per_day, args.temperature_per_degc)
    if args.oscillator:
        if any(own[1:]):
            raise ValueError("--oscillator must not be given together with figures of an own clock")
        kind = oscillator(args.oscillator)
        typical = kind.clock(poor=not args.good, step_degc=args.step_degc, swing_degc=args.swing_degc)
        clock = Clock(abs(args.initial_us), *_figures(typical)[1:])
    else:
        if not any(own):
            raise ValueError("--oscillator or figures of an own clock must be given")
        clock = Clock(*own, args.step_degc, args.swing_degc)
    end_h = time_to_limit(clock, limit_us=args.limit_us)
    names = ("initial_us", "frequency_offset_ratio", "ageing_per_day", "temperature_per_degc",
             "temperature_step_degc", "temperature_swing_degc")  # fmt: skip
    rung = alarms(clock, limit_us=args.limit_us, reaction_h=args.reaction_h)
    return {
        "limit_us": args.limit_us,
        "oscillator": args.oscillator,
        **dict(zip(names, _figures(clock), strict=True)),
        "time_to_limit_h": _hours(end_h),
        "curve": [{"after_h": t, "error_us": _so_far(clock, t)} for t in CURVE_H],
        "alarms": [{"name": a.name, "after_h": a.after_h, "error_us": a.error_us} for a in rung],
        "left_out": list(left_out(clock)),
        "note": NOTE if args.oscillator else None,
    }


def _so_far(clock: Clock, until_h: float) -> float:
    """Greatest error up to a time: the day's swing comes back, what a listener heard does not. [us]"""
    return float(greatest_error(clock, after_h=np.linspace(0.0, until_h, 4 * int(until_h) + 1)).max())


def _sites(args: argparse.Namespace) -> dict[str, object]:
    """Several sites and all pairs."""
    clocks: dict[str, tuple[str, Clock]] = {}
    for text in args.site:
        site, colon, kind = text.partition(":")
        if not colon or not site or site in clocks:
            raise ValueError(f"--site must be ID:CLASS with each ID once, got {text!r}")
        locked = Clock(initial_us=args.locked_us)
        made = locked if kind == "locked" else oscillator(kind).clock(
            poor=not args.good, step_degc=args.step_degc, swing_degc=args.swing_degc
        )  # fmt: skip
        clocks[site] = (kind, made)
    return {
        "limit_us": args.limit_us,
        "sites": [
            {"id": site, "oscillator": kind, "time_to_limit_h": _hours(time_to_limit(c, limit_us=args.limit_us))}
            for site, (kind, c) in clocks.items()
        ],
        "pairs": [
            {
                "a": a,
                "b": b,
                "time_to_limit_h": _hours(pair_time_to_limit(clocks[a][1], clocks[b][1], limit_us=args.limit_us)),
                "rss_time_to_limit_h": _hours(
                    pair_time_to_limit(clocks[a][1], clocks[b][1], limit_us=args.limit_us, worst_case=False)
                ),
            }
            for a, b in combinations(clocks, 2)
        ],
        "left_out": sorted({one for kind, made in clocks.values() if kind != "locked" for one in left_out(made)}),
        "note": NOTE,
    }


def _figures(clock: Clock) -> tuple[float, float, float, float, float, float]:
    """Fields of a clock in their order."""
    return (
        clock.initial_us, clock.frequency_offset_ratio, clock.ageing_per_day,
        clock.temperature_per_degc, clock.temperature_step_degc, clock.temperature_swing_degc,
    )  # fmt: skip


def _hours(time_h: float) -> float | None:
    """Hours, null for never."""
    return None if isinf(time_h) else time_h


def _said(time_h: object) -> str:
    """Hours as people say them."""
    if not isinstance(time_h, float):
        return "never"
    return f"{time_h:.2f} h" if time_h < 72 else f"{time_h / 24:.1f} days"


def _table(answer: dict[str, object]) -> list[str]:
    """The answer for people."""
    lines = []
    if "time_to_limit_h" in answer:
        lines.append(f"{answer['limit_us']:g} us reached after {_said(answer['time_to_limit_h'])}")
        lines += ["", f"{'after':>8}{'error, us':>14}"]
    for row in _rows(answer, "curve"):
        lines.append(f"{row['after_h']:>6} h{row['error_us']:>14.3f}")
    for row in _rows(answer, "alarms"):
        lines.append(f"alarm: {row['name']}, {_said(row['after_h'])} on, error up to {row['error_us']:.3f} us")
    for row in _rows(answer, "sites"):
        lines.append(f"{row['id']:24}{row['oscillator']:14}{_said(row['time_to_limit_h']):>14}")
    for row in _rows(answer, "pairs"):
        both = f"{row['a']} - {row['b']}"
        lines.append(
            f"{both:38}{_said(row['time_to_limit_h']):>14}  (independent: {_said(row['rss_time_to_limit_h'])})"
        )
    missing = answer["left_out"]
    assert isinstance(missing, list)
    if missing:
        lines += ["", f"NOT COUNTED, so the true time is shorter: {'; '.join(missing)}."]
        lines.append(f"Name what you know of it: {', '.join(_options(missing, by_class=bool(answer['note'])))}.")
    if answer["note"]:
        lines += ["", f"Figures of classes are {answer['note']}."]
    return lines


_TEMPERATURES = {
    "a temperature away from that of disciplining": "--step-degc",
    "the temperature of day and night": "--swing-degc",
}
_OWN = {"the frequency offset that stayed after disciplining": "--frequency-offset", "ageing": "--ageing-per-day"}


def _options(missing: list[str], *, by_class: bool) -> list[str]:
    """Options that name what is missing; of an own clock also how much a degree does to it."""
    own = [] if by_class else [option for words, option in _OWN.items() if words in missing]
    warm = [option for words, option in _TEMPERATURES.items() if words in missing]
    return own + (["--temperature-per-degc"] if warm and not by_class else []) + warm


def _rows(answer: dict[str, object], key: str) -> list[dict[str, object]]:
    """A list of the answer, empty when it has none of that name."""
    rows = answer.get(key, [])
    assert isinstance(rows, list)
    return rows
