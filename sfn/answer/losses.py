"""Losses of a link: what the usual protections leave, and what one or two records of a network say."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sfn.stream.advise import WEEK_S, spoken, usual
from sfn.stream.answer import joint_answer, measured_answer
from sfn.stream.buffer import Hour, Need, Release, common_release, hours
from sfn.stream.joint import joint_loss
from sfn.stream.loss import LossModel, fit
from sfn.stream.measured import Measured
from sfn.stream.protection import Protection, packet_overhead, waits
from sfn.stream.residual import Residual, residual

BLOCKS = 40_000  # a page answers within a second; the advice of the link plan takes more


@dataclass(frozen=True, slots=True)
class Left:
    """What one protection leaves and costs."""

    protection: Protection
    left: Residual
    every: str
    wait_us: float
    rate_factor: float


def usual_protections(paths: Sequence[LossModel], *, packet_time_s: float) -> tuple[Left, ...]:
    """The usual protections under given losses; the second path as the first where it has no model of its own.

    Parameters
    ----------
    paths : sequence of LossModel
    packet_time_s : float
        [s]
    """
    found = []
    for protection in usual(paths[0]):
        used = (paths[0], paths[-1]) if protection.second_path else (paths[0],)
        left = residual(protection, paths=used, block_n=BLOCKS)
        every_s = left.error_every_s(packet_time_s)
        said = "never" if every_s is None else spoken(every_s)
        copies = protection.copies * len(used)
        wait_us = (waits(protection).parity + waits(protection).repeat) * packet_time_s * 1e6
        found.append(
            Left(
                protection,
                left,
                f"more than {said}" if left.errors_kind == "less than" else said,
                wait_us,
                copies * float(1 + packet_overhead(protection)),
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class HourNeed:
    """What one hour of a record asks for: the lightest protection that meets the target, and the delay it takes.

    Parameters
    ----------
    hour : Hour
    chosen : Left or None
        The cheapest of the usual protections on one path that meets the target; None where none does.
    need : Need
        Above the least delay of the path: variation, and the wait of that protection (of the longest where none meets
        the target).
    """

    hour: Hour
    chosen: Left | None
    need: Need


def by_hour(cut: Sequence[Hour], *, packet_time_s: float, error_every_s: float = WEEK_S) -> tuple[HourNeed, ...]:
    """The protection and the delay that every hour needs.

    Parameters
    ----------
    cut : sequence of Hour
        Hours in which nothing arrived are left out.
    packet_time_s : float
        [s]
    error_every_s : float
        Mean time between audible errors that is wanted; a week where not given. [s]
    """
    found = []
    for hour in cut:
        if hour.variation is None:
            continue
        chosen, wait_us = None, 0.0
        if hour.loss is not None:
            lefts = [
                one
                for one in usual_protections((hour.loss.model,), packet_time_s=packet_time_s)
                if not one.protection.second_path
            ]
            enough = [one for one in lefts if _meets(one.left, packet_time_s, error_every_s)]
            chosen = min(enough, key=lambda one: (one.rate_factor, one.wait_us), default=None)
            wait_us = chosen.wait_us if chosen else max(one.wait_us for one in lefts)
        variation = hour.variation
        covered_us = variation.delay_us if variation.high_us is None else variation.high_us
        need = Need(f"{hour.hour_of_day:02d} h", 0.0, covered_us, wait_us)
        found.append(HourNeed(hour, chosen, need))
    return tuple(found)


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

    @property
    def release(self) -> Release | None:
        """The one release delay, above the path's least delay, that covers every hour's protection. [us]"""
        return _release(self.needs)

    @property
    def neediest(self) -> Hour | None:
        """The hour whose delay variation is greatest: it decides the release delay."""
        known = [hour for hour in self.hours if hour.variation is not None]
        return max(known, key=lambda hour: hour.variation.delay_us if hour.variation else 0.0, default=None)


def records(measured: Sequence[Measured], *, names: Sequence[str], late_probability: float, seed: int = 1) -> Records:
    """What one record, or two of two paths together, say.

    Parameters
    ----------
    measured : sequence of Measured
        One or two.
    names : sequence of str
        As the files were called.
    late_probability : float
        Tolerated share of late packets.
    seed : int
        Of the test for independence.

    Raises
    ------
    PlanError
        If two records are not of one stream at one time.
    """
    first = measured[0]
    cut = hours(first, late_probability=late_probability)
    found: dict[str, Any] = measured_answer(first, cut, late_probability=late_probability)
    if len(measured) > 1:
        other = fit(measured[1].delay_us.size, burst_lengths=measured[1].burst_lengths)
        found |= joint_answer(joint_loss(first, measured[1], seed=seed))
        found["second_burst_packets"] = other.model.mean_burst_packets if other else None
    fitted = fit(first.delay_us.size, burst_lengths=first.burst_lengths)
    needs = by_hour(cut, packet_time_s=first.packet_time_s)
    return Records(tuple(names), first, cut, fitted.model if fitted else None, found | needs_answer(needs), needs)


def needs_answer(needs: Sequence[HourNeed]) -> dict[str, Any]:
    """What every hour asks for, and the one release delay that covers them all, as ``loss --json`` has it."""
    release = _release(needs)
    return {
        "hours_need": [
            {
                "hour_of_day": one.hour.hour_of_day,
                "protection": _named(one),
                "wait_us": one.need.wait_us,
                "variation_us": one.need.variation_us,
                "total_us": one.need.total_us,
            }
            for one in needs
        ],
        "release_above_least_us": None if release is None else release.release_us,
        "release_decided_by": None if release is None else release.decided_by,
    }


def _release(needs: Sequence[HourNeed]) -> Release | None:
    """The one release delay that covers every hour, in whole milliseconds; None without hours."""
    return common_release([one.need for one in needs], step_us=1000.0) if needs else None


def _named(one: HourNeed) -> str | None:
    """The protection in words; None where none of the usual ones does."""
    if one.hour.loss is None:
        return "none"
    return one.chosen.protection.in_words() if one.chosen else None
