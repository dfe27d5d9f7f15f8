"""A measured network path: what was lost, in which bursts, and by how much packets were late, hour by hour.

Packets are put in the order in which they were sent, by their sequence number; `delay_us` of a packet that never came
is NaN. Only 4 bytes a packet are kept, so that a day of 250 packets/s takes 90 MB.

| symbol | name | unit |
|---|---|---|
| T | `packet_time_s` | s |
| | `delay_us`: arrival minus T times position, less the least (RFC 5481 4.2) | us |
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.stream.capture import Piece
from sfn.stream.loss import burst_lengths_of

GREATEST_PACKETS = 50_000_000
SEQUENCE_ROUND = 65_536
LEAST_PACKETS = 100
ENVELOPE_PIECES = 2000


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
    drift_ppb : float
        Rate of the receiver's clock against the sender's, taken out of the delays. [1e-9]
    """

    delay_us: NDArray[np.float32]
    first_sequence: int
    origin_s: float
    packet_time_s: float
    duplicates_n: int
    reordered_n: int
    greatest_reorder_packets: int
    drift_ppb: float

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


class _Follower:
    """What is known after the pieces so far; private to `measure`."""

    def __init__(self, packet_time_s: float | None) -> None:
        self.time_s = packet_time_s
        self.first_sequence = 0
        self.first_arrival_s = 0.0
        self.base = 0  # position of the first packet that arrived, counted from the first sent
        self.last_sequence, self.last_position, self.last_arrival_s = 0, 0, 0.0
        self.greatest = -1
        self.count = 0
        self.duplicates_n = self.reordered_n = self.furthest = 0
        self.delay_us = np.full(PIECE_ROOM, np.nan, dtype=np.float32)

    def add(self, piece: Piece) -> None:
        """Take in one piece."""
        if piece.arrival_s.size == 0:
            return
        if self.count == 0:
            self._begin(piece)
        position = self._positions(piece)
        self._keep(position, piece.arrival_s)
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
        if self.time_s is None:
            steps = np.diff(piece.sequence)
            steps = (steps + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2 if piece.wraps else steps
            run = np.concatenate(([0], np.cumsum(steps)))
            if run.size < LEAST_PACKETS or run[-1] <= 0 or piece.arrival_s[-1] <= piece.arrival_s[0]:
                raise PlanError(
                    [
                        Problem(
                            "packets",
                            f"only {run.size} in order",
                            f"at least {LEAST_PACKETS}",
                            code="too-few-packets",
                            values={"packets": int(run.size), "least_packets": LEAST_PACKETS},
                        )
                    ]
                )
            # median over pairs half a piece apart: late packets and odd numbers don't tilt it
            half = run.size // 2
            apart = run[half:] - run[: run.size - half]
            times = (piece.arrival_s[half:] - piece.arrival_s[: run.size - half])[apart > 0]
            self.time_s = float(np.median(times / apart[apart > 0]))
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

    def _positions(self, piece: Piece) -> NDArray[np.int64]:
        """Position of every packet from the first, sequence numbers unrolled."""
        assert self.time_s is not None
        steps = np.diff(np.concatenate(([self.last_sequence], piece.sequence)))
        if piece.wraps:
            steps = (steps + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2
            # an outage longer than half a round: the clock says how many rounds were missed
            waited = np.diff(np.concatenate(([self.last_arrival_s], piece.arrival_s))) / self.time_s
            steps = steps + SEQUENCE_ROUND * np.round((waited - steps) / SEQUENCE_ROUND).astype(np.int64)
        position = self.last_position + np.cumsum(steps)
        self.last_sequence, self.last_position = int(piece.sequence[-1]), int(position[-1])
        self.last_arrival_s = float(piece.arrival_s[-1])
        return np.asarray(position)

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
            what = f"spans {needed} packets"
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
        if self.count < LEAST_PACKETS or self.time_s is None:
            raise PlanError(
                [
                    Problem(
                        "packets",
                        f"only {self.count} arrived",
                        f"at least {LEAST_PACKETS}",
                        code="too-few-packets",
                        values={"packets": self.count, "least_packets": LEAST_PACKETS},
                    )
                ]
            )
        delay = self.delay_us[: self.greatest + 1 + self.base]
        slope_us = 0.0
        if remove_drift:
            slope_us, _ = drift_line(delay)
            for begin in range(0, delay.size, PIECE_ROOM):  # in pieces: no second copy in double precision
                end = min(begin + PIECE_ROOM, delay.size)
                delay[begin:end] -= (slope_us * np.arange(begin, end)).astype(np.float32)
        least_us = np.nanmin(delay)
        delay -= least_us
        return Measured(
            delay,
            self.first_sequence - self.base,
            self.first_arrival_s - self.base * self.time_s + float(least_us) * 1e-6,
            self.time_s + slope_us * 1e-6,
            self.duplicates_n,
            self.reordered_n,
            self.furthest,
            slope_us * 1e-6 / self.time_s * 1e9,
        )


PIECE_ROOM = 262_144


def drift_line(delay_us: NDArray[np.float32]) -> tuple[float, float]:
    """The line beneath all delays that comes closest to them: slope a packet and level. [us], [us]

    Notes
    -----
    An edge of the lower convex hull, the one above the middle of the packets (S. Moon, P. Skelly, D. Towsley,
    INFOCOM 1999, from memory). The hull is taken over the least delay of each of two thousand pieces.
    """
    edges = np.linspace(0, delay_us.size, min(ENVELOPE_PIECES, delay_us.size // 4) + 1).astype(np.int64)
    points = []
    for begin, end in pairwise(edges):
        part = delay_us[begin:end]
        if not np.isnan(part).all():
            at = int(np.nanargmin(part))
            points.append((float(begin + at), float(part[at])))
    hull: list[tuple[float, float]] = []
    for point in points:
        while len(hull) >= 2 and _turns_right(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    middle = float(np.mean([p[0] for p in points]))
    for (x0, y0), (x1, y1) in pairwise(hull):
        if x0 <= middle <= x1:
            slope = (y1 - y0) / (x1 - x0)
            return slope, y0 - slope * x0
    return 0.0, hull[0][1]


def _turns_right(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Whether b lies on or above the line from a to c."""
    return (b[1] - a[1]) * (c[0] - a[0]) >= (c[1] - a[1]) * (b[0] - a[0])
