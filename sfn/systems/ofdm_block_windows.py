"""Compiled windows of a block of points: what counts there, the strongest, and where each strategy opens.

The forms for one list are `ofdm_window.place_window` (read that) and `ofdm_kernels.window_of`. Every step is a short
loop over the points with few arrays in it, which the compiler does several points at a time. Rows of a block are
signals: powers at 50 % (p) and 1 % of time (q), arrivals (a); where one does not count p = q = 0 and a = FAR_US.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.ofdm_kernels import ABSENT, BELOW_NOISE, BELOW_STRONGEST, CENTRE, EQUAL_ENERGY, FIRST, STRONGEST

Doubles = NDArray[np.float64]

FAR_US = 1e15  # no window reaches it, and sums of it stay finite

# Rows of a block's scratch `w`, each with a value for every point.
(NOISE, TOP, TOP_US, T0, FIRST_US, LAST_US, ENERGY, MOST_ENERGY) = range(8)
WINDOW_ROWS = 8


@njit(cache=True, nogil=True, error_model="numpy")
def strongest_power(p: Doubles, q: Doubles, points: int, top: Doubles) -> None:
    """Power of the strongest so far; what has no level at 1 % of time takes that at 50 %."""
    for b in range(points):
        top[b] = p[b] if p[b] > top[b] else top[b]
        q[b] = q[b] if q[b] >= ABSENT else p[b]


@njit(cache=True, nogil=True, error_model="numpy")
def drop_signal(p: Doubles, q: Doubles, a: Doubles, points: int, noise: Doubles, top: Doubles) -> bool:
    """Empty the row's places where the signal does not count; whether it counts anywhere in the block."""
    counted = 0
    for b in range(points):
        floor = BELOW_NOISE * noise[b]
        floor = floor if floor < BELOW_STRONGEST * top[b] else BELOW_STRONGEST * top[b]
        floor = floor if floor > ABSENT else ABSENT
        louder = p[b] if p[b] > q[b] else q[b]
        counts = (louder >= floor) & (p[b] >= ABSENT)
        p[b] = p[b] if counts else 0.0
        counted += 1 if counts else 0
    for b in range(points):
        q[b] = q[b] if p[b] > 0.0 else 0.0
        a[b] = a[b] if p[b] > 0.0 else FAR_US
    return counted > 0


@njit(cache=True, nogil=True, error_model="numpy")
def strongest_arrival(p: Doubles, a: Doubles, points: int, top: Doubles, top_us: Doubles) -> None:
    """Earliest arrival of the signals that are the strongest."""
    for b in range(points):
        t = a[b] if p[b] == top[b] else FAR_US
        top_us[b] = t if t < top_us[b] else top_us[b]


@njit(cache=True, nogil=True, error_model="numpy")
def extent(a: Doubles, points: int) -> tuple[float, float]:
    """First and last arrival of a signal in the block, where it counts."""
    first, last = FAR_US, -FAR_US
    for b in range(points):
        first = a[b] if a[b] < first else first
        last = a[b] if (a[b] > last) & (a[b] < FAR_US) else last
    return first, last


@njit(cache=True, nogil=True, error_model="numpy")
def add_energy(start: Doubles, a: Doubles, p: Doubles, points: int, reach_us: float, energy: Doubles) -> None:
    """Add a signal's power where it arrives within `reach_us` after `start`."""
    for b in range(points):
        away = a[b] - start[b]
        energy[b] += p[b] if (away >= 0.0) & (away <= reach_us) else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def add_all(p: Doubles, points: int, energy: Doubles) -> None:
    """Add a signal's power."""
    for b in range(points):
        energy[b] += p[b]


@njit(cache=True, nogil=True, error_model="numpy")
def keep_most(start: Doubles, energy: Doubles, points: int, most: Doubles, chosen: Doubles) -> None:
    """Take a start with more energy than the one before, or as much and earlier."""
    for b in range(points):
        alike = abs(energy[b] - most[b]) <= EQUAL_ENERGY * most[b]
        taken = ((energy[b] > most[b]) & (not alike)) | (alike & (start[b] < chosen[b]))
        taken = taken & (start[b] < FAR_US)
        most[b] = energy[b] if taken else most[b]
        chosen[b] = start[b] if taken else chosen[b]


