"""Losses of a link: what the usual protections leave, and what one or two records of a network say."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sfn.errors import Problem
from sfn.stream.advise import WEEK_S, spoken, usual
from sfn.stream.answer import fit_answer, joint_answer, measured_answer, paths_answer
from sfn.stream.buffer import DelayQuantile, Hour, Need, Release, common_release, delay_quantile, hours
from sfn.stream.heard import Heard
from sfn.stream.joint import Joint, joint_loss, together
from sfn.stream.loss import LossModel, fit
from sfn.stream.measured import Measured
from sfn.stream.paths import UNMEASURED, Paths, fitted, left_by, measured, with_unmeasured_second
from sfn.stream.protection import Protection, packet_overhead, waits
from sfn.stream.residual import Residual
from sfn.study.record_doubts import comparison_doubts, drift_doubts, lossless_doubts

BLOCKS = 40_000  # of pages and command alike; a page answers within a second, the advice of the link plan takes more


@dataclass(frozen=True, slots=True)
class Left:
    """What one protection leaves and costs."""

    protection: Protection
    left: Residual
    every: str
    wait_us: float
    rate_factor: float
    tie: str
    """What is known of the second path's losses and the first's together (`sfn.stream.paths`)."""


def usual_protections(paths: Paths, *, packet_time_s: float) -> tuple[Left, ...]:
    """The usual protections under given losses; the second path as the first where it has no model of its own.

    Parameters
    ----------
    paths : Paths
    packet_time_s : float
        [s]
    """
    return tuple(
        protected(protection, paths, packet_time_s=packet_time_s, block_n=BLOCKS)
        for protection in usual(paths.first.model)
    )


def with_second(
    found: "Records", *, joint_loss_ratio: float | None = None, joint_burst_packets: float | None = None
) -> Paths:
    """Losses of records on two paths: as measured together, or one path and what is typed or assumed of the other.

    Parameters
    ----------
    found : Records
    joint_loss_ratio, joint_burst_packets : float, optional
        As for `sfn.stream.paths.with_unmeasured_second`; of one record only.

    Raises
    ------
    ValueError
        If a share is typed beside two records, or cannot be.
    """
    assert found.paths is not None
    if found.paths.second is None:
        return with_unmeasured_second(
            found.paths, joint_loss_ratio=joint_loss_ratio, joint_burst_packets=joint_burst_packets
        )
    if joint_loss_ratio is not None or joint_burst_packets is not None:
        raise ValueError("joint_loss_pct must not be given together with a second record: what both lose is measured")
    return found.paths


def protected(
    protection: Protection, paths: Paths, *, packet_time_s: float, seed: int = 1, block_n: int = BLOCKS
) -> Left:
    """What one protection leaves and costs.

    Parameters
    ----------
    protection : Protection
    paths : Paths
    packet_time_s : float
        [s]
    seed, block_n : int
        As for `sfn.stream.residual.residual`.
    """
    left = left_by(protection, paths=paths, seed=seed, block_n=block_n)
    every_s = left.error_every_s(packet_time_s)
    said = "never" if every_s is None else spoken(every_s)
    copies = protection.copies * (2 if protection.second_path else 1)
    return Left(
        protection,
        left,
        f"more than {said}" if left.errors_kind == "less than" else said,
        (waits(protection).parity + waits(protection).repeat) * packet_time_s * 1e6,
        copies * float(1 + packet_overhead(protection)),
        paths.tie if paths.second or not protection.second_path else UNMEASURED,
    )


@dataclass(frozen=True, slots=True)
class HourNeed:
    """What one hour of a record asks for: the lightest protection that meets the target, and the delay it takes.

    Parameters
    ----------
    hour : Hour
        Of the first path.
    chosen : Left or None
        The cheapest of the usual protections that meets the target under the losses as fitted, with all their doubt;
        None where nothing was lost, or none does.
    variation_us : float
        Delay above the first path's least to cover, at the upper end of its interval; where a second path was recorded
        too, that of the later copy, whatever the protection. [us]
    sure : bool
        Whether the record is long enough to know that upper end, and to meet the target at the upper end of the losses.
    need : Need or None
        Variation and the wait of that protection; None where none meets the target: no delay makes up for it.
    bounded_every_s : float or None
        Errors under that protection, or without any where nothing was lost, are rarer than this for all that the
        record shows (99 %); None where they cannot come. [s]
    bounded : bool
        Whether that is as rare as the target; a short or clean record bounds far less.
    """

    hour: Hour
    chosen: Left | None
    variation_us: float
    sure: bool
    need: Need | None
    bounded_every_s: float | None = None
    bounded: bool = False

    @property
    def name(self) -> str:
        """As people know the hour."""
        return _from(self.hour)


@dataclass(frozen=True, slots=True)
class SecondHours:
    """The second path and both together, hour by hour of the first path's record."""

    second: Mapping[float, Hour]
    both: Mapping[float, Hour]
    paths: Paths
    """Of the whole records."""


