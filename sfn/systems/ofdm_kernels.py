"""Compiled OFDM reception of one list of signals: window, parts, required C/N; powers of a block of points.

For draws and the search, which go through millions of lists. `sfn.systems.ofdm` and `ofdm_window` are the obvious form
of the same, `ofdm_blocks` that of a map.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

# Codes of the strategies, in the order of `sfn.systems.ofdm_window.MAP_STRATEGIES`.
STRONGEST, FIRST, CENTRE, MOST_ENERGY = range(4)

# Signals so far below the noise and below the strongest (`BELOW_NOISE_DB`) are left out of placing and of interference:
# twenty of them change C/(N+I) by less than 0.001 dB.
BELOW_NOISE, BELOW_STRONGEST = 1e-5, 1e-3
EQUAL_ENERGY = 1e-12

# Points done together: their powers stay in the nearest cache.
BLOCK = 64

# Levels outside this are taken as its ends; powers below ABSENT are no signal.
SILENT_DBUVM = -500.0
ABSENT = 1e-40

LOG2_10_OVER_10 = np.log2(10.0) / 10.0
ROUND_TO_INTEGER = 1.5 * 2.0**52  # adding it leaves the nearest integer in a double's low bits
LN2 = np.log(2.0)

# error_model "numpy": no test for a divisor of zero, which would keep loops from doing several at once.
FUSED = {"contract"}  # multiply and add in one step; nothing else may be reordered


@njit(cache=True, nogil=True, fastmath=FUSED, error_model="numpy")
def to_powers(
    level_dbuvm: NDArray[np.float64],
    start: int,
    points: int,
    rounded: NDArray[np.float64],
    scale: NDArray[np.int64],
    power: NDArray[np.float64],
) -> None:
    """``10^(level/10)`` of one site's levels at consecutive points, to 1e-8, into `power`; NaN gives no power.

    The library's exponential takes one number at a time and would cost more than all windows
    together; these three loops the compiler does four numbers at a time.
    """
    for j in range(points):
        level = float(level_dbuvm[start + j])
        level = level if level > SILENT_DBUVM else SILENT_DBUVM
        level = level if level < -SILENT_DBUVM else -SILENT_DBUVM
        y = level * LOG2_10_OVER_10
        rounded[j] = y + ROUND_TO_INTEGER
        f = (y - (rounded[j] - ROUND_TO_INTEGER)) * LN2
        g = 1.0 + f * (1.0 / 5.0 + f * (1.0 / 30.0 + f * (1.0 / 210.0)))
        power[j] = 1.0 + f * (1.0 + f * (1.0 / 2.0 + f * (1.0 / 6.0 + f * (1.0 / 24.0) * g)))
    bits = rounded.view(np.int64)
    for j in range(points):
        scale[j] = (bits[j] + 1023) << 52
    factors = scale.view(np.float64)
    for j in range(points):
        power[j] *= factors[j]


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def parts_of(late_us: float, times: NDArray[np.float64]) -> tuple[float, float]:
    """Useful and interfering part of one signal; `times` as in `ofdm_points`."""
    outside = late_us - times[1]
    outside = (-late_us if -late_us > outside else outside) - times[4]
    coherent = 1.0
    if outside > 0.0:
        part = 1.0 - outside / times[0]
        coherent = part * part if part > 0.0 else 0.0
    along = (abs(late_us - 0.5 * times[1]) - times[2]) * times[3]
    if along <= 0.0:
        return coherent, 1.0 - coherent
    followed = 0.0
    if along < 1.0:
        c = math.cos(0.5 * math.pi * along)
        followed = c * c
    along = along if along < 2.0 else 2.0
    return coherent * followed, 1.0 - coherent + coherent * 0.5 * along * along * times[5]


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def required_of(total: float, most: float, second: float, profile: NDArray[np.float64]) -> float:
    """Required C/N of a profile of useful powers, as `sfn.systems.ofdm.required_cn` has it. [dB]"""
    if profile[0] == profile[2] or not most > 0.0:
        return float(profile[0] if profile[0] == profile[2] else profile[3])
    two = (most + second) / total
    two = two if two < 1.0 else 1.0
    echo = profile[0] + (profile[2] - profile[0]) * math.log2(1.0 + second / most)
    return float(echo + (profile[1] - echo) * (1.0 - two * two * math.sqrt(two)))


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def window_of(
    strategy: int,
    power: NDArray[np.float64],
    arrival: NDArray[np.float64],
    n: int,
    strongest: int,
    backoff_us: float,
    threshold_ratio: float,
    times: NDArray[np.float64],
) -> float:
    """t0 of a strategy for n signals."""
    top, top_us = float(power[strongest]), float(arrival[strongest])
    if strategy == STRONGEST:
        return top_us - backoff_us
    if strategy == FIRST:
        # A signal just at the threshold counts, whatever rounding makes of it.
        least, t0 = top * threshold_ratio * (1.0 - 1e-6), top_us
        for i in range(n):
            if power[i] >= least and arrival[i] < t0:
                t0 = float(arrival[i])
        return t0 - backoff_us
    if strategy == CENTRE:
        total, moment = 0.0, 0.0
        for i in range(n):
            total += power[i]
            moment += power[i] * (arrival[i] - top_us)
        return float(top_us + moment / total - backoff_us)
    first_us, last_us = top_us, top_us
    for i in range(n):
        t = float(arrival[i])
        first_us = t if t < first_us else first_us
        last_us = t if t > last_us else last_us
    reach_us = times[1] + times[4]
    if last_us - first_us > reach_us:
        most, chosen_us = -1.0, first_us
        for i in range(n):
            start, energy = float(arrival[i]), 0.0
            for j in range(n):
                away = arrival[j] - start
                energy += power[j] if 0.0 <= away <= reach_us else 0.0
            alike = abs(energy - most) <= EQUAL_ENERGY * most
            if (energy > most and not alike) or (alike and start < chosen_us):
                most, chosen_us = energy, start
        first_us = last_us = chosen_us
        for j in range(n):
            if arrival[j] - first_us <= reach_us and arrival[j] > last_us:
                last_us = float(arrival[j])
    return float(first_us - 0.5 * (times[1] - (last_us - first_us)))


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def floor_of(noise_power: float, top: float) -> float:
    """Power below which, at 50 % and at 1 % of time, a signal is left out of placing and of interference."""
    return min(BELOW_NOISE * noise_power, BELOW_STRONGEST * top)
