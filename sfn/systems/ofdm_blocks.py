"""Compiled OFDM reception of many points: margins, shares of places, who is wanted and who hurts.

A map has twenty million pairs of site and point and follows a slider: loops are those of `ofdm_block_windows`.
`sfn.systems.ofdm` is the obvious form of the same, `ofdm_kernels` that for one list of signals.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.ofdm_block_windows import (
    FAR_US,
    NOISE,
    T0,
    TOP,
    TOP_US,
    WINDOW_ROWS,
    drop_signal,
    place_windows,
    strongest_arrival,
    strongest_power,
)
from sfn.systems.ofdm_kernels import ABSENT, BLOCK, FUSED, LN2, to_powers

Doubles = NDArray[np.float64]

NEPER_DB = 10.0 / math.log(10.0)

TWO_52, MANTISSA, ONE, MAGIC = 2.0**52, (1 << 52) - 1, 1023 << 52, 0x433 << 52
SQRT2 = math.sqrt(2.0)

# More rows of a block's scratch.
(SHARE, AGAINST, USEFUL, INTERFERENCE, MOST, SECOND, OWNER, WORST, CULPRIT) = range(WINDOW_ROWS, WINDOW_ROWS + 9)
(U_SQUARE, R_SQUARE, BOTH, RATIO, REQUIRED, FALL, RISE, TOGETHER) = range(WINDOW_ROWS + 9, WINDOW_ROWS + 17)
ROWS = WINDOW_ROWS + 17


@njit(cache=True, nogil=True, fastmath=FUSED, error_model="numpy")
def to_logs(x: Doubles, points: int, exponent: NDArray[np.int64], mantissa: NDArray[np.int64], out: Doubles) -> None:
    """Natural logarithm of normal numbers above 0, to 1e-13, into `out` (which may be `x`)."""
    bits = x.view(np.int64)
    for b in range(points):
        exponent[b] = (bits[b] >> 52) | MAGIC
        mantissa[b] = (bits[b] & MANTISSA) | ONE
    whole, part = exponent.view(np.float64), mantissa.view(np.float64)
    for b in range(points):
        m, e = part[b], whole[b] - (TWO_52 + 1023.0)
        e = e + 1.0 if m > SQRT2 else e
        m = 0.5 * m if m > SQRT2 else m
        s = (m - 1.0) / (m + 1.0)
        z = s * s
        series = 1 / 9 + z * (1 / 11 + z * (1 / 13 + z * (1 / 15)))
        series = 1.0 + z * (1 / 3 + z * (1 / 5 + z * (1 / 7 + z * series)))
        out[b] = e * LN2 + 2.0 * s * series


@njit(cache=True, nogil=True, fastmath=FUSED, error_model="numpy")
def split(a: Doubles, t0: Doubles, points: int, times: Doubles, share: Doubles, against: Doubles) -> None:
    """Useful and interfering part of a signal, as `ofdm_kernels.parts_of` has them, the cosine to 1e-13."""
    guard, edge, slope, half, steep, mistaken = times[1], times[4], 1.0 / times[0], times[2], times[3], times[5]
    for b in range(points):
        late = a[b] - t0[b]
        outside = late - guard
        outside = (-late if -late > outside else outside) - edge
        part = 1.0 - outside * slope
        part = part if part < 1.0 else 1.0
        part = part if part > 0.0 else 0.0
        share[b] = part * part
    if half == np.inf:
        for b in range(points):
            against[b] = 1.0 - share[b]
        return
    for b in range(points):
        along = (abs(a[b] - t0[b] - 0.5 * guard) - half) * steep
        along = along if along > 0.0 else 0.0
        beyond = along if along < 2.0 else 2.0
        angle = math.pi * ((along if along < 1.0 else 1.0) - 0.5)
        z = angle * angle
        sine = 1 / 39916800 - z * (1 / 6227020800 - z * (1 / 1307674368000 - z * (1 / 355687428096000)))
        sine = 1.0 - z * (1 / 6 - z * (1 / 120 - z * (1 / 5040 - z * (1 / 362880 - z * sine))))
        against[b] = 1.0 - share[b] + share[b] * 0.5 * beyond * beyond * mistaken
        share[b] = share[b] * (0.5 - 0.5 * angle * sine if along > 0.0 else 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def weigh(p: Doubles, q: Doubles, points: int, share: Doubles, against: Doubles) -> None:
    """Parts of a power become powers."""
    for b in range(points):
        share[b] *= p[b]
        against[b] *= q[b]


@njit(cache=True, nogil=True, error_model="numpy")
def add(part: Doubles, rest: Doubles, points: int, useful: Doubles, interference: Doubles) -> None:
    """Sums of both parts."""
    for b in range(points):
        useful[b] += part[b]
        interference[b] += rest[b]


@njit(cache=True, nogil=True, error_model="numpy")
def rank(part: Doubles, points: int, site: float, most: Doubles, second: Doubles, owner: Doubles) -> None:
    """The largest and the second largest part so far, and whose the largest is."""
    for b in range(points):
        lesser = part[b] if part[b] < most[b] else most[b]
        second[b] = lesser if lesser > second[b] else second[b]
        owner[b] = site if part[b] > most[b] else owner[b]
        most[b] = part[b] if part[b] > most[b] else most[b]


@njit(cache=True, nogil=True, error_model="numpy")
def rank_worst(rest: Doubles, points: int, site: float, worst: Doubles, culprit: Doubles) -> None:
    """The largest interfering part so far, and whose it is."""
    for b in range(points):
        culprit[b] = site if rest[b] > worst[b] else culprit[b]
        worst[b] = rest[b] if rest[b] > worst[b] else worst[b]


@njit(cache=True, nogil=True, fastmath=FUSED, error_model="numpy")
def add_product(one: Doubles, other: Doubles, points: int, total: Doubles) -> None:
    """Sum of products."""
    for b in range(points):
        total[b] += one[b] * other[b]


@njit(cache=True, nogil=True, error_model="numpy")
def requirements(w: Doubles, points: int, profile: Doubles, ints: NDArray[np.int64]) -> None:
    """Required C/N of the profiles of useful powers into row REQUIRED, as `ofdm_kernels.required_of` has it. [dB]"""
    needed, most, second, useful, ratio = w[REQUIRED], w[MOST], w[SECOND], w[USEFUL], w[RATIO]
    if profile[0] == profile[2]:
        needed[:] = profile[0]
        return
    for b in range(points):
        ratio[b] = 1.0 + second[b] / most[b] if most[b] > 0.0 else 1.0
    to_logs(ratio, points, ints[0], ints[1], ratio)
    for b in range(points):
        two = (most[b] + second[b]) / useful[b] if most[b] > 0.0 else 1.0
        two = two if two < 1.0 else 1.0
        echo = profile[0] + (profile[2] - profile[0]) / LN2 * ratio[b]
        value = echo + (profile[1] - echo) * (1.0 - two * two * math.sqrt(two))
        needed[b] = value if most[b] > 0.0 else profile[3]


@njit(cache=True, nogil=True, error_model="numpy")
def shares_of(
    w: Doubles, points: int, sigma_db: float, k_factor: float, ints: NDArray[np.int64], share: NDArray[np.float32]
) -> None:
    """Share of places that are served, as `sfn.reception.statistics.coverage_probability` has it, into `share`."""
    spread = math.exp((sigma_db / NEPER_DB) ** 2)
    raised, varied = math.sqrt(spread), k_factor * (spread - 1.0)
    useful, rest, ratio = w[USEFUL], w[SHARE], w[RATIO]
    for b in range(points):
        rest[b] = raised * w[INTERFERENCE, b] + w[NOISE, b]
    for b in range(points):
        ratio[b] = raised * useful[b] / rest[b] if (useful[b] > 0.0) & (rest[b] > 0.0) else 1.0
    to_logs(ratio, points, ints[0], ints[1], ratio)
    fall, rise, together = w[FALL], w[RISE], w[TOGETHER]
    for b in range(points):
        fall[b] = 1.0 + varied * w[U_SQUARE, b] / (useful[b] * useful[b]) if useful[b] > 0.0 else 1.0
    for b in range(points):
        rise[b] = 1.0 + varied * spread * w[R_SQUARE, b] / (rest[b] * rest[b]) if rest[b] > 0.0 else 1.0
    for b in range(points):
        off = useful[b] * rest[b]
        together[b] = 1.0 + varied * raised * w[BOTH, b] / off if off > 0.0 else 1.0
    for row in (FALL, RISE, TOGETHER):
        to_logs(w[row], points, ints[0], ints[1], w[row])
    for b in range(points):
        distance = ratio[b] - 0.5 * (fall[b] - rise[b]) - w[REQUIRED, b] / NEPER_DB
        distance = distance if rest[b] > 0.0 else np.inf
        variance = fall[b] + rise[b] - 2.0 * together[b]
        if not useful[b] > 0.0:
            share[b] = 0.0
        elif variance <= 1e-12:
            share[b] = 1.0 if distance >= 0.0 else 0.0
        else:
            share[b] = 0.5 * math.erfc(-distance / math.sqrt(2.0 * variance))


@njit(cache=True, nogil=True, error_model="numpy")
def ofdm_points(
    level_dbuvm: Doubles,
    level_1pct_dbuvm: Doubles,
    arrival_us: Doubles,
    noise: Doubles,
    times: Doubles,
    profile: Doubles,
    threshold_ratio: float,
    strategies: NDArray[np.int64],
    backoffs_us: Doubles,
    sigma_db: float,
    k_factor: float,
    start: int,
    stop: int,
    margins_db: NDArray[np.float32],
    shares: NDArray[np.float32],
    windows_us: Doubles,
    cni_db: NDArray[np.float32],
    wanted: NDArray[np.int16],
    hurts: NDArray[np.int16],
    lost: NDArray[np.bool_],
) -> None:
    """Reception of the points from `start` to before `stop`; results go into the last seven arguments.

    Parameters
    ----------
    level_dbuvm, level_1pct_dbuvm, arrival_us : (S, M) arrays
        NaN level: not received; 1 % NaN where the other is not: the same as it. [dBuV/m, us]
    noise : (1,) or (M,) array
        Power of noise and other services, ``10^(dBuV/m / 10)``.
    times : (6,) array
        `sfn.systems.ofdm_window.WindowTimes.clock`.
    profile : (4,) array
        Required C/N for Rice, Rayleigh, the 0 dB echo, and where nothing is useful. [dB]
    threshold_ratio : float
        X as a power ratio.
    strategies, backoffs_us : (K,) arrays
        Codes and back-offs; `margins_db`, `windows_us` and `shares` have a row for each, the rest is of the first.
    sigma_db, k_factor : float
        Spread over places and k of the log-normal sums, for the shares; `shares` of no rows: none are asked for.
    """
    sites = level_dbuvm.shape[0]
    powers, rare_powers, arrivals = (np.empty((sites, BLOCK)), np.empty((sites, BLOCK)), np.empty((sites, BLOCK)))
    w, ints, place = np.empty((ROWS, BLOCK)), np.empty((2, BLOCK), np.int64), np.empty(sites, np.int64)
    top, useful, interference, share, against = w[TOP], w[USEFUL], w[INTERFERENCE], w[SHARE], w[AGAINST]
    alone_ratio = 10.0 ** (profile[0] / 10.0)
    for m in range(start, stop, BLOCK):
        points = min(BLOCK, stop - m)
        top[:], w[TOP_US, :] = 0.0, FAR_US
        for b in range(points):
            w[NOISE, b] = noise[m + b if noise.size > 1 else 0]
        for s in range(sites):
            to_powers(level_dbuvm[s], m, points, w[SHARE], ints[0], powers[s])
            to_powers(level_1pct_dbuvm[s], m, points, w[SHARE], ints[0], rare_powers[s])
            strongest_power(powers[s], rare_powers[s], points, top)
        rows = 0
        for s in range(sites):
            for b in range(points):
                powers[rows, b], rare_powers[rows, b] = powers[s, b], rare_powers[s, b]
            for b in range(points):
                arrivals[rows, b] = arrival_us[s, m + b]
            if drop_signal(powers[rows], rare_powers[rows], arrivals[rows], points, w[NOISE], top):
                strongest_arrival(powers[rows], arrivals[rows], points, top, w[TOP_US])
                place[rows] = s
                rows += 1
        for k in range(strategies.size):
            place_windows(strategies[k], powers, arrivals, rows, points, backoffs_us[k], threshold_ratio, times, w)
            for row in (USEFUL, INTERFERENCE, MOST, SECOND, WORST, U_SQUARE, R_SQUARE, BOTH):
                w[row, :] = 0.0
            w[OWNER, :], w[CULPRIT, :] = -1.0, -1.0
            for s in range(rows):
                split(arrivals[s], w[T0], points, times, share, against)
                weigh(powers[s], rare_powers[s], points, share, against)
                add(share, against, points, useful, interference)
                rank(share, points, float(place[s]), w[MOST], w[SECOND], w[OWNER])
                if k == 0:
                    rank_worst(against, points, float(place[s]), w[WORST], w[CULPRIT])
                if shares.shape[0] > 0:
                    add_product(share, share, points, w[U_SQUARE])
                    add_product(against, against, points, w[R_SQUARE])
                    add_product(share, against, points, w[BOTH])
            requirements(w, points, profile, ints)
            if shares.shape[0] > 0:
                shares_of(w, points, sigma_db, k_factor, ints, shares[k, m : m + points])
            for b in range(points):
                w[RATIO, b] = useful[b] / (w[NOISE, b] + interference[b]) if useful[b] > 0.0 else 1.0
            to_logs(w[RATIO], points, ints[0], ints[1], w[RATIO])
            for b in range(points):
                there = top[b] >= ABSENT
                ratio_db = NEPER_DB * w[RATIO, b] if useful[b] > 0.0 else -np.inf
                w[RATIO, b] = ratio_db if there else np.nan
                w[REQUIRED, b] = w[RATIO, b] - w[REQUIRED, b]
                margins_db[k, m + b] = w[REQUIRED, b]
                windows_us[k, m + b] = w[T0, b] if there else np.nan
            if shares.shape[0] > 0:
                for b in range(points):
                    shares[k, m + b] = shares[k, m + b] if top[b] >= ABSENT else np.nan
            if k == 0:
                for b in range(points):
                    cni_db[m + b], wanted[m + b], hurts[m + b] = w[RATIO, b], w[OWNER, b], w[CULPRIT, b]
                    lost[m + b] = (w[REQUIRED, b] < 0.0) & (top[b] >= alone_ratio * w[NOISE, b])
