"""Loss left by a protection, and the mean time between audible errors.

JSON keys: `protection` (words); the model as `loss_ratio`, `mean_burst_packets`, `start_probability`,
`end_probability`; what is left as `residual_loss_ratio` with its 99 % interval `residual_low_ratio`,
`residual_high_ratio` and `residual_kind` (exact, estimate, less than: then the figure is an upper limit);
`lost_packet_every_s` and `error_every_s` with `error_every_low_s`, `error_every_high_s` and `errors_kind` (null:
never; with "less than" errors are rarer than every `error_every_s`); `events_n` simulated errors that the figures rest
on; its cost as `parity_wait_us`, `repeat_wait_us`, `wait_us` (both), `packet_rate_factor` (packets sent on all paths
over media packets); `problems`; with --compare also `comparison`, the same in short for the usual protections.
"""

import argparse
import json
import sys
from fractions import Fraction

from sfn.cli.stream import number, protection_arguments, protection_of
from sfn.errors import PlanError, Problem
from sfn.stream.loss import LossModel, bursts, independent
from sfn.stream.protection import (
    Protection,
    both_parities,
    column_parity,
    packet_overhead,
    row_parity,
    st2022_1_problems,
    waits,
    with_repeat,
    with_second_path,
)
from sfn.stream.residual import residual

NAME = "loss"
SUMMARY = "loss left by parity, repeats and a second path"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    model = parser.add_argument_group("the network")
    model.add_argument("--loss-pct", type=float, help="lost packets of all, per cent")
    model.add_argument("--burst-packets", type=float, help="mean burst; without it packets are lost independently")
    model.add_argument("--second-loss-pct", type=float, help="of the second path; else as the first")
    model.add_argument("--second-burst-packets", type=float, help="of the second path; else as the first")
    parser.add_argument("--packet-ms", type=number, required=True, help="packet time; fractions such as 1/3 are exact")
    protection_arguments(parser)
    parser.add_argument("--seed", type=int, default=1, help="of the simulation, where one is needed")
    parser.add_argument("--blocks", type=int, default=200_000, help="parity blocks to simulate")
    parser.add_argument("--compare", action="store_true", help="the usual protections side by side")
    parser.add_argument("--json", action="store_true", help="one JSON document")


def run(args: argparse.Namespace) -> int:
    """Work out what is left and print it."""
    try:
        time_s = args.packet_ms / 1000
        if not 0 < time_s <= 1:
            raise ValueError(f"--packet-ms must be above 0 to 1000 ms, got {float(args.packet_ms):g}")
        first, second = _models(args)
        given = protection_of(args)
        answer = _answer(given, first, second, time_s=time_s, seed=args.seed, block_n=args.blocks)
        if args.compare:
            answer["comparison"] = [
                {key: row[key] for key in ("protection", *_COMPARED)}
                for guard in _usual(first)
                for row in [_answer(guard, first, second, time_s=time_s, seed=args.seed, block_n=args.blocks)]
            ]
    except ValueError as error:
        raise PlanError([Problem("arguments", str(error), "see python -m sfn loss --help")]) from None
    if args.json:
        json.dump(answer, sys.stdout, indent=1, allow_nan=False)
        print()
    else:
        print("\n".join(_table(answer)))
    return 0


_COMPARED = (
    "residual_loss_ratio", "residual_kind", "error_every_s", "errors_kind", "wait_us", "packet_rate_factor",
)  # fmt: skip


def _models(args: argparse.Namespace) -> tuple[LossModel, LossModel]:
    """The loss models of both paths."""
    if args.loss_pct is None:
        raise ValueError("--loss-pct must be given")
    first = _model(args.loss_pct, args.burst_packets)
    if args.second_loss_pct is None and args.second_burst_packets is None:
        return first, first
    loss_pct = args.loss_pct if args.second_loss_pct is None else args.second_loss_pct
    burst = args.burst_packets if args.second_burst_packets is None else args.second_burst_packets
    return first, _model(loss_pct, burst)


