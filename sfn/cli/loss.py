"""Loss left by a protection, and the mean time between audible errors, for a given or a measured network.

JSON keys: `protection` (words); the model as `loss_ratio`, `mean_burst_packets`, `start_probability`,
`end_probability`; what is left as `residual_loss_ratio` with its 99 % interval `residual_low_ratio`,
`residual_high_ratio` and `residual_kind` (exact, estimate, less than: then the figure is an upper limit; where a
capture lost nothing, no protection is credited and the figure is the most that the record leaves room for, with a
problem that says so); `lost_packet_every_s`; `error_every_s`, the mean time between audible errors (each a run of
packets, one after the other, that stay lost: counted alike whatever protects, so that losses lying apart are
several), with `error_every_low_s`, `error_every_high_s` and `errors_kind` (null: never; with "less than" errors are
rarer than every `error_every_s`); `events_n` simulated errors that the figures rest on; its cost as `parity_wait_us`,
`repeat_wait_us`, `wait_us` (both), `packet_rate_factor` (packets sent on all paths over media packets);
`model_source` (given, fitted, or an upper limit where nothing was lost); `packet_time_us`; `losses_taken_as` (null, or
that no mean burst is given and what that flatters); `second_path_taken_as`
(what is known of both paths together, in words; one capture measures no joint loss: the second path is as good as the
first, and independent unless --joint-loss-pct is typed), `joint_loss_ratio` (packets lost on both, of all: measured,
typed, or the product where the paths are taken as independent; null on one path) with its `joint_burst_packets` (null
where packets are lost alone or the paths are taken as independent); `problems`; with --compare also `comparison`, the
same in short for the usual protections. With --capture also `packets_n`, `lost_n`, `duplicates_n`, `reordered_n`,
`greatest_reorder_packets`, `measured_packet_time_us`, `drift_ppb` of the receiver's clock (null: the sender's packet
time is neither given nor one in use); `streams`, each with port, source, payload_type, carries, packets_n, first_s,
last_s, followed, why (or why not); `followed_source`; `changes` in the followed stream, each with kind (restart,
source change, clock step, clock or path step), at_s, step_us, source; `measured_loss_ratio`, `measured_burst_packets`
with their 99 % intervals `measured_loss_low_ratio`, `measured_loss_high_ratio`, `measured_burst_low_packets`,
`measured_burst_high_packets`, `independence_probability` (of a record as bursty by chance); `bursts_by_length` (each
with burst_packets, bursts_n); `repeats` (each with repeat_after_packets, both_lost_ratio: share of packets of which
both copies would have been lost, by spacing); delay above the least that all but `late_probability` keep as
`variation_us`, `variation_low_us`, `variation_high_us` (null: the record is too short for an upper end);
`delay_quantiles` (each with late_probability, delay_us, low_us, high_us, episodes_n); `hours`, each with begins_s,
hour_of_day, packets_n, lost_n, bursts_n, loss_ratio, mean_burst_packets, heavier (surely loses more than the whole),
variation_us, variation_high_us; `hours_need`, each with hour_of_day, protection (the lightest that leaves an audible
error a week at most; null: none of the usual ones), wait_us, variation_us, variation_sure (the record is long enough
for its upper end and to be sure of the protection), errors_bounded (the record shows that errors are as rare as that:
a short or clean one cannot), errors_bounded_every_s (rarer than this is all it shows; null: none can come), total_us
(null where no protection does); `release_above_least_us`, the one release delay above the path's least that covers
every hour, and `release_decided_by` (both null where an hour has no protection that does: those are the
`release_unmet_hours`), `release_sure`, `release_steps` (steps of clock or path that are in the release delay, as in
`changes`; what may be a drift is looked for beside them, a restart or a clock set back is put on the level before
it). With --second-capture also `common_packets_n`
(up to where a sender begins anew: what is behind it is told as a problem, records-compared-in-part),
`first_loss_ratio`, `second_loss_ratio`, `joint_loss_ratio`, `product_loss_ratio` (if independent), `joint_packets_n`,
`expected_joint_packets`, `chance_probability`, `independent`, `differential_us`, `joint_loss_low_ratio`,
`joint_loss_high_ratio` (99 %), `joint_burst_high_packets`,
`second_streams`, `second_changes`, `second_loss_high_ratio`, `second_burst_packets`, `second_burst_high_packets`; the
delays of an hour, in `hours`, `hours_need` and so in the release delay, are then those of the later copy above the
first path's least, whatever the protection (`variation_us` and `delay_quantiles` of the whole are the first path's
alone), and `differential_us` is how much longer the second path's least delay is than the
first's (negative: shorter), which no `wait_us` holds;
`second_longer_us` is what a plan adds to `variation_high_us` (else `variation_us`) so that it holds the later copy of
both (`--differential-ms` of `stream`): not less than that, and more where the second path's delay varies more.
`residual_kind` is exact only for a typed network with a formula: a fitted one gives an estimate whose interval spans
the fit's.
"""

