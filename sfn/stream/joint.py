"""Two measured paths together: do they fail together, and how far apart must a repeat be sent?

If losses were independent, the joint loss would be the product of both. Bursts make any two records agree by chance
now and then, so the test shifts one record against the other round a circle: that keeps its bursts and breaks every
real tie, and shows how often chance alone gives as many joint losses.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, in_range
from sfn.stream.changes import SEQUENCE_ROUND, STAMP_ROUND
from sfn.stream.loss import Fit, burst_lengths_of, fit
from sfn.stream.measured import Measured
from sfn.units import counted

LEAST_OVERLAP_PACKETS = 1000
GREATEST_OFFSET_S = 5.0


@dataclass(frozen=True, slots=True)
class Joint:
    """Loss on two paths of one stream.

    Parameters
    ----------
    packets_n : int
        Packets that both records span.
    first_loss_ratio, second_loss_ratio, joint_loss_ratio : float
    product_ratio : float
        Joint loss if the paths were independent.
    chance_probability : float
        Probability of at least as many joint losses by chance; small means that the paths fail together.
    expected_joint_packets, joint_packets : float, int
        By chance, on average over the shifts; and found. [packets]
    bursts : Fit or None
        Two-state model of what is lost on both.
    differential_us : float
        Second path's least transit minus the first's; means something only if one clock stamped both. [us]
    """

    packets_n: int
    first_loss_ratio: float
    second_loss_ratio: float
    joint_loss_ratio: float
    product_ratio: float
    chance_probability: float
    expected_joint_packets: float
    joint_packets: int
    bursts: Fit | None
    differential_us: float

    @property
    def independent(self) -> bool:
        """Whether chance explains the joint losses (at 1 %)."""
        return self.chance_probability >= 0.01


def overlap(first: Measured, second: Measured) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Delays of the packets that both records span, packet by packet.

    Raises
    ------
    PlanError
        If fewer than a thousand packets are common, or the same packets came more than 5 s apart.

    Notes
    -----
    Sequence numbers match modulo 65 536; among the rounds that is taken which RTP time stamps name, or where there are
    none, which puts arrivals closest. After a restart or a change of source packets are placed by the clock, on
    each path by its own: from there on copies no longer meet for sure, so the comparison ends there.
    """
    _refuse_other_streams(first, second)
    shift, differential_s = _shift(first, second)
    if abs(differential_s) > GREATEST_OFFSET_S:
        begins_s = second.origin_s - first.origin_s
        if _packets_by_stamps(first, second) is None:  # numbers alone do not say which round they are of
            what = (
                f"begins {abs(begins_s):.1f} s {'after' if begins_s > 0 else 'before'} the first, and packets of the "
            )
            what += f"same number do not come within {GREATEST_OFFSET_S:g} s of each other"
        else:
            what = f"has the same packets {abs(differential_s):.1f} s {'later' if differential_s > 0 else 'earlier'}"
        raise PlanError(
            [Problem("second record", what, "two records of one stream at the same time", code="records-apart")]
        )
    begin = max(0, shift)
    end = min(_joined(first), shift + _joined(second))
    if end - begin < LEAST_OVERLAP_PACKETS:
        what = f"shares {counted(max(end - begin, 0), 'packet')} with the first"
        raise PlanError(
            [
                Problem(
                    "second record",
                    what,
                    f"at least {LEAST_OVERLAP_PACKETS} in common",
                    code="records-overlap-too-little",
                )
            ]
        )
    return first.delay_us[begin:end], second.delay_us[begin - shift : end - shift]


def together(first: Measured, second: Measured) -> Measured:
    """Both records as one path: a packet is lost when both lost it, and late as its later copy is.

    So one release delay covers both copies, and what is left is what both lose. Delays are above the first's least.

    Parameters
    ----------
    first, second : Measured
        Two paths of one stream, recorded at the same time by one clock.

    Raises
    ------
    PlanError
        As `overlap`.
    """
    one, other = overlap(first, second)
    shift, differential_s = _shift(first, second)
    later = np.fmax(one, other + np.float32(differential_s * 1e6))
    begin = max(0, shift)
    return replace(
        first,
        delay_us=later,
        first_sequence=(first.first_sequence + begin) % SEQUENCE_ROUND,
        origin_s=first.origin_s + begin * first.packet_time_s,
        duplicates_n=0,
        reordered_n=0,
        greatest_reorder_packets=0,
    )


