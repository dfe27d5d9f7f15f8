"""Flat documents of what was measured or advised: the commands print them, the pages show them."""

from math import isfinite

import numpy as np
from numpy.typing import NDArray

from sfn.stream.advise import Choice
from sfn.stream.buffer import DelayQuantile, Hour, delay_quantile
from sfn.stream.joint import Joint, loss_of_repeats
from sfn.stream.loss import Fit, binomial_interval, fit
from sfn.stream.measured import Measured
from sfn.stream.paths import Paths
from sfn.stream.protection import waits

SHOWN_PROBABILITIES = (0.5, 0.1, 0.01, 1e-3, 1e-4, 1e-5)
GREATEST_LISTED_PACKETS = 10_000
REPEAT_SPACINGS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def measured_answer(measured: Measured, hours: tuple[Hour, ...], *, late_probability: float) -> dict[str, object]:
    """One measured path.

    Parameters
    ----------
    measured : Measured
    hours : tuple of Hour
        From `sfn.stream.buffer.hours`.
    late_probability : float
        Tolerated share of late packets.
    """
    lengths = measured.burst_lengths
    packets_n = int(measured.delay_us.size)
    wanted = delay_quantile(measured.delay_us, late_probability=late_probability)
    levels = [p for p in SHOWN_PROBABILITIES if p * packets_n >= 1]
    return {
        "packets_n": packets_n,
        "lost_n": int(lengths.sum()),
        "duplicates_n": measured.duplicates_n,
        "reordered_n": measured.reordered_n,
        "greatest_reorder_packets": measured.greatest_reorder_packets,
        "measured_packet_time_us": measured.packet_time_s * 1e6,
        "drift_ppb": measured.drift_ppb,
        "followed_source": None if measured.source is None else f"{measured.source:#010x}",
        "changes": [one.as_answer() for one in measured.changes],
        **fit_answer(fit(packets_n, burst_lengths=lengths), packets_n=packets_n),
        "bursts_by_length": bursts_by_length(lengths),
        "repeats": repeats_answer(measured),
        "late_probability": late_probability,
        "variation_us": wanted.delay_us,
        "variation_low_us": wanted.low_us,
        "variation_high_us": wanted.high_us,
        "delay_quantiles": [quantile_answer(delay_quantile(measured.delay_us, late_probability=p)) for p in levels],
        "hours": [hour_answer(hour, overall_ratio=float(lengths.sum()) / packets_n) for hour in hours],
    }


def fit_answer(fitted: Fit | None, *, packets_n: int) -> dict[str, object]:
    """A fitted model with its intervals; where nothing was lost only the upper limit of the loss ratio."""
    names = ("measured_loss_ratio", "measured_loss_low_ratio", "measured_loss_high_ratio", "measured_burst_packets",
             "measured_burst_low_packets", "measured_burst_high_packets", "independence_probability")  # fmt: skip
    if fitted is None:
        _, high = binomial_interval(0, of=packets_n)
        clean = {"measured_loss_ratio": 0.0, "measured_loss_low_ratio": 0.0, "measured_loss_high_ratio": high}
        return dict.fromkeys(names) | clean
    model = fitted.model
    values = (
        model.loss_ratio, fitted.loss_low_ratio, fitted.loss_high_ratio, model.mean_burst_packets,
        fitted.burst_low_packets, fitted.burst_high_packets, fitted.independence_probability,
    )  # fmt: skip
    return dict(zip(names, values, strict=True))


def bursts_by_length(lengths: NDArray[np.int64]) -> list[dict[str, int]]:
    """How many bursts had each length, shortest first."""
    values, counts = np.unique(lengths, return_counts=True)
    return [
        {"burst_packets": int(v), "bursts_n": int(c)}
        for v, c in zip(values[:GREATEST_LISTED_PACKETS], counts[:GREATEST_LISTED_PACKETS], strict=True)
    ]