import argparse
import json
import sys
from fractions import Fraction
from math import isfinite
from pathlib import Path
from typing import cast

from sfn.cli.idle import Idle, idle_joint_burst, idle_protection, refuse_idle
from sfn.cli.loss_table import table
from sfn.cli.stream_options import (
    BURST_HELP,
    interval_ratio,
    joint_interval,
    joint_ratio,
    loss_in_range,
    model_of,
    number,
    protection_arguments,
    protection_of,
)
from sfn.errors import PlanError, Problem, in_range
from sfn.stream.advise import usual
from sfn.stream.answer import paths_answer
from sfn.stream.capture import read_packets
from sfn.stream.fields import LATE_PROBABILITY
from sfn.stream.heard import SOURCE_EXPECTED, Heard, source_number
from sfn.stream.measured import Measured, measure
from sfn.stream.paths import Paths, paths_given
from sfn.stream.protection import Protection, st2022_1_problems, waits
from sfn.stream.residual import GREATEST_BLOCKS, LEAST_BLOCKS
from sfn.study.losses import BLOCKS, protected, records, with_second
from sfn.units import exact

NAME = "loss"
SUMMARY = "loss left by FEC, repeats and a second path"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    model = parser.add_argument_group("the network")
    model.add_argument(
        "--loss-pct",
        type=float,
        help="lost packets of all, per cent; required without --capture (page: 0.01)",
    )
    model.add_argument("--burst-packets", type=float, help=BURST_HELP)
    model.add_argument("--second-loss-pct", type=float, help="of the second path; else as the first")
    model.add_argument("--second-burst-packets", type=float, help="of the second path; else as the first")
    model.add_argument(
        "--joint-loss-pct", type=float, help="lost on both paths, of all; without it, or a second capture: independent"
    )
    model.add_argument("--joint-burst-packets", type=float, help="mean burst of those; else the longer of the two")
    joint_interval(model)
    record = parser.add_argument_group("a measured network, instead")
    record.add_argument("--capture", metavar="FILE", help="pcap, pcapng, or CSV with sequence and arrival_s")
    record.add_argument("--second-capture", metavar="FILE", help="the same stream on the second path, same time")
    record.add_argument("--port", type=int, help="UDP port of the stream, where a capture holds several")
    record.add_argument(
        "--source",
        metavar="SSRC",
        help="RTP source of the stream, where a port has several: 0xabcd1234 as the answer prints it, or in decimal",
    )
    record.add_argument(
        "--late-probability", type=float, default=LATE_PROBABILITY, help="tolerated share of late packets"
    )
    record.add_argument("--keep-drift", action="store_true", help="both clocks are locked: delays are as they stand")
    parser.add_argument(
        "--packet-ms",
        type=number,
        help="packet time, 1/3 is exact; required without --capture (page: 1)",
    )
    protection_arguments(parser)
    parser.add_argument("--seed", type=int, default=1, help="of the simulation, where one is needed")
    parser.add_argument(
        "--blocks", type=int, default=BLOCKS, help=f"FEC blocks to simulate; {BLOCKS} where not given, as pages do"
    )
    parser.add_argument("--compare", action="store_true", help="the usual protections side by side")
    parser.add_argument("--json", action="store_true", help="one JSON document")


