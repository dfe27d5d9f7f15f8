"""Compiled coverage probability of many points: log-normal sums of the useful and the interfering parts."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.ofdm_kernels import ABSENT, BLOCK, parts_of, required_of, to_powers

NEPER_DB = 10.0 / math.log(10.0)


@njit(cache=True, nogil=True)
def coverage_points(
    level_dbuvm: NDArray[np.float64],
    level_1pct_dbuvm: NDArray[np.float64],
    arrival_us: NDArray[np.float64],
    window_us: NDArray[np.float64],
    noise: NDArray[np.float64],
    times: NDArray[np.float64],
    profile: NDArray[np.float64],
    sigma_db: float,
    k_factor: float,
    correlated: bool,
    start: int,
    stop: int,
    probability: NDArray[np.float32],
) -> None:
    """Coverage probability of the points from `start` to before `stop`, into the last argument.

    Parameters
    ----------
    level_dbuvm, level_1pct_dbuvm, arrival_us : (S, M) arrays
        As in `sfn.systems.ofdm_blocks.ofdm_points`.
    window_us : (M,) array
        t0 at each point. [us]
    noise : (1,) or (M,) array
        Power.
    times, profile : arrays
        As in `ofdm_points`.
    sigma_db, k_factor : float
        Spread over places, k of the log-normal sums.
    correlated : bool
        Whether both parts of a signal vary together (they do).
    """
    sites = level_dbuvm.shape[0]
    power, against, arrival = np.empty(sites), np.empty(sites), np.empty(sites)
    rounded, scale = np.empty(BLOCK), np.empty(BLOCK, np.int64)
    powers, rare_powers = np.empty((sites, BLOCK)), np.empty((sites, BLOCK))
    spread = math.exp((sigma_db / NEPER_DB) ** 2)
    raised, varied = math.sqrt(spread), spread - 1.0
    for m in range(start, stop):
        b = (m - start) % BLOCK
        if b == 0:
            points = min(BLOCK, stop - m)
            for s in range(sites):
                to_powers(level_dbuvm[s], m, points, rounded, scale, powers[s])
                to_powers(level_1pct_dbuvm[s], m, points, rounded, scale, rare_powers[s])
        n = 0
        for s in range(sites):
            p, q = powers[s, b], rare_powers[s, b]
            if p >= ABSENT:
                power[n], against[n], arrival[n] = p, q if q >= ABSENT else p, arrival_us[s, m]
                n += 1
        if n == 0 or np.isnan(window_us[m]):
            probability[m] = np.nan
            continue
        most, second = 0.0, 0.0
        useful, useful_square, rest, rest_square, both = 0.0, 0.0, 0.0, 0.0, 0.0
        for i in range(n):
            share, share_against = parts_of(arrival[i] - window_us[m], times)
            u = raised * share * power[i]
            r = raised * share_against * against[i]
            if u > most:
                second, most = most, u
            elif u > second:
                second = u
            useful += u
            rest += r
            useful_square += u * u
            rest_square += r * r
            both += u * r
        if useful <= 0.0:
            probability[m] = 0.0
            continue
        required_db = required_of(useful, most, second, profile)
        rest += noise[m if noise.size > 1 else 0]
        useful_variance = math.log(1.0 + k_factor * varied * useful_square / (useful * useful))
        rest_variance = math.log(1.0 + k_factor * varied * rest_square / (rest * rest)) if rest > 0.0 else 0.0
        shared = math.log(1.0 + k_factor * varied * both / (useful * rest)) if correlated and rest > 0.0 else 0.0
        distance = math.log(useful) - 0.5 * useful_variance - required_db / NEPER_DB
        distance = distance - math.log(rest) + 0.5 * rest_variance if rest > 0.0 else np.inf
        variance = useful_variance + rest_variance - 2.0 * shared
        if variance <= 1e-12:
            probability[m] = 1.0 if distance >= 0.0 else 0.0
        else:
            probability[m] = 0.5 * math.erfc(-distance / math.sqrt(2.0 * variance))
