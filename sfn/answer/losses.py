"""Losses of a link: what the usual protections leave, and what one or two records of a network say."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sfn.stream.advise import spoken, usual
from sfn.stream.answer import joint_answer, measured_answer
from sfn.stream.buffer import Hour, hours
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
class Records:
    """One or two records of a network and all that was found in them.

    `found` has the keys of ``loss --json``.
    """

    names: tuple[str, ...]
    first: Measured
    hours: tuple[Hour, ...]
    model: LossModel | None
    found: dict[str, Any]

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
    return Records(tuple(names), first, cut, fitted.model if fitted else None, found)
