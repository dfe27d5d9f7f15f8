"""The packet time of a record and the drift of its clock, beside whatever else happened in it."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sfn.stream.capture import Piece
from sfn.stream.changes import CLOCK_BACK_S, RESTART_PACKETS, SEQUENCE_ROUND, STEP_US

LEAST_PACKETS = 100
ENVELOPE_PIECES = 2000


def longest_stretch(piece: Piece) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Unrolled numbers and arrivals of the longest part without a restart, an outage or a step of a clock in it."""
    steps = np.diff(piece.sequence)
    if piece.wraps:
        steps = (steps + SEQUENCE_ROUND // 2) % SEQUENCE_ROUND - SEQUENCE_ROUND // 2
    waited = np.diff(piece.arrival_s)
    following = waited[steps == 1]
    usual_s = float(np.median(following)) if following.size else 0.0
    broken = (piece.wraps & (np.abs(steps) > RESTART_PACKETS)) | (waited < -CLOCK_BACK_S)
    broken |= np.abs(waited - steps * usual_s) > STEP_US * 1e-6
    edges = np.concatenate(([0], np.flatnonzero(broken) + 1, [piece.sequence.size]))
    longest = int(np.diff(edges).argmax())
    begin, end = int(edges[longest]), int(edges[longest + 1])
    if end - begin < LEAST_PACKETS:
        begin, end = 0, piece.sequence.size
    return np.concatenate(([0], np.cumsum(steps[begin : end - 1]))), piece.arrival_s[begin:end]


def drift_line(delay_us: NDArray[np.float32]) -> tuple[float, float]:
    """The line beneath all delays that comes closest to them: slope a packet and level. [us], [us]

    Notes
    -----
    An edge of the lower convex hull, the one above the middle of the packets (S. Moon, P. Skelly, D. Towsley,
    INFOCOM 1999, from memory). The hull is taken over the least delay of each of two thousand pieces.
    """
    points = []
    edges = np.linspace(0, delay_us.size, min(ENVELOPE_PIECES, delay_us.size // 4) + 1).astype(np.int64)
    for begin, end in pairwise(edges):
        part = delay_us[begin:end]
        if not np.isnan(part).all():
            at = int(np.nanargmin(part))
            points.append((float(begin + at), float(part[at])))
    return line_beneath(*np.array(points).T)


def line_beneath(at: NDArray[np.float64], value: NDArray[np.float64]) -> tuple[float, float]:
    """The edge of the lower convex hull of some points that lies above their middle: slope and value at 0.

    Parameters
    ----------
    at, value : ndarray, shape (points,)
        `at` rising.
    """
    points = list(zip(at.tolist(), value.tolist(), strict=True))
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
