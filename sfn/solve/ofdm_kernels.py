"""Compiled totals of the OFDM objective over packed places; only `totals.py` calls them.

The window stands at the strongest signal (strategy "strongest") or at the first that is loud enough ("first"), so it
moves with one group of sites: the moved ones or those that stay. Signals of the window's own group keep their weights
while the others shift by; sums over them are made once a place. Where no weight of the others has changed since the
last shift, nothing is worked out again. `sfn.systems.ofdm` is the obvious form of the same.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.reception.statistics_kernels import NEPER_DB
from sfn.solve.kernels import MOST_SIGNALS

AT_STRONGEST, AT_FIRST_STAYING, AT_FIRST_MOVED = range(3)
ANCHORS_N, SUMS_N = 3, 5
USEFUL, REST, USEFUL_SQUARE, REST_SQUARE, BOTH = range(SUMS_N)


@njit(cache=True, nogil=True, inline="always")
def _useful_part(late_us: float, times: NDArray[np.float64]) -> float:
    """Useful part of one signal, as `sfn.systems.ofdm_kernels.weights_of` has it."""
    outside = max(-late_us, late_us - times[1]) - times[5]
    if outside <= 0.0:
        return 1.0
    if late_us <= -times[2] or late_us >= times[3]:
        return 0.0
    part = 1.0 - outside / times[0]
    return float(part * part)


@njit(cache=True, nogil=True, inline="always")
def _add(sums: NDArray[np.float64], part: float, power: float, against: float) -> None:
    """Add one signal to the sums of a window."""
    u = part * power
    r = against - part * against
    sums[USEFUL] += u
    sums[REST] += r
    sums[USEFUL_SQUARE] += u * u
    sums[REST_SQUARE] += r * r
    sums[BOTH] += u * r


@njit(cache=True, nogil=True)
def ofdm_totals(
    places: NDArray[np.int64],
    start: NDArray[np.int64],
    site: NDArray[np.int64],
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    travel_us: NDArray[np.float64],
    weight: NDArray[np.float64],
    offsets_us: NDArray[np.float64],
    moved: NDArray[np.bool_],
    shifts_us: NDArray[np.float64],
    times: NDArray[np.float64],
    figures: NDArray[np.float64],
    totals: NDArray[np.float64],
) -> None:
    """Share of places served, and the margin of the less favourable of two windows. Adds to `totals` (K, 3).

    Parameters
    ----------
    places : (P,) array
        Which places; their signals stand in `site`, `a`, `b`, `travel_us` from ``start[p]`` to ``start[p + 1]``.
    a, b : (N,) arrays
        Powers at 50 % and 1 % of time, the strongest of a place first.
    weight : (M,) array
        People or km2.
    offsets_us, moved : (S,) arrays
        Of the sites, and which of them are shifted. [us]
    shifts_us : (K,) array
        [us]
    times : array
        As in `sfn.systems.ofdm_kernels.ofdm_points`.
    figures : (9,) array
        Noise power; required ratio; threshold ratio of "first"; spread over places [dB]; k of the sums; share of places
        that is acceptable and that is the target; margins counted from and to [dB].
    """
    noise, required, threshold, sigma_db, k_factor = figures[0], figures[1], figures[2], figures[3], figures[4]
    acceptable, target, least_db, most_db = figures[5], figures[6], figures[7], figures[8]
    varied = math.exp((sigma_db / NEPER_DB) ** 2) - 1.0
    before, follows = np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS, np.bool_)
    own, whole = np.empty((ANCHORS_N, SUMS_N)), np.empty(SUMS_N)
    parts = np.empty((ANCHORS_N, MOST_SIGNALS))
    others, count = np.empty((2, MOST_SIGNALS), np.int64), np.zeros(2, np.int64)
    at, rides = np.empty(ANCHORS_N), np.empty(ANCHORS_N, np.bool_)
    ready, ratio = np.empty(ANCHORS_N, np.bool_), np.empty(ANCHORS_N)
    for q in range(places.size):
        p = places[q]
        first, n = start[p], start[p + 1] - start[p]
        loud = a[first] * threshold * (1.0 - 1e-6)  # one just at the threshold counts, whatever rounding makes of it
        at[AT_FIRST_STAYING], at[AT_FIRST_MOVED] = np.inf, np.inf
        count[0] = count[1] = 0
        for i in range(n):
            j = first + i
            before[i], follows[i] = travel_us[j] + offsets_us[site[j]], moved[site[j]]
            group = 1 if follows[i] else 0
            others[1 - group, count[1 - group]] = i  # others of the group that it is not in
            count[1 - group] += 1
            if a[j] >= loud:
                anchor = AT_FIRST_MOVED if follows[i] else AT_FIRST_STAYING
                at[anchor] = min(at[anchor], before[i])
        at[AT_STRONGEST], rides[AT_STRONGEST] = before[0], follows[0]
        rides[AT_FIRST_STAYING], rides[AT_FIRST_MOVED] = False, True
        ready[:] = False
        w = weight[p]
        short, below, margin, least, ready_least = False, False, 0.0, 0.0, -1.0
        for c in range(shifts_us.size):
            shift = shifts_us[c]
            staying, moving = at[AT_FIRST_STAYING], at[AT_FIRST_MOVED] + shift
            second = AT_FIRST_STAYING if staying <= moving else AT_FIRST_MOVED
            alike = second != AT_STRONGEST and at[second] == before[0] and rides[second] == follows[0]
            changed = False
            for turn in range(1 if alike else 2):
                k = AT_STRONGEST if turn == 0 else second
                group = 1 if rides[k] else 0
                by = -shift if rides[k] else shift  # how the others move, seen from the window
                same = ready[k]
                if not same:
                    own[k, :] = 0.0
                    for m in range(count[1 - group]):
                        i = others[1 - group, m]
                        _add(own[k], _useful_part(before[i] - at[k], times), a[first + i], b[first + i])
                for m in range(count[group]):
                    part = _useful_part(before[others[group, m]] - at[k] + by, times)
                    same = same and part == parts[k, m]
                    parts[k, m] = part
                if same:
                    continue
                whole[:] = own[k]
                for m in range(count[group]):
                    j = first + others[group, m]
                    _add(whole, parts[k, m], a[j], b[j])
                ready[k], ratio[k] = True, whole[USEFUL] / ((noise + whole[REST]) * required)
                if k == AT_STRONGEST:
                    changed = True
                    share = _share(whole, noise, required, varied, k_factor) if ratio[k] >= 1.0 else 0.0
            least = ratio[AT_STRONGEST] if alike else min(ratio[AT_STRONGEST], ratio[second])
            if changed or least != ready_least:
                ready_least = least
                margin = 10.0 * math.log10(least) if least > 0.0 else least_db
                margin = max(min(margin, most_db), least_db)
                short = least < 1.0 or share < acceptable
                below = short or share < target
            if short:
                totals[c, 0] += w
            if below:
                totals[c, 1] += w
            totals[c, 2] += w * margin


@njit(cache=True, nogil=True)
def _share(sums: NDArray[np.float64], noise: float, required: float, varied: float, k_factor: float) -> float:
    """Share of places served, as `sfn.reception.statistics_kernels.coverage_points` has it (correlated parts)."""
    raised = math.sqrt(varied + 1.0)
    useful, rest = raised * sums[USEFUL], raised * sums[REST] + noise
    if useful <= 0.0:
        return 0.0
    square = k_factor * varied * raised * raised
    useful_variance = math.log(1.0 + square * sums[USEFUL_SQUARE] / (useful * useful))
    rest_variance = math.log(1.0 + square * sums[REST_SQUARE] / (rest * rest))
    shared = math.log(1.0 + square * sums[BOTH] / (useful * rest))
    distance = math.log(useful / rest) - 0.5 * useful_variance + 0.5 * rest_variance - math.log(required)
    variance = useful_variance + rest_variance - 2.0 * shared
    if variance <= 1e-12:
        return 1.0 if distance >= 0.0 else 0.0
    return 0.5 * math.erfc(-distance / math.sqrt(2.0 * variance))
