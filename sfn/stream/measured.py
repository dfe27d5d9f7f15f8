"""A measured network path: what was lost, in which bursts, and by how much packets were late, hour by hour.

Packets are put in the order in which they were sent, by their sequence number; `delay_us` of a packet that never came
is NaN. Only 4 bytes a packet are kept, so that a day of 250 packets/s takes 90 MB.

| symbol | name | unit |
|---|---|---|
| T | `packet_time_s` | s |
| | `delay_us`: arrival minus T times position, less the least (RFC 5481 4.2) | us |
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.stream.capture import Piece
from sfn.stream.changes import (
    CLOCK_BACK_S,
    FALL_HELD_PACKETS,
    RESTART_PACKETS,
    SEQUENCE_ROUND,
    STAMP_ROUND,
    Change,
    fallen_back,
    nominal_packet_time,
    stamp_step,
)
from sfn.stream.drift import LEAST_PACKETS, longest_stretch
from sfn.stream.levels import Levels, levels
from sfn.stream.loss import burst_lengths_of
from sfn.units import counted

GREATEST_PACKETS = 50_000_000


@dataclass(frozen=True, slots=True)
class Measured:
    """One path as it was.

    Parameters
    ----------
    delay_us : ndarray of float32, shape (packets,)
        Delay of each packet sent, above the least, clock drift taken out; NaN for lost ones. [us]
    first_sequence : int
        Sequence number of the first.
    origin_s : float
        When the first comes with the least delay, as the file counts time: packet k arrives at
        ``origin_s + k packet_time_s + delay_us[k] / 1e6``. [s]
    packet_time_s : float
        Time between packets by the receiver's clock. [s]
    duplicates_n, reordered_n : int
        Packets that came again; packets that came after a later one (RFC 4737).
    greatest_reorder_packets : int
        Furthest that a late one had fallen behind. [packets]
    drift_ppb : float or None
        Rate of the receiver's clock against the sender's, taken out of the delays; None where the sender's packet time
        is neither given nor one in use. [1e-9]
    source : int or None
        RTP source of the first packet.
    stamp_step : int or None
        RTP time stamps from one packet to the next, where they are steady.
    first_stamp : int or None
        Time stamp of the first packet.
    changes : tuple of Change
        Restarts of the sender, changes of its source, steps of the capturing clock, in their order.
    """

    delay_us: NDArray[np.float32]
    first_sequence: int
    origin_s: float
    packet_time_s: float
    duplicates_n: int
    reordered_n: int
    greatest_reorder_packets: int
    drift_ppb: float | None
    source: int | None = None
    stamp_step: int | None = None
    first_stamp: int | None = None
    changes: tuple[Change, ...] = ()

    @property
    def lost(self) -> NDArray[np.bool_]:
        """Whether each packet was lost, shape (packets,)."""
        return np.isnan(self.delay_us)

    @property
    def burst_lengths(self) -> NDArray[np.int64]:
        """Lengths of the runs of lost packets. [packets]"""
        return burst_lengths_of(self.lost)


def measure(pieces: Iterable[Piece], *, packet_time_s: float | None = None, remove_drift: bool = True) -> Measured:
    """Put arrived packets in order and work out their delays.

    Parameters
    ----------
    pieces : iterable of Piece
        From `sfn.stream.capture.read_packets`.
    packet_time_s : float, optional
        Where known; else estimated from the arrivals. [s]
    remove_drift : bool
        Take out a steady drift between the clocks of sender and receiver. False where both are locked to one
        reference, so that a real change of delay is not taken for drift.

    Returns
    -------
    measured : Measured

    Raises
    ------
    PlanError
        If there are fewer than 100 or more than 50 million packets, or arrivals run backwards.
    """
    follower = _Follower(packet_time_s)
    for piece in pieces:
        follower.add(piece)
    return follower.finished(remove_drift=remove_drift)


def interarrival_jitter(sent_us: NDArray[np.float64], arrived_us: NDArray[np.float64]) -> NDArray[np.float64]:
    """RFC 3550 6.4.1: ``J += (|D| - J) / 16``, after each packet but the first. [us]

    A smoothed mean, shown because receivers report it; never the size of a buffer.
    """
    jitter_us, now_us = np.zeros(max(len(sent_us) - 1, 0)), 0.0
    for k, change in enumerate(np.abs(np.diff(np.asarray(arrived_us)) - np.diff(np.asarray(sent_us)))):
        now_us += (change - now_us) / 16
        jitter_us[k] = now_us
    return jitter_us


def above_least(sent_us: NDArray[np.float64], arrived_us: NDArray[np.float64]) -> NDArray[np.float64]:
    """RFC 5481 4.2: delay of each packet less the least of all. [us]"""
    delay = np.asarray(arrived_us, dtype=np.float64) - np.asarray(sent_us, dtype=np.float64)
    return np.asarray(delay - delay.min())


def _too_few(packets: int, what: str) -> PlanError:
    """A record that says nothing."""
    values = {"packets": packets, "least_packets": LEAST_PACKETS}
    problem = Problem(
        "packets", f"only {packets} {what}", f"at least {LEAST_PACKETS}", code="too-few-packets", values=values
    )
    return PlanError([problem])


class _Follower:
    """What is known after the pieces so far; private to `measure`."""

    def __init__(self, packet_time_s: float | None) -> None:
        self.time_s = packet_time_s
        self.nominal_s = packet_time_s
        self.stamp_step: int | None = None
        self.first_stamp: int | None = None
        self.source: int | None = None
        self.first_source: int | None = None
        self.last_stamp, self.clock_s = 0, 0.0
        self.changes: list[Change] = []
        self.set_back: dict[int, int] = {}  # changes that are clocks set back, and the packet after each
        self.first_sequence = 0
        self.first_arrival_s = 0.0
        self.base = 0  # position of the first packet that arrived, counted from the first sent
        self.last_sequence, self.last_position, self.last_arrival_s = 0, 0, 0.0
        self.greatest = -1
        self.count = 0
        self.duplicates_n = self.reordered_n = self.furthest = 0
        self.delay_us = np.full(PIECE_ROOM, np.nan, dtype=np.float32)
        self.held: Piece | None = None

    def add(self, piece: Piece) -> None:
        """Take in one piece; it is worked through when the next one shows how it goes on."""
        if piece.arrival_s.size == 0:
            return
        if self.held is not None:
            self._take(self.held, piece if piece.source == self.held.source else None)
        self.held = piece

    def _take(self, piece: Piece, ahead: Piece | None) -> None:
        """Work one piece through."""
        if self.count == 0:
            self._begin(piece)
        begun = len(self.changes)
        arrival_s, back_at = self._straightened(piece.arrival_s)
        position = self._positions(piece, arrival_s, ahead)
        self.set_back |= {begun + k: int(position[at]) for k, at in enumerate(back_at.tolist())}
        self._keep(position, arrival_s)
        before = np.maximum.accumulate(np.concatenate(([self.greatest], position)))
        behind = before[:-1] - position
        self.reordered_n += int((behind > 0).sum())
        self.furthest = max(self.furthest, int(behind.max()))
        self.greatest = int(before[-1])
        self.count += position.size

    def _begin(self, piece: Piece) -> None:
        """Fix the origin and, where it is not given, the packet time."""
        self.first_sequence, self.first_arrival_s = int(piece.sequence[0]), float(piece.arrival_s[0])
        self.last_sequence, self.last_arrival_s = self.first_sequence, self.first_arrival_s
        self.source = self.first_source = piece.source
        if piece.stamp is not None:
            self.stamp_step = stamp_step(piece.sequence, piece.stamp)
            self.last_stamp = int(piece.stamp[0])
            self.first_stamp = self.last_stamp
        if self.time_s is None:
            run, times_s = longest_stretch(piece)
            if run.size < LEAST_PACKETS or run[-1] <= 0 or times_s[-1] <= times_s[0]:
                raise _too_few(int(run.size), "in order")
            # median over pairs half a stretch apart: late packets and odd numbers don't tilt it
            half = run.size // 2
            apart = run[half:] - run[: run.size - half]
            waited = (times_s[half:] - times_s[: run.size - half])[apart > 0]
            seen_s = float(np.median(waited / apart[apart > 0]))
            self.nominal_s = nominal_packet_time(seen_s, stamp_step=self.stamp_step)
            self.time_s = seen_s if self.nominal_s is None else self.nominal_s
        if not self.time_s > 0:
            raise PlanError(
                [
                    Problem(
                        "packet_time_s",
                        f"is {self.time_s:g} s",
                        "more than 0 s",
                        code="packet-time-unusable",
                        values={"packet_time_s": self.time_s},
                    )
                ]
            )

    def _straightened(self, arrival_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
        """Arrivals without the steps back of the capturing clock, and where: a file is written as packets arrive."""
        assert self.time_s is not None
        waited = np.diff(np.concatenate(([self.last_arrival_s - self.clock_s], arrival_s)))
        found = arrival_s + self.clock_s
        back_at = np.flatnonzero(waited < -CLOCK_BACK_S)
        for at in back_at:
            step_s = float(waited[at]) - self.time_s
            self.changes.append(Change("clock step", float(arrival_s[at]), step_s * 1e6))
            self.clock_s -= step_s
            found[at:] -= step_s
        return np.asarray(found), back_at

    def _positions(self, piece: Piece, arrival_s: NDArray[np.float64], ahead: Piece | None) -> NDArray[np.int64]:
        """Position of every packet from the first, sequence numbers unrolled."""
        assert self.time_s is not None
        steps = np.diff(np.concatenate(([self.last_sequence], piece.sequence)))
        waited = np.diff(np.concatenate(([self.last_arrival_s], arrival_s))) / self.time_s
        if piece.wraps:
            steps = (steps + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2
            jumps = np.abs(steps) > RESTART_PACKETS
            # an outage longer than half a round: time stamps, or else the clock, say how many rounds were missed
            told = self._by_stamps(piece, waited)
            steps = steps + SEQUENCE_ROUND * np.round((told - steps) / SEQUENCE_ROUND).astype(np.int64)
            jumps &= (np.abs(told - steps) > RESTART_PACKETS) & (np.abs(waited - steps) > RESTART_PACKETS)
            if piece.source != self.source:
                self._change("source change", piece, 0, arrival_s, steps, waited)
                self.source = piece.source
                jumps[0] = False
            at_jumps = np.flatnonzero(jumps)
        else:
            at_jumps = np.zeros(0, dtype=np.int64)
        for at in np.union1d(at_jumps, self._falls(piece, steps, waited, ahead)):
            self._change("restart", piece, int(at), arrival_s, steps, waited)
        position = self.last_position + np.cumsum(steps)
        self.last_sequence, self.last_position = int(piece.sequence[-1]), int(position[-1])
        self.last_arrival_s = float(arrival_s[-1])
        if piece.stamp is not None:
            self.last_stamp = int(piece.stamp[-1])
        return np.asarray(position)

    def _falls(
        self, piece: Piece, steps: NDArray[np.int64], waited: NDArray[np.float64], ahead: Piece | None
    ) -> NDArray[np.int64]:
        """Where numbers fall back for good; the beginning of the next piece shows whether they do."""
        assert self.time_s is not None
        numbers, times_s = piece.sequence[-1:], piece.arrival_s[-1:]
        if ahead is not None:
            numbers = np.concatenate((numbers, ahead.sequence[:FALL_HELD_PACKETS]))
            times_s = np.concatenate((times_s, ahead.arrival_s[:FALL_HELD_PACKETS]))
        after = np.diff(numbers)
        if piece.wraps:
            after = (after + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2
        return fallen_back(
            np.concatenate((steps, after)),
            np.concatenate((waited, np.diff(times_s) / self.time_s)),
            packet_time_s=self.time_s,
            ahead_n=after.size,
        )

    def _by_stamps(self, piece: Piece, waited: NDArray[np.float64]) -> NDArray[np.float64]:
        """Packets sent between each arrival and the next: by time stamps where they are steady, else by the clock."""
        if piece.stamp is None or self.stamp_step is None or piece.source != self.source:
            return waited
        moved = np.diff(np.concatenate(([self.last_stamp], piece.stamp)))
        moved = (moved + STAMP_ROUND // 2) % STAMP_ROUND - STAMP_ROUND // 2
        told = moved / self.stamp_step
        # a break between stamps and numbers is no outage but a new beginning: there the clock tells
        steps = np.diff(np.concatenate(([self.last_sequence], piece.sequence))) % SEQUENCE_ROUND
        off = (told - steps + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2
        return np.where(np.abs(off) < RESTART_PACKETS, told, waited)

    def _change(
        self, kind: str, piece: Piece, at: int, arrival_s: NDArray[np.float64], steps: NDArray[np.int64],
        waited: NDArray[np.float64],
    ) -> None:  # fmt: skip
        """Join what begins anew where the clock puts it, and name it."""
        steps[at] = max(1, round(float(waited[at])))
        position = self.last_position + int(steps[: at + 1].sum())
        self.changes.append(Change(kind, float(arrival_s[at]), None, position + self.base, piece.source))

    def _keep(self, position: NDArray[np.int64], arrival_s: NDArray[np.float64]) -> None:
        """Store the delays of packets that are new."""
        assert self.time_s is not None
        lowest = int(position.min()) + self.base
        if lowest < 0:  # packets sent before the first that arrived
            self.delay_us = np.concatenate((np.full(-lowest, np.nan, dtype=np.float32), self.delay_us))
            self.base -= lowest
        index = position + self.base
        needed = int(index.max()) + 1
        if needed > GREATEST_PACKETS:
            what = f"spans {counted(needed, 'packet')}"
            raise PlanError(
                [
                    Problem(
                        "packets",
                        what,
                        f"at most {GREATEST_PACKETS}: split the record by time",
                        code="too-many-packets",
                        values={"most_packets": GREATEST_PACKETS},
                    )
                ]
            )
        if needed > self.delay_us.size:
            grown = np.full(min(max(needed, self.delay_us.size * 3 // 2), GREATEST_PACKETS), np.nan, dtype=np.float32)
            grown[: self.delay_us.size] = self.delay_us
            self.delay_us = grown
        delay = ((arrival_s - self.first_arrival_s) - position * self.time_s) * 1e6
        unique, first = np.unique(index, return_index=True)
        new = np.isnan(self.delay_us[unique])
        self.duplicates_n += int(index.size - new.sum())
        self.delay_us[unique[new]] = delay[first[new]]

    def finished(self, *, remove_drift: bool) -> Measured:
        """The record, drift taken out and counted from the least delay."""
        if self.held is not None:
            self._take(self.held, None)
            self.held = None
        if self.count < LEAST_PACKETS or self.time_s is None:
            raise _too_few(self.count, "arrived")
        delay = self.delay_us[: self.greatest + 1 + self.base]
        first_s = self.first_arrival_s - self.base * self.time_s
        begun = [change.position for change in self.changes if change.position is not None]
        set_back = {at + self.base: k for k, at in self.set_back.items()}
        fit = levels(delay, breaks=(*begun, *set_back), packet_time_s=self.time_s)
        slope_us = fit.slope_us if remove_drift else 0.0
        self._flatten(delay, fit, slope_us)
        for at, shift_us in fit.shifts:
            if at in set_back:  # what a single packet on each side said of the step, and what all say
                change = self.changes[set_back[at]]
                self.changes[set_back[at]] = replace(change, step_us=(change.step_us or 0.0) + shift_us)
        least_us = np.nanmin(delay)
        delay -= least_us
        time_s = self.time_s + slope_us * 1e-6
        if self.nominal_s is None:  # a step amid the record may have hidden the packet time that is meant
            self.nominal_s = nominal_packet_time(self.time_s + fit.slope_us * 1e-6, stamp_step=self.stamp_step)
        steps = [
            Change("clock or path step", first_s + at * (self.time_s + fit.slope_us * 1e-6), step_us)
            for at, step_us in fit.steps
        ]
        return Measured(
            delay,
            self.first_sequence - self.base,
            first_s + float(least_us) * 1e-6,
            time_s,
            self.duplicates_n,
            self.reordered_n,
            self.furthest,
            None if self.nominal_s is None else (time_s / self.nominal_s - 1) * 1e9,
            self.first_source,
            self.stamp_step,
            None if self.first_stamp is None else self.first_stamp - self.base * (self.stamp_step or 0),
            tuple(sorted((*self.changes, *steps), key=lambda one: one.at_s)) if steps else tuple(self.changes),
        )

    @staticmethod
    def _flatten(delay_us: NDArray[np.float32], fit: Levels, slope_us: float) -> None:
        """Take the drift out, and put what began anew on the level before it: steps stay."""
        for begin in range(0, delay_us.size, PIECE_ROOM):  # in pieces: no second copy in double precision
            end = min(begin + PIECE_ROOM, delay_us.size)
            delay_us[begin:end] -= (slope_us * np.arange(begin, end)).astype(np.float32)
        for at, shift_us in fit.shifts:
            delay_us[at:] -= np.float32(shift_us)


PIECE_ROOM = 262_144
