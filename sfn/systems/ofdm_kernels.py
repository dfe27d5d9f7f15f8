"""Compiled OFDM reception of many points: one window, its margin, who is wanted and who hurts.

Compiled, because every point tries four windows a signal: a million points of twenty sites weigh
1.6 thousand million pairs. Written for one point at a time, candidates innermost, so that the
compiler does several candidates at once; `sfn.systems.ofdm` is the obvious form of the same.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

# Codes of the strategies, in the order of `sfn.systems.ofdm.STRATEGIES`.
STRONGEST, FIRST, CENTRE, QUASI, BEST = range(5)

# Signals this far below the noise are left out: twenty of them change C/(N+I) by less than 0.001 dB.
NEGLIGIBLE = 1e-5

# A candidate at a cliff of the weight stands this far inside it, as in `sfn.systems.ofdm`.
INSIDE_CLIFF_US = 1e-6

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


@njit(cache=True, nogil=True, error_model="numpy")
def weights_of(
    arrival: NDArray[np.float64], n: int, t0: float, times: NDArray[np.float64], weights: NDArray[np.float64]
) -> None:
    """Useful part of each of n signals in the window t0, into `weights`; `times` as in `ofdm_points`."""
    inverse_us, guard_us, early_us, late_us, edge_us = 1.0 / times[0], times[1], -times[2], times[3], times[5]
    for i in range(n):
        late = arrival[i] - t0
        outside = late - guard_us
        outside = (-late if -late > outside else outside) - edge_us
        outside = outside if outside > 0.0 else 0.0
        part = 1.0 - outside * inverse_us
        w = part * part if late > early_us else 0.0
        weights[i] = w if late < late_us else 0.0


@njit(cache=True, nogil=True, fastmath=FUSED, error_model="numpy")
def merits(
    windows: NDArray[np.float64],
    n_windows: int,
    power: NDArray[np.float64],
    against: NDArray[np.float64],
    arrival: NDArray[np.float64],
    n: int,
    noise: float,
    times: NDArray[np.float64],
    wanted_sum: NDArray[np.float64],
    against_sum: NDArray[np.float64],
) -> int:
    """Place of the window with the largest C/(N+I); the last two arguments are room to work in."""
    # About the middle of the guard interval the weight is symmetrical: Tp - Tg before it, Tp - Tg after it.
    inverse_us, half_us = 1.0 / times[0], 0.5 * times[1]
    reach_us = min(times[2] + half_us, times[3] - half_us)
    falling = 1.0 + (half_us + times[5]) * inverse_us
    total = 0.0
    for c in range(n_windows):
        wanted_sum[c] = 0.0
        against_sum[c] = 0.0
    for i in range(n):
        p, q, t = power[i], against[i], arrival[i] - half_us
        total += q
        for c in range(n_windows):
            away = abs(t - windows[c])
            part = falling - away * inverse_us
            part = part if part < 1.0 else 1.0
            w = part * part if away < reach_us else 0.0
            wanted_sum[c] += w * p
            against_sum[c] += w * q
    for c in range(n_windows):
        rest = total - against_sum[c]
        wanted_sum[c] /= noise + (rest if rest > 0.0 else 0.0)
    best = 0
    for c in range(1, n_windows):
        if wanted_sum[c] > wanted_sum[best]:
            best = c
    return best


# Inlined: handing over thirteen arrays would cost as much as a strategy.
@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def window_of(
    strategy: int,
    power: NDArray[np.float64],
    against: NDArray[np.float64],
    arrival: NDArray[np.float64],
    n: int,
    strongest: int,
    noise: float,
    threshold_ratio: float,
    times: NDArray[np.float64],
    weights: NDArray[np.float64],
    windows: NDArray[np.float64],
    wanted_sum: NDArray[np.float64],
    against_sum: NDArray[np.float64],
) -> float:
    """t0 of a strategy; the last four arguments are room to work in."""
    top_us = float(arrival[strongest])
    if strategy == STRONGEST:
        return top_us
    first_us, last_us = float(arrival[0]), float(arrival[0])
    for i in range(1, n):
        t = arrival[i]
        first_us = t if t < first_us else first_us
        last_us = t if t > last_us else last_us
    if strategy == FIRST:
        # A signal just at the threshold counts, whatever rounding makes of it.
        least, t0 = float(power[strongest]) * threshold_ratio * (1.0 - 1e-6), top_us
        for i in range(n):
            if power[i] >= least and arrival[i] < t0:
                t0 = float(arrival[i])
        return t0
    if strategy == CENTRE:
        total, moment = 0.0, 0.0
        for i in range(n):
            total += power[i]
            moment += power[i] * (arrival[i] - first_us)
        return float(first_us + moment / total - 0.5 * times[1])
    if last_us - first_us <= times[1]:
        return first_us  # everything falls into the guard interval: no window can be better
    # A window that does not reach signal i at all gives at most (all others) / (noise + i). Where the strongest
    # signal's own window already gives more, only windows that reach i need a look.
    weights_of(arrival, n, top_us, times, weights)
    wanted, interference, total = 0.0, noise, 0.0
    for i in range(n):
        wanted += weights[i] * power[i]
        interference += against[i] - weights[i] * against[i]
        total += power[i]
    found = wanted / interference * (1.0 - 1e-9)  # the two are often equal, and rounding must not decide
    from_us, to_us = -np.inf, np.inf
    for i in range(n):
        if total - power[i] < found * (noise + against[i]):
            earliest, latest = arrival[i] - times[3], arrival[i] + times[2]
            from_us = earliest if earliest > from_us else from_us
            to_us = latest if latest < to_us else to_us
    tried = 0
    for group in range(4 if strategy == BEST and times[4] > 0.0 else 2):
        shift_us = 0.0
        if group == 1:
            shift_us = -times[1]
        elif group == 2:
            shift_us = times[4] - times[1] - INSIDE_CLIFF_US
        elif group == 3:
            shift_us = INSIDE_CLIFF_US - times[4]
        for i in range(n):
            windows[tried] = arrival[i] + shift_us
            tried += 1 if from_us <= windows[tried] <= to_us else 0
    return float(windows[merits(windows, tried, power, against, arrival, n, noise, times, wanted_sum, against_sum)])


@njit(cache=True, nogil=True, error_model="numpy")
def ofdm_points(
    level_dbuvm: NDArray[np.float64],
    level_1pct_dbuvm: NDArray[np.float64],
    arrival_us: NDArray[np.float64],
    noise: NDArray[np.float64],
    times: NDArray[np.float64],
    required_ratio: float,
    threshold_ratio: float,
    strategies: NDArray[np.int64],
    start: int,
    stop: int,
    margin_db: NDArray[np.float32],
    least_margin_db: NDArray[np.float32],
    window_us: NDArray[np.float64],
    least_window_us: NDArray[np.float64],
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
        Tu, Tg, early and late limit, Tp (0: no limit), width of edges. [us]
    required_ratio, threshold_ratio : float
        Required C/N and X as power ratios.
    strategies : (K,) array
        Codes; the first gives margin, window, wanted, hurts and lost, all of them the least margin and its window.
    """
    sites = level_dbuvm.shape[0]
    power, against, arrival, weights = np.empty(sites), np.empty(sites), np.empty(sites), np.empty(sites)
    place = np.empty(sites, np.int64)
    windows, wanted_sum, against_sum = np.empty(4 * sites), np.empty(4 * sites), np.empty(4 * sites)
    rounded, scale = np.empty(BLOCK), np.empty(BLOCK, np.int64)
    powers, rare_powers, arrivals = np.empty((sites, BLOCK)), np.empty((sites, BLOCK)), np.empty((sites, BLOCK))
    for m in range(start, stop):
        b = (m - start) % BLOCK
        if b == 0:
            points = min(BLOCK, stop - m)
            for s in range(sites):
                to_powers(level_dbuvm[s], m, points, rounded, scale, powers[s])
                to_powers(level_1pct_dbuvm[s], m, points, rounded, scale, rare_powers[s])
                for j in range(points):
                    arrivals[s, j] = arrival_us[s, m + j]
        noise_power = noise[m if noise.size > 1 else 0]
        n, strongest, top = 0, -1, 0.0
        for s in range(sites):
            p, q = powers[s, b], rare_powers[s, b]
            if p < ABSENT or (p < NEGLIGIBLE * noise_power and q < NEGLIGIBLE * noise_power and p <= top):
                continue
            power[n], against[n], arrival[n], place[n] = p, q if q >= ABSENT else p, arrivals[s, b], s
            if p > top or (p == top and arrival[n] < arrival[strongest]):
                top, strongest = p, n
            n += 1
        if n == 0:
            margin_db[m], least_margin_db[m], window_us[m], least_window_us[m] = np.nan, np.nan, np.nan, np.nan
            wanted[m], hurts[m], lost[m] = -1, -1, False
            continue
        least = np.inf
        for k in range(strategies.size):
            t0 = window_of(
                strategies[k], power, against, arrival, n, strongest, noise_power, threshold_ratio, times,
                weights, windows, wanted_sum, against_sum,
            )  # fmt: skip
            weights_of(arrival, n, t0, times, weights)
            useful, interference, most, worst = 0.0, 0.0, 0.0, 0.0
            owner, culprit = -1, -1
            for i in range(n):
                part = weights[i] * power[i]
                rest = against[i] - weights[i] * against[i]
                useful += part
                interference += rest
                if part > most:
                    most, owner = part, place[i]
                if rest > worst:
                    worst, culprit = rest, place[i]
            ratio = useful / ((noise_power + interference) * required_ratio)
            if k == 0 or ratio < least:
                least = ratio
                least_window_us[m] = t0
            if k == 0:
                margin_db[m] = 10.0 * np.log10(ratio) if ratio > 0.0 else -np.inf
                window_us[m], wanted[m], hurts[m] = t0, owner, culprit
                lost[m] = ratio < 1.0 and top >= required_ratio * noise_power
        if strategies.size == 1:
            least_margin_db[m] = margin_db[m]
        else:
            least_margin_db[m] = 10.0 * np.log10(least) if least > 0.0 else -np.inf