def by_hour(
    cut: Sequence[Hour], *, packet_time_s: float, error_every_s: float = WEEK_S, beside: SecondHours | None = None
) -> tuple[HourNeed, ...]:
    """The protection and the delay that every hour needs.

    Parameters
    ----------
    cut : sequence of Hour
        Hours in which nothing arrived are left out.
    packet_time_s : float
        [s]
    error_every_s : float
        Mean time between audible errors that is wanted; a week where not given. [s]
    beside : SecondHours, optional
        Where a second path was recorded too; it counts only for hours that its record spans.
    """
    return tuple(
        _hour_need(hour, packet_time_s=packet_time_s, error_every_s=error_every_s, beside=beside)
        for hour in cut
        if hour.variation is not None
    )


def _hour_need(hour: Hour, *, packet_time_s: float, error_every_s: float, beside: SecondHours | None) -> HourNeed:
    """What one hour asks for."""
    assert hour.variation is not None
    alone = _covered(hour.variation)
    name = _from(hour)
    if hour.loss is None:
        clean = measured(fitted(None, packets_n=hour.packets_n))
        left = left_by(Protection(), paths=clean)
        bound = _bound(left, packet_time_s, error_every_s)
        return HourNeed(hour, None, alone[0], alone[1] and bound[1], Need(name, 0.0, alone[0], 0.0), *bound)
    paths = measured(fitted(hour.loss, packets_n=hour.packets_n))
    if beside and hour.begins_s in beside.second and hour.begins_s in beside.both:
        second, both = beside.second[hour.begins_s], beside.both[hour.begins_s]
        tied = beside.paths.joint  # the whole record decides whether they fail together, the hour how much
        if tied is not None and not tied.only_limit and both.loss is not None:
            tied = fitted(both.loss, packets_n=both.packets_n)
        counted = None if beside.paths.bound is None else fitted(both.loss, packets_n=both.packets_n)
        second_loss = fitted(second.loss, packets_n=second.packets_n)
        paths = replace(beside.paths, first=paths.first, second=second_loss, joint=tied, bound=counted)
    lefts = usual_protections(paths.as_fitted, packet_time_s=packet_time_s)
    enough = [
        one
        for one in lefts
        if (paths.second or not one.protection.second_path) and _meets(one.left, packet_time_s, error_every_s)
    ]
    chosen = min(enough, key=lambda one: (one.rate_factor, one.wait_us), default=None)
    if chosen is None:
        return HourNeed(hour, None, *alone, None)
    covered_us, known = alone
    doubted = protected(chosen.protection, paths, packet_time_s=packet_time_s)
    bound = _bound(doubted.left, packet_time_s, error_every_s)
    return HourNeed(hour, doubted, covered_us, known and bound[1], Need(name, 0.0, covered_us, chosen.wait_us), *bound)


def _from(hour: Hour) -> str:
    """An hour of the day, so worded that nobody takes it for a duration."""
    return f"the hour from {hour.hour_of_day:02d}:00"


def _bound(left: Residual, packet_time_s: float, error_every_s: float) -> tuple[float | None, bool]:
    """The mean time between errors that is sure, and whether it is the target's."""
    every_s = packet_time_s / left.errors_high_ratio if left.errors_high_ratio > 0 else None
    return every_s, _meets(left, packet_time_s, error_every_s)


def _covered(variation: DelayQuantile) -> tuple[float, bool]:
    """The delay to cover, and whether that is the upper end of an interval or only the figure itself."""
    return (variation.delay_us, False) if variation.high_us is None else (variation.high_us, True)


def _meets(left: Residual, packet_time_s: float, error_every_s: float) -> bool:
    """Whether errors are surely rare enough: by the upper end of their interval."""
    return left.errors_high_ratio <= packet_time_s / error_every_s


@dataclass(frozen=True, slots=True)
class Records:
    """One or two records of a network and all that was found in them.

    `found` has the keys of ``loss --json``.
    """

    names: tuple[str, ...]
    first: Measured
    hours: tuple[Hour, ...]
    model: LossModel | None
    found: dict[str, Any]
    needs: tuple[HourNeed, ...] = ()
    """What every hour asks for."""

    paths: Paths | None = None
    """Loss on the path or on both, with its doubt."""
    problems: tuple[Problem, ...] = ()
    """Doubts about what was measured."""
    left: tuple[Left, ...] = ()
    """What the usual protections leave, where that was asked; the second path as `with_second` has it."""

    @property
    def release(self) -> Release | None:
        """The one release delay, above the path's least, that covers every hour; None where one cannot. [us]"""
        return _release(self.needs)

    @property
    def unmet(self) -> tuple[str, ...]:
        """Hours in which none of the usual protections meets the target."""
        return tuple(one.name for one in self.needs if one.need is None)

    @property
    def unsure(self) -> tuple[str, ...]:
        """Hours whose record is too short to be sure of their delay variation, or of their protection."""
        return tuple(one.name for one in self.needs if not one.sure)

    @property
    def neediest(self) -> Hour | None:
        """The hour whose delay variation is greatest: it decides the release delay."""
        known = [hour for hour in self.hours if hour.variation is not None]
        return max(known, key=lambda hour: hour.variation.delay_us if hour.variation else 0.0, default=None)