def run(args: argparse.Namespace) -> int:
    """Work out what is left and print it."""
    try:
        protection = protection_of(args)
        refuse_idle(args, arguments, _idle(args))
        _asked_source(args)
        in_range("--blocks", args.blocks, least=LEAST_BLOCKS, greatest=GREATEST_BLOCKS, unit="blocks")
        time_s = _packet_time(args)
        paths, measured = _paths(args, time_s)
        if args.packet_ms is None and args.capture is None:
            raise ValueError("--packet-ms must be given")
        time_s = time_s or exact(round(float(cast(float, measured["measured_packet_time_us"])), 3)) / 1_000_000
        answer = _answer(protection, paths, time_s=time_s, seed=args.seed, block_n=args.blocks)
        answer |= {"model_source": paths.first.source, "packet_time_us": float(time_s * 1_000_000)}
        doubts = [*cast(list[object], answer["problems"]), *cast(list[object], measured.get("problems", []))]
        answer |= paths_answer(paths) | measured | {"problems": doubts}
        if args.compare:
            answer["comparison"] = [
                {key: row[key] for key in ("protection", *_COMPARED)}
                for guard in usual(paths.first.model)
                for row in [_answer(guard, paths, time_s=time_s, seed=args.seed, block_n=args.blocks)]
            ]
        refuse_idle(args, arguments, [_of_chance(args, answer)])
    except ValueError as error:
        raise PlanError(
            [Problem("arguments", str(error), "see python -m sfn loss --help", code="arguments-unusable")]
        ) from None
    if args.json:
        json.dump(answer, sys.stdout, indent=1, allow_nan=False)
        print()
    else:
        print("\n".join(table(answer, drift_kept=args.keep_drift)))
    return 0


def _of_chance(args: argparse.Namespace, answer: dict[str, object]) -> Idle:
    """Where every figure has a formula nothing is drawn, so that no start and no number of blocks count."""
    rows = cast(list[dict[str, object]], answer.get("comparison", []))
    drawn = any(row[key] != "exact" for row in (answer, *rows) for key in ("residual_kind", "errors_kind"))
    return Idle(("seed", "blocks"), drawn or args.capture is not None, "where nothing is simulated: it is exact")


def _idle(args: argparse.Namespace) -> list[Idle]:
    """Options that would do nothing beside what else is given."""
    model = ("loss_pct", "burst_packets", "second_loss_pct", "second_burst_packets")
    second = ("second_loss_pct", "second_burst_packets", "second_capture", "joint_loss_pct", "joint_interval_pct")
    return [
        Idle(model, args.capture is None, "together with --capture, which is measured"),
        Idle(
            ("joint_loss_pct", "joint_burst_packets", "joint_interval_pct"), args.second_capture is None,
            "together with --second-capture: what both lose is measured",
        ),
        Idle(
            ("second_capture", "port", "source", "late_probability", "keep_drift"),
            args.capture is not None,
            "without --capture",
        ),
        Idle(
            second, args.second_path or args.compare or args.second_capture is not None,
            "without --second-path or --compare: nothing travels there",
        ),
        *idle_joint_burst(args),
        Idle(("joint_interval_pct",), args.capture is None, "together with --capture, whose intervals are measured"),
        *idle_protection(args),
    ]  # fmt: skip


_COMPARED = (
    "residual_loss_ratio", "residual_low_ratio", "residual_high_ratio", "residual_kind",
    "error_every_s", "errors_kind", "wait_us", "packet_rate_factor",
)  # fmt: skip


