"""The level of the delays, where it steps, and the drift beside it: fitted together, neither for the other.

The least delay of a hundred packets is the level: queues come and go above it. A clock that is set or a path that
changes moves the level at once and for good; a drift tilts it. A line through a record with a step in it takes the
step for a drift, and one without the drift finds steps everywhere: so the tilt is first taken from short
distances, which few steps touch, then the steps are looked for, then the tilt is fitted to the parts between them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sfn.stream.drift import line_beneath

LEVEL_PACKETS, LEVELS_HELD = 100, 5
LEVELS_MEANT = 20  # that say how high a part lies beside a step
LEAST_STEP_US = 100.0  # a release delay is set in milliseconds
NOISES = 12  # a step is so many times what neighbouring levels differ by
FLAT_RATIO = 0.25  # of a step, that the levels before and after may spread: a queue that drains is not flat
EPISODE_S = 60.0  # up and down again sooner than this is a queue; no queue goes down and up
TILT_PARTS = 40  # of a part, over which its tilt is taken first
TILT_KNOWN_RATIO = 2e-6  # to which the tilt is known: over an outage it may look like a step
SCALE = 4
Points = tuple[NDArray[np.int64], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Levels:
    """The level of a record.

    Parameters
    ----------
    slope_us : float
        Tilt: the drift. [us a packet]
    steps : tuple of (int, float)
        Packet from which on the level is another, and by how much. [us]
    shifts : tuple of (int, float)
        The same at the breaks that were named, whatever its size. [us]
    """

    slope_us: float
    steps: tuple[tuple[int, float], ...]
    shifts: tuple[tuple[int, float], ...]


def levels(delay_us: NDArray[np.float32], *, breaks: Sequence[int] = (), packet_time_s: float) -> Levels:
    """Fit drift and steps of the level together.

    Parameters
    ----------
    delay_us : ndarray of float32, shape (packets,)
        NaN for lost ones. [us]
    breaks : sequence of int
        Packets from which on the level has nothing to do with the one before: a restart, a clock set back.
    packet_time_s : float
        [s]
    """
    size = delay_us.size
    broken = sorted({at for at in breaks if 0 < at < size})
    position, level = _points(delay_us, broken)
    begins = sorted({int(k) for k in np.searchsorted(position, broken) if 0 < k < position.size})
    slope = _tilt(position, level, begins)
    found: set[int] = set()
    for _ in range(2):  # the second time with the tilt that the first left
        found = _stepped(position, level, begins, slope)
        found = _held(level - slope * position, begins, found)
        found = _beyond_tilt(position, level, begins, found, slope, packet_time_s=packet_time_s)
        slope = _fitted(position, level, sorted(found | set(begins)), slope)
    found = _no_queues(position, level, begins, found, slope, packet_time_s=packet_time_s)
    cuts = sorted(found | set(begins))
    slope = _fitted(position, level, cuts, slope)
    sizes = dict(zip(cuts, _sizes(level - slope * position, cuts), strict=True))
    steps = tuple((_where(delay_us, position, k, slope, sizes[k]), sizes[k]) for k in sorted(found))
    return Levels(slope, steps, tuple((broken_at(broken, int(position[k - 1])), sizes[k]) for k in begins))


def broken_at(broken: Sequence[int], after: int) -> int:
    """The last break before the first level that is known after it."""
    return next(at for at in broken if at > after)


def _points(delay_us: NDArray[np.float32], broken: Sequence[int]) -> Points:
    """The least delay of every hundred packets and where it stands; none across a break."""
    positions, least = [], []
    for begin, end in pairwise([0, *broken, delay_us.size]):
        for first in range(begin, end, 1000 * LEVEL_PACKETS):
            part = delay_us[first : min(first + 1000 * LEVEL_PACKETS, end)]
            rows = -(-part.size // LEVEL_PACKETS)
            whole = np.full(rows * LEVEL_PACKETS, np.inf, dtype=np.float32)
            whole[: part.size] = np.where(np.isnan(part), np.inf, part)
            at = whole.reshape(rows, LEVEL_PACKETS).argmin(1) + np.arange(rows) * LEVEL_PACKETS
            known = np.isfinite(whole[at])
            positions.append(first + at[known])
            least.append(whole[at[known]])
    return np.concatenate(positions).astype(np.int64), np.concatenate(least).astype(np.float64)


def _tilt(position: NDArray[np.int64], level: NDArray[np.float64], cuts: Sequence[int]) -> float:
    """The tilt over short distances: a few steps touch few of them. [us a packet]"""
    tilts = []
    for begin, end in pairwise([0, *cuts, level.size]):
        apart = max(1, (end - begin) // TILT_PARTS)
        if end - begin > apart:
            rise = level[begin + apart : end] - level[begin : end - apart]
            tilts.append(rise / (position[begin + apart : end] - position[begin : end - apart]))
    return float(np.median(np.concatenate(tilts))) if tilts else 0.0


def _fitted(position: NDArray[np.int64], level: NDArray[np.float64], cuts: Sequence[int], slope: float) -> float:
    """The tilt of the line beneath all parts, put on one level; levels beside a cut are left out."""
    flat = level.copy()
    for k, size in zip(cuts, _sizes(level - slope * position, cuts), strict=True):
        flat[k:] -= size
    kept = np.ones(level.size, dtype=np.bool_)
    for k in cuts:
        if level.size > 4 * len(cuts) + 4:
            kept[max(0, k - 1) : k + 1] = False
    return line_beneath(position[kept].astype(np.float64), flat[kept])[0]


def _sizes(rest: NDArray[np.float64], cuts: Sequence[int]) -> list[float]:
    """How much higher the level lies after each cut, by the levels next to it."""
    edges = [0, *cuts, rest.size]
    return [
        float(np.median(rest[k : min(after, k + LEVELS_MEANT)]) - np.median(rest[max(before, k - LEVELS_MEANT) : k]))
        for before, k, after in zip(edges, cuts, edges[2:], strict=False)
    ]


def _stepped(position: NDArray[np.int64], level: NDArray[np.float64], begins: Sequence[int], slope: float) -> set[int]:
    """Levels from which on it is another: looked for among levels of a hundred packets, then of four hundred, ..."""
    found: set[int] = set()
    scale = 1
    while level.size >= 2 * LEVELS_HELD * scale:
        cuts = sorted(found | set(begins))
        rest = level - slope * position
        for k, size in zip(cuts, _sizes(rest, cuts), strict=True):
            rest[k:] -= size
        for begin, end in pairwise([0, *begins, level.size]):
            rows = (end - begin) // scale
            if rows >= 2 * LEVELS_HELD:
                merged = rest[begin : begin + rows * scale].reshape(rows, scale).min(1)
                new = {begin + k * scale for k in _at_scale(merged)}
                found |= {k for k in new if all(abs(k - old) >= LEVELS_HELD * scale for old in found)}
        scale *= SCALE
    return found


def _at_scale(merged: NDArray[np.float64]) -> list[int]:
    """Where levels lie flat on both sides and apart, the greatest first, none nearer to another than it is flat."""
    window = np.lib.stride_tricks.sliding_window_view(merged, LEVELS_HELD)
    middle, spread = np.median(window, axis=1), np.ptp(window, axis=1)
    rise = middle[LEVELS_HELD:] - middle[:-LEVELS_HELD]  # at k + LEVELS_HELD
    noise = 1.4826 * float(np.median(np.abs(np.diff(merged)))) / np.sqrt(2)
    size = np.abs(rise)
    flat = np.maximum(spread[LEVELS_HELD:], spread[:-LEVELS_HELD]) <= FLAT_RATIO * size
    candidates = np.flatnonzero(flat & (size > max(LEAST_STEP_US, NOISES * noise)))
    taken: list[int] = []
    blocked = np.zeros(size.size, dtype=np.bool_)
    for k in candidates[np.argsort(-size[candidates], kind="stable")].tolist():
        if not blocked[k]:
            taken.append(k + LEVELS_HELD)
            blocked[max(0, k - LEVELS_HELD + 1) : k + LEVELS_HELD] = True
    return taken


def _held(rest: NDArray[np.float64], begins: Sequence[int], found: set[int]) -> set[int]:
    """Without steps whose upper side comes down again by itself before the next cut: a queue that drains."""
    kept = set(found)
    while True:
        cuts = sorted(kept | set(begins))
        edges = [0, *cuts, rest.size]
        for before, k, after, size in zip(edges, cuts, edges[2:], _sizes(rest, cuts), strict=False):
            upper = rest[k:after] if size > 0 else rest[before:k][::-1]
            beside = float(np.median(upper[:LEVELS_MEANT]))
            if k in kept and float(upper.min()) < beside - FLAT_RATIO * abs(size):
                kept.remove(k)
                break
        else:
            return kept


def _beyond_tilt(
    position: NDArray[np.int64], level: NDArray[np.float64], begins: Sequence[int], found: set[int], slope: float,
    *, packet_time_s: float,
) -> set[int]:  # fmt: skip
    """Without steps over an outage that a little more drift makes up for."""
    cuts = sorted(found | set(begins))
    least_us = TILT_KNOWN_RATIO * packet_time_s * 1e6
    return {
        k
        for k, size in zip(cuts, _sizes(level - slope * position, cuts), strict=True)
        if k in found and abs(size) > LEAST_STEP_US + least_us * float(position[k] - position[k - 1] - LEVEL_PACKETS)
    }


def _no_queues(
    position: NDArray[np.int64], level: NDArray[np.float64], begins: Sequence[int], found: set[int], slope: float,
    *, packet_time_s: float,
) -> set[int]:  # fmt: skip
    """Without steps up that are gone within a minute: a queue stands like that, too, and is no step."""
    kept = set(found)
    while True:
        cuts = sorted(kept | set(begins))
        sizes = _sizes(level - slope * position, cuts)
        for (k, up), (after, down) in pairwise(zip(cuts, sizes, strict=True)):
            lasted_s = float(position[after] - position[k]) * packet_time_s
            if {k, after} <= kept and up > 0 > down and abs(up + down) < FLAT_RATIO * up and lasted_s < EPISODE_S:
                kept -= {k, after}
                break
        else:
            return kept


def _where(delay_us: NDArray[np.float32], position: NDArray[np.int64], k: int, slope: float, size: float) -> int:
    """The packet from which on the level is another: the cut that sorts the packets about it best."""
    begin, end = int(position[max(0, k - 2)]), int(position[min(k + 1, position.size - 1)]) + 1
    part = delay_us[begin:end].astype(np.float64) - slope * np.arange(begin, end)
    known = np.flatnonzero(~np.isnan(part))
    before = np.median(part[known[: max(1, known.size // 4)]])
    above = (part[known] - before - size / 2) * (-1 if size < 0 else 1)
    best = int(np.argmin(np.cumsum(above)))
    return begin + int(known[min(best + 1, known.size - 1)])