@njit(cache=True, nogil=True, error_model="numpy")
def fullest(
    power: Doubles,
    arrival: Doubles,
    rows: int,
    points: int,
    reach_us: float,
    energy: Doubles,
    most: Doubles,
    chosen: Doubles,
) -> None:
    """Start of the stretch of `reach_us` with most energy, into `chosen`.

    Two signals that keep their order over the whole block, as neighbouring pixels do, need no comparison at each point.
    """
    ends = np.empty((rows, 2))
    for s in range(rows):
        ends[s, 0], ends[s, 1] = extent(arrival[s], points)
    for b in range(points):
        most[b], chosen[b] = -1.0, FAR_US
    for s in range(rows):
        energy[:] = 0.0
        for r in range(rows):
            if ends[r, 1] < ends[s, 0] or ends[r, 0] - ends[s, 1] > reach_us:
                continue
            if r == s or (ends[r, 0] >= ends[s, 1] and ends[r, 1] - ends[s, 0] <= reach_us):
                add_all(power[r], points, energy)
            else:
                add_energy(arrival[s], arrival[r], power[r], points, reach_us, energy)
        keep_most(arrival[s], energy, points, most, chosen)


@njit(cache=True, nogil=True, error_model="numpy")
def widen(a: Doubles, points: int, first: Doubles, last: Doubles) -> None:
    """First and last arrival so far."""
    for b in range(points):
        first[b] = a[b] if a[b] < first[b] else first[b]
        last[b] = a[b] if (a[b] > last[b]) & (a[b] < FAR_US) else last[b]


@njit(cache=True, nogil=True, error_model="numpy")
def last_within(a: Doubles, points: int, start: Doubles, reach_us: float, last: Doubles) -> None:
    """Last arrival within `reach_us` after `start`."""
    for b in range(points):
        last[b] = a[b] if (a[b] - start[b] <= reach_us) & (a[b] > last[b]) else last[b]


@njit(cache=True, nogil=True, error_model="numpy")
def place_windows(
    strategy: int,
    power: Doubles,
    arrival: Doubles,
    rows: int,
    points: int,
    backoff_us: float,
    threshold_ratio: float,
    times: Doubles,
    w: Doubles,
) -> None:
    """t0 of a strategy into row T0, as `ofdm_kernels.window_of` has it for one list."""
    t0, top, top_us = w[T0], w[TOP], w[TOP_US]
    if strategy == STRONGEST:
        for b in range(points):
            t0[b] = top_us[b] - backoff_us
        return
    if strategy == FIRST:
        for b in range(points):
            t0[b] = FAR_US
        for s in range(rows):
            p, a = power[s], arrival[s]
            for b in range(points):
                t = a[b] if p[b] >= top[b] * threshold_ratio * (1.0 - 1e-6) else FAR_US
                t0[b] = t if t < t0[b] else t0[b]
        for b in range(points):
            t0[b] -= backoff_us
        return
    if strategy == CENTRE:
        total, moment = w[ENERGY], w[MOST_ENERGY]
        for b in range(points):
            total[b], moment[b] = 0.0, 0.0
        for s in range(rows):
            p, a = power[s], arrival[s]
            for b in range(points):
                total[b] += p[b]
                moment[b] += p[b] * (a[b] - top_us[b])
        for b in range(points):
            t0[b] = top_us[b] + moment[b] / total[b] - backoff_us
        return
    first, last, energy, most = w[FIRST_US], w[LAST_US], w[ENERGY], w[MOST_ENERGY]
    reach_us = times[1] + times[4]
    for b in range(points):
        first[b], last[b] = top_us[b], top_us[b]
    for s in range(rows):
        widen(arrival[s], points, first, last)
    wide = 0
    for b in range(points):
        wide += 1 if last[b] - first[b] > reach_us else 0
    if wide > 0:
        fullest(power, arrival, rows, points, reach_us, energy, most, first)
        for b in range(points):
            last[b] = first[b]
        for s in range(rows):
            last_within(arrival[s], points, first, reach_us, last)
    for b in range(points):
        t0[b] = first[b] - 0.5 * (times[1] - (last[b] - first[b]))