def joint_loss(first: Measured, second: Measured, *, seed: int = 1, shifts_n: int = 999) -> Joint:
    """Joint loss of two records and whether chance explains it.

    Parameters
    ----------
    first, second : Measured
        Two paths of one stream, recorded at the same time.
    seed : int
        Of the shifts.
    shifts_n : int
        How many; the least probability that can be found is one over them.

    Raises
    ------
    PlanError
        As `overlap`.
    ValueError
        If `shifts_n` is outside 99 to 100 000.
    """
    in_range("shifts_n", shifts_n, least=99, greatest=100_000, unit="shifts")
    one, other = overlap(first, second)
    lost, also = np.isnan(one), np.isnan(other)
    both = lost & also
    found, n = int(both.sum()), int(lost.size)
    by_chance = _shifted(np.flatnonzero(lost), np.flatnonzero(also), n=n, seed=seed, shifts_n=shifts_n)
    return Joint(
        n,
        float(lost.mean()),
        float(also.mean()),
        found / n,
        float(lost.mean() * also.mean()),
        float((1 + (by_chance >= found).sum()) / (1 + shifts_n)),
        float(by_chance.mean()),
        found,
        fit(n, burst_lengths=burst_lengths_of(both)),
        _shift(first, second)[1] * 1e6,
    )


def loss_of_repeats(lost: NDArray[np.bool_], *, spacings: Sequence[int]) -> NDArray[np.float64]:
    """Share of packets of which both copies are lost when everything is sent again so many packets later.

    Parameters
    ----------
    lost : ndarray of bool, shape (packets,)
    spacings : sequence of int
        [packets]

    Raises
    ------
    ValueError
        If a spacing is less than 1 or leaves less than half of the record.
    """
    for spacing in spacings:
        in_range("spacings", spacing, least=1, greatest=max(lost.size // 2, 1), unit="packets")
    return np.array([float((lost[:-k] & lost[k:]).mean()) for k in spacings])


def _shifted(
    lost: NDArray[np.int64], also: NDArray[np.int64], *, n: int, seed: int, shifts_n: int
) -> NDArray[np.int64]:
    """Joint losses after random turns of the second record, shape (shifts,)."""
    if lost.size == 0 or also.size == 0:
        return np.zeros(shifts_n, dtype=np.int64)
    rng = np.random.default_rng(seed)
    few, many = (lost, also) if lost.size <= also.size else (also, lost)
    marks = np.zeros(n, dtype=np.bool_)
    marks[many] = True
    least = min(n // 10, 1000)  # a small turn would keep real ties
    turns = rng.integers(least, n - least, size=shifts_n)
    return np.array([int(marks[(few + turn) % n].sum()) for turn in turns], dtype=np.int64)


def _joined(one: Measured) -> int:
    """Packets until the sender began anew; all where it did not."""
    begun = [change.position for change in one.changes if change.position is not None]
    return min([one.delay_us.size, *begun])


def _refuse_other_streams(first: Measured, second: Measured) -> None:
    """Two captures must follow one stream: the same RTP source, the same time stamp in the same packet."""
    if first.source is None or second.source is None:
        return
    what = ""
    if first.source != second.source:
        what = f"follows RTP source {second.source:#010x}, the first follows {first.source:#010x}"
    elif first.stamp_step and second.stamp_step and first.first_stamp is not None and second.first_stamp is not None:
        packets = (second.first_sequence - first.first_sequence) % SEQUENCE_ROUND
        moved = (second.first_stamp - first.first_stamp - packets * first.stamp_step) % STAMP_ROUND
        rounds = SEQUENCE_ROUND * first.stamp_step
        if first.stamp_step != second.stamp_step or min(moved % rounds, (STAMP_ROUND - moved) % rounds) > 0:
            what = "has other RTP time stamps in packets of the same number"
    if what:
        raise PlanError([Problem("second record", what, "two records of one stream", code="records-of-other-streams")])


def _packets_by_stamps(first: Measured, second: Measured) -> float | None:
    """How many packets later the second record begins, by RTP time stamps; the clock counts their rounds of hours."""
    if not first.stamp_step or first.stamp_step != second.stamp_step:
        return None
    if first.first_stamp is None or second.first_stamp is None:
        return None
    told = ((second.first_stamp - first.first_stamp) % STAMP_ROUND) / first.stamp_step
    round_packets = STAMP_ROUND / first.stamp_step
    apart = (second.origin_s - first.origin_s) / first.packet_time_s
    return told + round_packets * round((apart - told) / round_packets)


def _shift(first: Measured, second: Measured) -> tuple[int, float]:
    """How many packets later the second record begins, and by how much its least arrival is later then. [s]"""
    apart_s = second.origin_s - first.origin_s
    exact = (second.first_sequence - first.first_sequence) % SEQUENCE_ROUND
    told = _packets_by_stamps(first, second)
    told = apart_s / first.packet_time_s if told is None else told
    shift = int(exact + SEQUENCE_ROUND * round((told - exact) / SEQUENCE_ROUND))
    return shift, apart_s - shift * first.packet_time_s
