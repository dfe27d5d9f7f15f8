"""Compiled coverage probability by drawing levels: for every draw the window is placed anew."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.ofdm_kernels import ABSENT, BLOCK, floor_of, parts_of, required_of, to_powers, window_of

# Draws after which a place that hardly any of them serves, or all with 3 dB to spare, is taken as it is.
FEW_DRAWS_N = 64
SURE = 0.02
SPARE = 2.0
# Signals that far below the strongest (both levels) vary nothing that counts; they are added without being drawn.
STEADY = 10 ** (-2.5)
DECIBEL = math.log(10.0) / 10.0
RADIAN = math.pi / 180.0
# Other transmitters of a place whose levels are drawn, those that ask for most; of more the medians count.
DRAWN_OTHERS_N = 4
SURE_SPREADS = 8.5  # below the strongest of ours, in spreads of one level: what asks for less asks for nothing


@njit(cache=True, nogil=True, error_model="numpy")
def correlation_of(apart_deg: float, most: float) -> float:
    """Correlation of two sites' levels by the angle between them, seen from the place."""
    if apart_deg <= 30.0:
        return most
    return most * (90.0 - apart_deg) / 60.0 if apart_deg < 90.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def bearing_of(lat: float, lon: float, to_lat: float, to_lon: float) -> float:
    """Bearing on the sphere, as `sfn.geodesy.line.sphere_bearing` has it. [degrees]"""
    one, two, east = lat * RADIAN, to_lat * RADIAN, (to_lon - lon) * RADIAN
    north = math.cos(one) * math.sin(two) - math.sin(one) * math.cos(two) * math.cos(east)
    return math.atan2(math.sin(east) * math.cos(two), north) / RADIAN


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
    needed_dbuvm: NDArray[np.float64],
    lat_deg: NDArray[np.float64],
    lon_deg: NDArray[np.float64],
    theirs_deg: NDArray[np.float64],
    draws: NDArray[np.float64],
    start: int,
    stop: int,
    share: NDArray[np.float32],
    own_share: NDArray[np.float32],
) -> None:
    """Share of draws that are served, and of those that are as far as our own sites go, into the last arguments.

    Served: C/(N+I) reaches what the profile requires, and the strongest of ours what every other transmitter asks for.

    Parameters
    ----------
    level_dbuvm, level_1pct_dbuvm, arrival_us, noise, times, profile, strategy, backoff_us, threshold_ratio
        As in `sfn.systems.ofdm_blocks.ofdm_points`.
    bearing_deg : (S, M) array
        From the place to the sites; of no rows: levels vary independently.
    masts : (S + O,) array
        Transmitters of one number share a mast; the O others come last.
    needed_dbuvm : (O, M) array
        What the strongest of ours must reach beside each other transmitter by its medians; not finite: nothing.
    lat_deg, lon_deg : (M,) arrays
        Of the places; read where O is not 0.
    theirs_deg : (O, 2) array
        Latitude and longitude of the others.
    draws : (D, N) array
        Standard normal; the columns go to the signals of a place by their level, the strongest first, then to others.
    """
    sites, others = level_dbuvm.shape[0], needed_dbuvm.shape[0]
    most_kept = draws.shape[1] - (DRAWN_OTHERS_N if others > 0 else 0)
    asked, asks = np.empty(DRAWN_OTHERS_N), np.empty(DRAWN_OTHERS_N, np.int64)
    rounded, scale = np.empty(BLOCK), np.empty(BLOCK, np.int64)
    powers, rare_powers = np.empty((sites, BLOCK)), np.empty((sites, BLOCK))
    power, against, arrival = np.empty(sites), np.empty(sites), np.empty(sites)
    median, ratio, order = np.empty(sites), np.empty(sites), np.empty(sites, np.int64)
    every = sites + DRAWN_OTHERS_N
    bearing, mixing, mast = np.empty(every), np.zeros((every, every)), np.empty(every, np.int64)
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
            share[m], own_share[m] = np.nan, np.nan
            continue
        floor, kept = STEADY * powers[order[0], b], 0
        for i in range(n):
            s = order[i]
            rare = rare_powers[s, b] if rare_powers[s, b] >= ABSENT else powers[s, b]
            median[i], ratio[i], arrival[i] = powers[s, b], rare / powers[s, b], arrival_us[s, m]
            if bearing_deg.shape[0] > 0:
                bearing[i], mast[i] = bearing_deg[s, m], masts[s]
            # Without noise that hides them, weak ones far outside the guard interval may still matter: by 1 % level.
            if kept == i and i < most_kept and (median[i] >= floor or rare >= 0.1 * noise_power):
                kept += 1
            power[i], against[i] = median[i], rare
        correlated = bearing_deg.shape[0] > 0 and most_correlation > 0.0
        beside, steady = 0, 0.0
        for o in range(others):
            # Spelt so that what is not known asks for nothing.
            ask = 10.0 ** (0.1 * needed_dbuvm[o, m]) if needed_dbuvm[o, m] > -np.inf else 0.0
            if ask < median[0] * math.exp(-SURE_SPREADS * spread):
                continue
            at = beside
            while at > 0 and asked[at - 1] < ask:
                at -= 1
            if beside == DRAWN_OTHERS_N:
                steady = max(steady, min(ask, asked[beside - 1]))
            if at < DRAWN_OTHERS_N:
                beside = min(beside + 1, DRAWN_OTHERS_N)
                for k in range(beside - 1, at, -1):
                    asked[k], asks[k] = asked[k - 1], asks[k - 1]
                asked[at], asks[at] = ask, o
        if correlated:
            for k in range(beside):
                bearing[kept + k] = bearing_of(lat_deg[m], lon_deg[m], theirs_deg[asks[k], 0], theirs_deg[asks[k], 1])
                mast[kept + k] = masts[sites + asks[k]]
            mixing_of(bearing, mast, kept + beside, most_correlation, cosited, mixing)
        good, own, done = 0, 0, 0
        spare, own_spare = np.inf, np.inf
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
                own += 1 if served else 0
                own_spare = min(own_spare, cni / greatest)
                served = served and power[strongest] >= steady
                for k in range(kept, kept + beside):
                    z = draws[d, k]
                    if correlated:
                        z = 0.0
                        for j in range(k + 1):
                            z += mixing[k, j] * draws[d, j]
                    ask = asked[k - kept] * math.exp(spread * z)
                    spare = min(spare, power[strongest] / ask)
                    served = served and power[strongest] >= ask
                good += 1 if served else 0
            done = until
            if settled(good, done, min(spare, own_spare)) and settled(own, done, own_spare):
                break
        share[m], own_share[m] = good / done, own / done


@njit(cache=True, nogil=True, error_model="numpy")
def settled(good: int, done: int, spare: float) -> bool:
    """Whether no more draws are made: so few are served, or all of them with something to spare (a ratio of powers).

    One of 64 not served, or all of them barely, would leave a place of 99.5 % on the wrong side of 99 %.
    """
    return good <= SURE * done or (good == done and spare >= SPARE)