def _packet_time(args: argparse.Namespace) -> Fraction | None:
    """The packet time that was typed; without it the capture tells it."""
    if args.packet_ms is None:
        return None
    if not 0 < args.packet_ms <= 1000:
        raise ValueError(f"--packet-ms must be above 0 to 1000 ms, got {float(args.packet_ms):g}")
    return Fraction(args.packet_ms) / 1000


def _paths(args: argparse.Namespace, time_s: Fraction | None) -> tuple[Paths, dict[str, object]]:
    """Loss on both paths, and what was measured."""
    if args.capture is not None:
        heard = [Heard(), Heard()]
        taken = [_record(args.capture, args, time_s, heard=heard[0])]
        if args.second_capture is not None:
            taken.append(_record(args.second_capture, args, time_s, heard=heard[1], source=taken[0].source))
        found = records(
            taken, names=(), late_probability=args.late_probability, seed=args.seed, heard=heard[: len(taken)]
        )
        assert found.paths is not None
        if len(taken) > 1 or not (args.second_path or args.compare):
            return found.paths, found.found
        joint = joint_ratio(args, found.paths.first.model, None)
        paths = with_second(found, joint_loss_ratio=joint, joint_burst_packets=args.joint_burst_packets)
        return paths, found.found | paths_answer(paths)
    loss_in_range(args)
    if args.loss_pct is None:
        raise ValueError("--loss-pct or --capture must be given")
    first, second = model_of(args, args.loss_pct), None
    if args.second_path or args.compare:
        loss_pct = args.loss_pct if args.second_loss_pct is None else args.second_loss_pct
        typed = "burst_packets" if args.second_burst_packets is None else "second_burst_packets"
        second = model_of(args, loss_pct, typed)
    return paths_given(
        first, second, joint_loss_ratio=joint_ratio(args, first, second), joint_burst_packets=args.joint_burst_packets,
        joint_interval_ratio=interval_ratio(args),
    ), {}  # fmt: skip


def _record(
    name: str, args: argparse.Namespace, time_s: Fraction | None, *, heard: Heard, source: int | None = None
) -> Measured:
    """A capture or log as a measured path; progress goes to a terminal only."""

    def show(part: float) -> None:
        print(f"\r{name}: {100 * part:3.0f} %", end="" if part < 1 else "\n", file=sys.stderr)

    try:
        with Path(name).open("rb") as file:
            return measure(
                read_packets(
                    file,
                    name=name,
                    size_bytes=Path(name).stat().st_size,
                    port=args.port if source is None else None,
                    source=_asked_source(args) if source is None else source,
                    heard=heard,
                    progress=show if sys.stderr.isatty() else None,
                ),
                packet_time_s=None if time_s is None else float(time_s),
                remove_drift=not args.keep_drift,
            )
    except OSError as error:
        problem = Problem(
            name, f"cannot be read ({error.strerror})", "a capture or a log of packets", code="file-unreadable"
        )
        raise PlanError([problem]) from None


def _asked_source(args: argparse.Namespace) -> int | None:
    """The RTP source that was typed, refused in one line where it is none."""
    try:
        return None if args.source is None else source_number(args.source)
    except ValueError as error:
        raise PlanError([Problem("--source", str(error), SOURCE_EXPECTED, code="not-a-source")]) from None


def _answer(guard: Protection, paths: Paths, *, time_s: Fraction, seed: int, block_n: int) -> dict[str, object]:
    """One protection as a flat document."""
    cost = protected(guard, paths, packet_time_s=float(time_s), seed=seed, block_n=block_n)
    left, first = cost.left, paths.first.model
    wait, step_us = waits(guard), float(time_s * 1_000_000)
    mean = first.mean_burst_packets

    def every_s(ratio: float) -> float | None:
        return float(time_s) / ratio if ratio > 0 else None

    return {
        "protection": guard.in_words(),
        "loss_ratio": first.loss_ratio,
        "mean_burst_packets": mean if isfinite(mean) else None,
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
        "packet_rate_factor": cost.rate_factor,
        "problems": [p.as_json() for p in st2022_1_problems(guard)],
    }