def _model(loss_pct: float, burst_packets: float | None) -> LossModel:
    """One path's model."""
    if burst_packets is None:
        return independent(loss_pct / 100)
    return bursts(loss_pct / 100, mean_burst_packets=burst_packets)


def _usual(model: LossModel) -> list[Protection]:
    """Protections to compare: a repeat spaced by several mean bursts."""
    mean = model.mean_burst_packets
    after = max(10, round(5 * mean)) if mean == mean else 10
    return [
        Protection(),
        row_parity(10),
        column_parity(10, 10),
        both_parities(10, 10),
        with_repeat(Protection(), after=after),
        with_second_path(Protection()),
        with_repeat(column_parity(10, 10), after=after),
        with_second_path(both_parities(10, 10)),
    ]


def _answer(
    guard: Protection, first: LossModel, second: LossModel, *, time_s: Fraction, seed: int, block_n: int
) -> dict[str, object]:
    """One protection as a flat document."""
    paths = (first, second) if guard.second_path else (first,)
    left = residual(guard, paths=paths, seed=seed, block_n=block_n)
    wait, step_us = waits(guard), float(time_s * 1_000_000)
    copies = guard.copies * (2 if guard.second_path else 1)
    mean = first.mean_burst_packets

    def every_s(ratio: float) -> float | None:
        return float(time_s) / ratio if ratio > 0 else None

    return {
        "protection": guard.in_words(),
        "loss_ratio": first.loss_ratio,
        "mean_burst_packets": mean if mean == mean else None,
        "start_probability": first.start_probability,
        "end_probability": first.end_probability,
        "residual_loss_ratio": left.loss_ratio,
        "residual_low_ratio": left.low_ratio,
        "residual_high_ratio": left.high_ratio,
        "residual_kind": left.kind,
        "lost_packet_every_s": every_s(left.loss_ratio),
        "error_every_s": every_s(left.errors_per_packet_ratio),
        "error_every_low_s": every_s(left.errors_high_ratio),
        "error_every_high_s": every_s(left.errors_low_ratio),
        "errors_kind": left.errors_kind,
        "events_n": left.events_n,
        "parity_wait_us": wait.parity * step_us,
        "repeat_wait_us": wait.repeat * step_us,
        "wait_us": (wait.parity + wait.repeat) * step_us,
        "packet_rate_factor": copies * float(1 + packet_overhead(guard)),
        "problems": [p.as_json() for p in st2022_1_problems(guard)],
    }


def in_words(seconds: object) -> str:
    """A time between errors as people say it."""
    if not isinstance(seconds, float):
        return "never"
    for unit, length_s in (("years", 31_557_600), ("days", 86_400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * length_s:
            return f"{seconds / length_s:.3g} {unit}"
    return f"{seconds:.3g} s"


def _table(answer: dict[str, object]) -> list[str]:
    """The answer for people."""
    rows = answer.get("comparison", [answer])
    burst = answer["mean_burst_packets"]
    kind = "bursts of" if answer["start_probability"] else "independent; runs of"
    lines = [
        f"loss {answer['loss_ratio']:.3g}, {kind} {burst:.3g} packets on average" if burst else "nothing is lost",
        "",
        f"{'protection':46}{'residual loss':>16}{'audible error every':>22}{'waits, ms':>11}{'packets x':>11}",
    ]
    assert isinstance(rows, list)
    for row in rows:
        less = "< " if row["residual_kind"] == "less than" else ""
        more = "> " if row["errors_kind"] == "less than" else ""
        lines.append(
            f"{row['protection']:46}{less + format(row['residual_loss_ratio'], '.3g'):>16}"
            f"{more + in_words(row['error_every_s']):>22}{row['wait_us'] / 1000:>11.1f}"
            f"{row['packet_rate_factor']:>11.2f}"
        )
    problems = answer["problems"]
    assert isinstance(problems, list)
    lines += [f"{p['severity']}: {p['where']}: {p['what']}; {p['expected']}" for p in problems]
    return lines