def records(
    taken: Sequence[Measured],
    *,
    names: Sequence[str],
    late_probability: float,
    seed: int = 1,
    heard: Sequence[Heard] = (),
) -> Records:
    """What one record, or two of two paths together, say.

    Parameters
    ----------
    taken : sequence of Measured
        One or two.
    names : sequence of str
        As the files were called.
    late_probability : float
        Tolerated share of late packets.
    seed : int
        Of the test for independence.
    heard : sequence of Heard
        The streams of each capture, where they are known.

    Raises
    ------
    PlanError
        If two records are not of one stream at one time.
    """
    first = taken[0]
    cut = hours(first, late_probability=late_probability)
    fits = [fit(one.delay_us.size, burst_lengths=one.burst_lengths) for one in taken]
    processes = [fitted(f, packets_n=one.delay_us.size) for f, one in zip(fits, taken, strict=True)]
    paths, beside = measured(processes[0]), None
    if len(taken) > 1:
        joint = joint_loss(first, taken[1], seed=seed)
        paths = measured(processes[0], processes[1], joint)
        both = together(first, taken[1])
        beside = SecondHours(
            {hour.begins_s: hour for hour in hours(taken[1], late_probability=late_probability)},
            {hour.begins_s: hour for hour in hours(both, late_probability=late_probability)},
            paths,
        )
        later = delay_quantile(both.delay_us, late_probability=late_probability)
        cut = tuple(_with_later_copy(hour, beside.both.get(hour.begins_s)) for hour in cut)
    found: dict[str, Any] = measured_answer(first, cut, late_probability=late_probability)
    if len(taken) > 1:
        found |= joint_answer(joint) | _longer(later, float(found["variation_high_us"] or found["variation_us"]), joint)
        second = fit_answer(fits[1], packets_n=taken[1].delay_us.size)
        found["second_burst_packets"] = second["measured_burst_packets"]
        found["second_burst_high_packets"] = second["measured_burst_high_packets"]
        found["second_loss_high_ratio"] = second["measured_loss_high_ratio"]
    for key, one in zip(("streams", "second_streams"), heard, strict=False):
        found[key] = one.as_answer()
    if len(taken) > 1:
        found["second_changes"] = [one.as_answer() for one in taken[1].changes]
    found = paths_answer(paths) | found  # a joint loss that was counted stands
    found["release_steps"] = [
        one.as_answer() for record in taken for one in record.changes if one.kind == "clock or path step"
    ]
    needs = by_hour(cut, packet_time_s=first.packet_time_s, beside=beside)
    model = fits[0].model if fits[0] else None
    found |= needs_answer(needs)
    tilted = (*drift_doubts(taken), *comparison_doubts(taken))
    doubts = (*tilted, *lossless_doubts(taken))
    found["problems"] = [problem.as_json() for problem in doubts]
    found["release_sure"] = bool(found["release_sure"]) and not tilted
    return Records(tuple(names), first, cut, model, found, needs, paths, problems=doubts)


def _longer(later: DelayQuantile, first_us: float, joint: Joint) -> dict[str, float]:
    """What a plan adds to the first path's variation so that it holds the later copy of both. [us]

    At least how much longer the second path is; more where its delay varies more than the first's.
    """
    later_us = later.delay_us if later.high_us is None else later.high_us
    return {"second_longer_us": max(joint.differential_us, later_us - first_us, 0.0)}


def _with_later_copy(hour: Hour, both: Hour | None) -> Hour:
    """The hour with the delays of the later copy: one release delay is to cover both paths."""
    if both is None or both.variation is None or hour.variation is None:
        return hour
    return replace(hour, variation=max(hour.variation, both.variation, key=lambda one: one.high_us or one.delay_us))


def needs_answer(needs: Sequence[HourNeed]) -> dict[str, Any]:
    """What every hour asks for, and the one release delay that covers them all, as ``loss --json`` has it."""
    release = _release(needs)
    return {
        "hours_need": [
            {
                "hour_of_day": one.hour.hour_of_day,
                "protection": _named(one),
                "wait_us": one.need.wait_us if one.need else None,
                "variation_us": one.variation_us,
                "variation_sure": one.sure,
                "errors_bounded": one.bounded,
                "errors_bounded_every_s": one.bounded_every_s,
                "total_us": one.need.total_us if one.need else None,
            }
            for one in needs
        ],
        "release_above_least_us": None if release is None else release.release_us,
        "release_decided_by": None if release is None else release.decided_by,
        "release_unmet_hours": [one.hour.hour_of_day for one in needs if one.need is None],
        "release_sure": release is not None and all(one.sure for one in needs),
    }


def _release(needs: Sequence[HourNeed]) -> Release | None:
    """The one release delay that covers every hour, in whole milliseconds; None where an hour has none."""
    known = [one.need for one in needs if one.need is not None]
    return common_release(known, step_us=1000.0) if known and len(known) == len(needs) else None


def _named(one: HourNeed) -> str | None:
    """The protection in words; None where none of the usual ones does."""
    if one.hour.loss is None:
        return "none"
    return one.chosen.protection.in_words() if one.chosen else None
