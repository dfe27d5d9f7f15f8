"""Compiled coverage probability by drawing levels: for every draw the window is placed anew."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.ofdm_kernels import ABSENT, BLOCK, floor_of, parts_of, required_of, to_powers, window_of

# Draws after which a place that all or none of them serve is taken as it is.
FEW_DRAWS_N = 64
SURE = 0.02
# Signals that far below the strongest (both levels) vary nothing that counts; they are added without being drawn.
STEADY = 10 ** (-2.5)
DECIBEL = math.log(10.0) / 10.0


@njit(cache=True, nogil=True, error_model="numpy")
def correlation_of(apart_deg: float, most: float) -> float:
    """Correlation of two sites' levels by the angle between them, seen from the place."""
    if apart_deg <= 30.0:
        return most
    return most * (90.0 - apart_deg) / 60.0 if apart_deg < 90.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def mixing_of(
    bearing_deg: NDArray[np.float64],
    mast: NDArray[np.int64],
    n: int,
    most: float,
    cosited: float,
    mixing: NDArray[np.float64],
) -> None:
    """Lower triangle L with ``L L' = correlation`` of n signals, into `mixing`; rows are kept at length 1.

    A correlation that falls with the angle is not always that of any field: what is left of a row is then nothing.
    """
    for i in range(n):
        left = 1.0
        for j in range(i):
            apart = abs(bearing_deg[i] - bearing_deg[j]) % 360.0
            value = cosited if mast[i] == mast[j] else correlation_of(min(apart, 360.0 - apart), most)
            for k in range(j):
                value -= mixing[i, k] * mixing[j, k]
            value = value / mixing[j, j] if mixing[j, j] > 1e-6 else 0.0
            limit = math.sqrt(left)
            mixing[i, j] = max(-limit, min(limit, value))
            left = max(left - mixing[i, j] * mixing[i, j], 0.0)
        mixing[i, i] = math.sqrt(left)


@njit(cache=True, nogil=True, error_model="numpy")
def drawn_points(
    level_dbuvm: NDArray[np.float64],
    level_1pct_dbuvm: NDArray[np.float64],
    arrival_us: NDArray[np.float64],
    bearing_deg: NDArray[np.float32],
    masts: NDArray[np.int64],
    noise: NDArray[np.float64],
    times: NDArray[np.float64],
    profile: NDArray[np.float64],
    strategy: int,
    backoff_us: float,
    threshold_ratio: float,
    sigma_db: float,
    most_correlation: float,
    cosited: float,
    draws: NDArray[np.float64],
    start: int,
    stop: int,
    share: NDArray[np.float32],
) -> None:
    """Share of draws in which C/(N+I) reaches what the profile requires, into the last argument.

    Parameters
    ----------
    level_dbuvm, level_1pct_dbuvm, arrival_us, noise, times, profile, strategy, backoff_us, threshold_ratio
        As in `sfn.systems.ofdm_blocks.ofdm_points`.
    bearing_deg : (S, M) array
        From the place to the sites; of no rows: levels vary independently.
    masts : (S,) array
        Sites of one number share a mast.
    draws : (D, N) array
        Standard normal; the columns go to the signals of a place by their level, the strongest first.
    """
    sites = level_dbuvm.shape[0]
    rounded, scale = np.empty(BLOCK), np.empty(BLOCK, np.int64)
    powers, rare_powers = np.empty((sites, BLOCK)), np.empty((sites, BLOCK))
    power, against, arrival = np.empty(sites), np.empty(sites), np.empty(sites)
    median, ratio, bearing = np.empty(sites), np.empty(sites), np.empty(sites)
    order, mixing, mast = np.empty(sites, np.int64), np.zeros((sites, sites)), np.empty(sites, np.int64)
    spread = DECIBEL * sigma_db
    least, greatest = 10.0 ** (min(profile[0], profile[1]) / 10), 10.0 ** (max(profile[1], profile[2]) / 10)
    for m in range(start, stop):
        b = (m - start) % BLOCK
        if b == 0:
            points = min(BLOCK, stop - m)
            for s in range(sites):
                to_powers(level_dbuvm[s], m, points, rounded, scale, powers[s])
                to_powers(level_1pct_dbuvm[s], m, points, rounded, scale, rare_powers[s])
        noise_power = noise[m if noise.size > 1 else 0]
        n, top = 0, 0.0
        for s in range(sites):
            top = max(top, powers[s, b])
        least_power = floor_of(noise_power, top)
        for s in range(sites):
            if powers[s, b] >= ABSENT and (powers[s, b] >= least_power or rare_powers[s, b] >= least_power):
                at = n
                while at > 0 and powers[order[at - 1], b] < powers[s, b]:
                    order[at] = order[at - 1]
                    at -= 1
                order[at] = s
                n += 1
        if n == 0:
            share[m] = np.nan
            continue
        floor, kept = STEADY * powers[order[0], b], 0
        for i in range(n):
            s = order[i]
            rare = rare_powers[s, b] if rare_powers[s, b] >= ABSENT else powers[s, b]
            median[i], ratio[i], arrival[i] = powers[s, b], rare / powers[s, b], arrival_us[s, m]
            if bearing_deg.shape[0] > 0:
                bearing[i], mast[i] = bearing_deg[s, m], masts[s]
            # Without noise that hides them, weak ones far outside the guard interval may still matter: by 1 % level.
            if kept == i and i < draws.shape[1] and (median[i] >= floor or rare >= 0.1 * noise_power):
                kept += 1
            power[i], against[i] = median[i], rare
        correlated = bearing_deg.shape[0] > 0 and most_correlation > 0.0
        if correlated:
            mixing_of(bearing, mast, kept, most_correlation, cosited, mixing)
        good, done = 0, 0
        while done < draws.shape[0]:
            until = min(FEW_DRAWS_N, draws.shape[0]) if done == 0 else draws.shape[0]
            for d in range(done, until):
                strongest = 0
                for i in range(kept):
                    z = draws[d, i]
                    if correlated:
                        z = 0.0
                        for k in range(i + 1):
                            z += mixing[i, k] * draws[d, k]
                    p = median[i] * math.exp(spread * z)
                    power[i], against[i] = p, p * ratio[i]
                    if p > power[strongest] or (p == power[strongest] and arrival[i] < arrival[strongest]):
                        strongest = i
                t0 = window_of(strategy, power, arrival, n, strongest, backoff_us, threshold_ratio, times)
                useful, interference, most, second = 0.0, 0.0, 0.0, 0.0
                for i in range(n):
                    part, rest = parts_of(arrival[i] - t0, times)
                    u = part * power[i]
                    useful += u
                    interference += rest * against[i]
                    if u > most:
                        second, most = most, u
                    elif u > second:
                        second = u
                cni = useful / (noise_power + interference)
                served = cni >= greatest
                if not served and cni >= least:
                    served = 10.0 * math.log10(cni) >= required_of(useful, most, second, profile)
                good += 1 if served else 0
            done = until
            if good <= SURE * done or good >= (1.0 - SURE) * done:
                break
        share[m] = good / done
