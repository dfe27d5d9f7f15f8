"""Compiled totals of the OFDM objective over packed places; only `totals.py` calls them.

For every shift the window is placed anew, as the map's receivers place it: `sfn.systems.ofdm_kernels.window_of` is
called, not written again. Where every signal lies in the guard interval nothing depends on where exactly, and the
place's figures are worked out once.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.reception.beside_kernels import first_needed
from sfn.reception.statistics_kernels import NEPER_DB
from sfn.solve.kernels import MOST_SIGNALS
from sfn.systems.ofdm_kernels import parts_of, required_of, window_of


@njit(cache=True, nogil=True, error_model="numpy")
def ofdm_totals(
    places: NDArray[np.int64],
    start: NDArray[np.int64],
    site: NDArray[np.int64],
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    travel_us: NDArray[np.float64],
    weight: NDArray[np.float64],
    reached: NDArray[np.float64],
    spare_db: NDArray[np.float64],
    offsets_us: NDArray[np.float64],
    moved: NDArray[np.bool_],
    shifts_us: NDArray[np.float64],
    times: NDArray[np.float64],
    profile: NDArray[np.float64],
    strategy: int,
    figures: NDArray[np.float64],
    totals: NDArray[np.float64],
) -> None:
    """Share of places served, and the margin of the chosen window strategy. Adds to `totals` (K, 3).

    Parameters
    ----------
    places : (P,) array
        Which places; their signals stand in `site`, `a`, `b`, `travel_us` from ``start[p]`` to ``start[p + 1]``.
    a, b : (N,) arrays
        Powers at 50 % and 1 % of time, the strongest of a place first.
    weight : (M,) array
        People or km2.
    reached, spare_db : (M,) arrays
        Share of places in which the strongest reaches what other programmes ask for, and by how much the medians do.
    offsets_us, moved : (S,) arrays
        Of the sites, and which of them are shifted. [us]
    shifts_us : (K,) array
        [us]
    times, profile, strategy
        As in `sfn.systems.ofdm_blocks.ofdm_points`.
    figures : (9,) array
        Noise power; back-off [us]; threshold ratio of "first"; spread over places [dB]; k of the sums; share of places
        that is acceptable and that is the target; margins counted from and to [dB].
    """
    noise, backoff_us, threshold, sigma_db, k_factor = figures[0], figures[1], figures[2], figures[3], figures[4]
    acceptable, target, least_db, most_db = figures[5], figures[6], figures[7], figures[8]
    varied = math.exp((sigma_db / NEPER_DB) ** 2) - 1.0
    before, at, follows = np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS, np.bool_)
    for q in range(places.size):
        p = places[q]
        first, n = start[p], start[p + 1] - start[p]
        power, against = a[first : first + n], b[first : first + n]
        strongest = 0
        for i in range(n):
            before[i] = travel_us[first + i] + offsets_us[site[first + i]]
            follows[i] = moved[site[first + i]]
        w = weight[p]
        served_from, good_from = first_needed(acceptable, reached[p]), first_needed(target, reached[p])
        known = False
        inside_share, inside_db, share, margin = 0.0, 0.0, 0.0, 0.0
        for c in range(shifts_us.size):
            earliest, latest = np.inf, -np.inf
            for i in range(n):
                at[i] = before[i] + shifts_us[c] if follows[i] else before[i]
                earliest, latest = min(earliest, at[i]), max(latest, at[i])
            # Two that are equally strong: the window of "strongest" stands at the earlier.
            for i in range(1, n):
                if power[i] == power[0] and at[i] < at[strongest]:
                    strongest = i
            t0 = window_of(strategy, power, at, n, strongest, backoff_us, threshold, times)
            inside = earliest >= t0 - times[4] and latest <= t0 + times[1] + times[4] and times[2] >= 0.5 * times[1]
            if inside and known:
                share, margin = inside_share, inside_db
            else:
                share, margin = _judged(power, against, at, n, t0, noise, times, profile, varied, k_factor)
                margin = max(min(margin, spare_db[p], most_db), least_db)
                if inside:
                    known, inside_share, inside_db = True, share, margin
            strongest = 0
            short = margin < 0.0 or share < served_from
            if short:
                totals[c, 0] += w
            if short or share < good_from:
                totals[c, 1] += w
            totals[c, 2] += w * margin


@njit(cache=True, nogil=True, error_model="numpy")
def _judged(
    power: NDArray[np.float64],
    against: NDArray[np.float64],
    arrival: NDArray[np.float64],
    n: int,
    t0: float,
    noise: float,
    times: NDArray[np.float64],
    profile: NDArray[np.float64],
    varied: float,
    k_factor: float,
) -> tuple[float, float]:
    """Share of places served as `statistics_kernels.coverage_points` has it (0 below a margin of 0), and the margin."""
    useful, rest, useful_square, rest_square, both, most, second = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(n):
        part, part_against = parts_of(arrival[i] - t0, times)
        u, r = part * power[i], part_against * against[i]
        useful += u
        rest += r
        useful_square += u * u
        rest_square += r * r
        both += u * r
        if u > most:
            second, most = most, u
        elif u > second:
            second = u
    if useful <= 0.0:
        return 0.0, -np.inf
    required_db = required_of(useful, most, second, profile)
    margin_db = 10.0 * math.log10(useful / (noise + rest)) - required_db
    if margin_db < 0.0:
        return 0.0, margin_db
    raised = math.sqrt(varied + 1.0)
    useful, rest = raised * useful, raised * rest + noise
    square = k_factor * varied * raised * raised
    useful_variance = math.log(1.0 + square * useful_square / (useful * useful))
    rest_variance = math.log(1.0 + square * rest_square / (rest * rest))
    shared = math.log(1.0 + square * both / (useful * rest))
    distance = math.log(useful / rest) - 0.5 * useful_variance + 0.5 * rest_variance - required_db / NEPER_DB
    variance = useful_variance + rest_variance - 2.0 * shared
    if variance <= 1e-12:
        return (1.0 if distance >= 0.0 else 0.0), margin_db
    return 0.5 * math.erfc(-distance / math.sqrt(2.0 * variance)), margin_db