def repeats_answer(measured: Measured) -> list[dict[str, object]]:
    """Packets of which both copies would have been lost, by the spacing of a repeat: as counted in the record."""
    lost = measured.lost
    spacings = [k for k in REPEAT_SPACINGS if k <= lost.size // 10]
    return [
        {"repeat_after_packets": k, "both_lost_ratio": float(ratio)}
        for k, ratio in zip(spacings, loss_of_repeats(lost, spacings=spacings), strict=True)
    ]


def quantile_answer(quantile: DelayQuantile) -> dict[str, object]:
    """One delay quantile."""
    return {
        "late_probability": quantile.late_probability,
        "delay_us": quantile.delay_us,
        "low_us": quantile.low_us,
        "high_us": quantile.high_us,
        "episodes_n": quantile.episodes_n,
    }


def hour_answer(hour: Hour, *, overall_ratio: float) -> dict[str, object]:
    """One hour; `heavier` when it surely loses more than the record as a whole and so needs heavier protection."""
    model = hour.loss.model if hour.loss else None
    return {
        "begins_s": hour.begins_s,
        "hour_of_day": hour.hour_of_day,
        "packets_n": hour.packets_n,
        "lost_n": hour.lost_n,
        "bursts_n": hour.bursts_n,
        "loss_ratio": model.loss_ratio if model else 0.0,
        "mean_burst_packets": model.mean_burst_packets if model else None,
        "heavier": hour.loss is not None and hour.loss.loss_low_ratio > overall_ratio,
        "variation_us": hour.variation.delay_us if hour.variation else None,
        "variation_high_us": hour.variation.high_us if hour.variation else None,
    }


def joint_answer(joint: Joint) -> dict[str, object]:
    """Two paths together; the interval of the joint loss counts bursts, not packets."""
    if joint.bursts is None:
        low, high = binomial_interval(0, of=joint.packets_n)
    else:
        low, high = joint.bursts.loss_low_ratio, joint.bursts.loss_high_ratio
    burst_high = None if joint.bursts is None else joint.bursts.burst_high_packets
    return {
        "common_packets_n": joint.packets_n,
        "first_loss_ratio": joint.first_loss_ratio,
        "second_loss_ratio": joint.second_loss_ratio,
        "joint_loss_ratio": joint.joint_loss_ratio,
        "product_loss_ratio": joint.product_ratio,
        "joint_packets_n": joint.joint_packets,
        "expected_joint_packets": joint.expected_joint_packets,
        "joint_loss_low_ratio": low,
        "joint_loss_high_ratio": high,
        "joint_burst_high_packets": burst_high,
        "chance_probability": joint.chance_probability,
        "independent": joint.independent,
        "differential_us": joint.differential_us,
    }


def paths_answer(paths: Paths) -> dict[str, object]:
    """What a second path is worth: the loss that both share, and where that is known from."""
    joint = paths.joint
    mean = None if joint is None else joint.model.mean_burst_packets
    return {
        "losses_taken_as": paths.alone_says,
        "second_path_taken_as": paths.tie,
        "joint_loss_ratio": paths.joint_loss_ratio,
        "joint_burst_packets": mean if mean is not None and isfinite(mean) else None,
    }


def choice_answer(choice: Choice) -> dict[str, object]:
    """One combination of protection."""
    wait = waits(choice.protection)
    left = choice.left
    return {
        "protection": choice.protection.in_words(),
        "meets": choice.meets,
        "unbeaten": choice.unbeaten,
        "residual_loss_ratio": left.loss_ratio if left else None,
        "residual_kind": left.kind if left else None,
        "error_every_s": choice.error_every_s,
        "errors_kind": left.errors_kind if left else None,
        "latency_us": choice.plan.latency_us,
        "wait_us": wait.total_us(choice.plan.packet.time_s),
        "rate_mbps": choice.rate_mbps,
        "all_paths_mbps": choice.all_paths_mbps,
        "decides": choice.decides,
    }
