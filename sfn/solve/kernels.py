"""Compiled totals of the objective over packed places; only `objective.py` calls them.

A place has a list of signals in `site`, `a`, `b`, `travel_us` from ``start[p]`` to before ``start[p + 1]``. For each
of K shifts of the moved sites, weights of places are added up: not adequately served, below target, and weight times
margin.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.reception.statistics_kernels import NEPER_DB
from sfn.systems.ofdm_kernels import weights_of, window_of

MOST_SIGNALS = 512
FM_KIND, VSB_KIND = 0, 1
FIRST_BITS = 0x3E800000  # of float32 0.25, where the FM table begins


@njit(cache=True, nogil=True, inline="always")
def _fm_noise(
    row: int, part: float, late_us: float, noise: NDArray[np.float32], columns: int,
    single: NDArray[np.float32], bits: NDArray[np.int32],
) -> float:  # fmt: skip
    """Noise voltage of one echo, as in `sfn.systems.fm_kernels.fm_quality`."""
    late = abs(late_us)
    if late < 0.25:
        return 0.0
    single[0] = late
    x = (bits[0] - FIRST_BITS) * 2.0**-20
    x = min(x, columns - 1.0)
    column = min(int(x), columns - 2)
    along = x - column
    i = row * columns + column
    j = i + columns
    low = noise[i] + along * (noise[i + 1] - noise[i])
    high = noise[j] + along * (noise[j + 1] - noise[j])
    return float(low + part * (high - low))


@njit(cache=True, nogil=True, inline="always")
def _mask_power(late_us: float, delays_us: NDArray[np.float64], ratios_db: NDArray[np.float64]) -> float:
    """``10^(needed D/U / 10)`` of the echo mask, linear in dB between its points."""
    last = delays_us.size - 1
    if late_us <= delays_us[0]:
        return float(10.0 ** (ratios_db[0] / 10.0))
    for i in range(last):
        if late_us <= delays_us[i + 1]:
            part = (late_us - delays_us[i]) / (delays_us[i + 1] - delays_us[i])
            return float(10.0 ** ((ratios_db[i] + part * (ratios_db[i + 1] - ratios_db[i])) / 10.0))
    return float(10.0 ** (ratios_db[last] / 10.0))


@njit(cache=True, nogil=True)
def echo_totals(
    kind: int,
    places: NDArray[np.int64],
    start: NDArray[np.int64],
    strongest: NDArray[np.int64],
    site: NDArray[np.int64],
    a: NDArray[np.float64],
    travel_us: NDArray[np.float64],
    base: NDArray[np.float64],
    level_margin_db: NDArray[np.float64],
    weight: NDArray[np.float64],
    offsets_us: NDArray[np.float64],
    moved: NDArray[np.bool_],
    shifts_us: NDArray[np.float64],
    noise: NDArray[np.float32],
    columns: int,
    mask_us: NDArray[np.float64],
    mask_db: NDArray[np.float64],
    figures: NDArray[np.float64],
    totals: NDArray[np.float64],
) -> None:
    """FM and VSB: what echoes do adds up. Adds to `totals` (K, 3).

    Parameters
    ----------
    kind : int
        `FM_KIND`: `a` is how far an echo lies below the strongest [dB]; `VSB_KIND`: its power over it.
    places : (P,) array
        Which places.
    strongest, base, level_margin_db, weight : (M,) arrays
        Site of the strongest signal; what is heard without echoes; margin of level [dB]; people or km2.
    travel_us : (N,) array
        Echo's travel less the strongest's. [us]
    figures : (7,) array
        Heard at adequate and at target; factor and shift of the margin's logarithm; margins counted from and to, and
        level margin of the target. [1, 1, dB, dB, dB, dB, dB]
    """
    adequate, target, factor, shift_db = figures[0], figures[1], figures[2], figures[3]
    least_db, most_db, level_target_db = figures[4], figures[5], figures[6]
    single = np.empty(1, np.float32)
    bits = single.view(np.int32)
    rows, parts = np.empty(MOST_SIGNALS, np.int64), np.empty(MOST_SIGNALS)
    lates, signs = np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS)
    for q in range(places.size):
        p = places[q]
        k = strongest[p]
        fixed, n = base[p], 0
        for j in range(start[p], start[p + 1]):
            s = site[j]
            late = travel_us[j] + offsets_us[s] - offsets_us[k]
            row = int(a[j]) if kind == FM_KIND else 0
            part = a[j] - row
            if moved[s] == moved[k]:
                if kind == FM_KIND:
                    fixed += _fm_noise(row, part, late, noise, columns, single, bits)
                else:
                    fixed += part * _mask_power(late, mask_us, mask_db)
            else:
                rows[n], parts[n], lates[n], signs[n] = row, part, late, 1.0 if moved[s] else -1.0
                n += 1
        w, level = weight[p], level_margin_db[p]
        most = min(most_db, level)
        for c in range(shifts_us.size):
            heard = fixed
            for i in range(n):
                late = lates[i] + signs[i] * shifts_us[c]
                if kind == FM_KIND:
                    heard += _fm_noise(rows[i], parts[i], late, noise, columns, single, bits)
                else:
                    heard += parts[i] * _mask_power(late, mask_us, mask_db)
            if heard > adequate:
                totals[c, 0] += w
            if heard > target or level < level_target_db:
                totals[c, 1] += w
            margin = factor * math.log10(heard) - shift_db
            totals[c, 2] += w * max(min(margin, most), least_db)


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
    strategies: NDArray[np.int64],
    figures: NDArray[np.float64],
    totals: NDArray[np.float64],
) -> None:
    """OFDM: windows and share of places, as `ofdm_points` and `coverage_points` do. Adds to `totals` (K, 3).

    Parameters
    ----------
    a, b : (N,) arrays
        Powers at 50 % and 1 % of time, the strongest of a place first.
    times, strategies : arrays
        As in `sfn.systems.ofdm_kernels.ofdm_points`.
    figures : (9,) array
        Noise power; required ratio; threshold ratio of "first"; spread over places [dB]; k of the sums; share of places
        that is acceptable and that is the target; margins counted from and to [dB].
    """
    noise, required, threshold, sigma_db, k_factor = figures[0], figures[1], figures[2], figures[3], figures[4]
    acceptable, target, least_db, most_db = figures[5], figures[6], figures[7], figures[8]
    varied = math.exp((sigma_db / NEPER_DB) ** 2) - 1.0
    raised = math.sqrt(varied + 1.0)
    power, against = np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS)
    before, arrival, weights = np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS), np.empty(MOST_SIGNALS)
    follows = np.empty(MOST_SIGNALS, np.bool_)
    windows, wanted_sum, against_sum = (
        np.empty(4 * MOST_SIGNALS), np.empty(4 * MOST_SIGNALS), np.empty(4 * MOST_SIGNALS)
    )  # fmt: skip
    for q in range(places.size):
        p = places[q]
        n = start[p + 1] - start[p]
        moves, stays = False, False
        for i in range(n):
            j = start[p] + i
            power[i], against[i] = a[j], b[j]
            before[i], follows[i] = travel_us[j] + offsets_us[site[j]], moved[site[j]]
            moves |= follows[i]
            stays |= not follows[i]
        w = weight[p]
        short, below, margin = False, False, 0.0
        for c in range(shifts_us.size):
            if c == 0 or (moves and stays):
                for i in range(n):
                    arrival[i] = before[i] + (shifts_us[c] if follows[i] else 0.0)
                least, window = np.inf, 0.0
                for k in range(strategies.size):
                    t0 = window_of(
                        strategies[k], power, against, arrival, n, 0, noise, threshold, times,
                        weights, windows, wanted_sum, against_sum,
                    )  # fmt: skip
                    if k == 0:
                        window = t0
                    weights_of(arrival, n, t0, times, weights)
                    useful, rest = 0.0, noise
                    for i in range(n):
                        useful += weights[i] * power[i]
                        rest += against[i] - weights[i] * against[i]
                    least = min(least, useful / (rest * required))
                margin = 10.0 * math.log10(least) if least > 0.0 else least_db
                share = 0.0
                if least >= 1.0:
                    weights_of(arrival, n, window, times, weights)
                    share = _share(power, against, weights, n, noise, required, raised, varied, k_factor)
                short = share < acceptable
                below = share < target or short
            if short:
                totals[c, 0] += w
            if below:
                totals[c, 1] += w
            totals[c, 2] += w * max(min(margin, most_db), least_db)


@njit(cache=True, nogil=True)
def _share(
    power: NDArray[np.float64], against: NDArray[np.float64], weights: NDArray[np.float64], n: int, noise: float,
    required: float, raised: float, varied: float, k_factor: float,
) -> float:  # fmt: skip
    """Share of places served, as `sfn.reception.statistics_kernels.coverage_points` has it (correlated parts)."""
    useful, useful_square, rest, rest_square, both = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(n):
        u = raised * weights[i] * power[i]
        r = raised * (against[i] - weights[i] * against[i])
        useful += u
        rest += r
        useful_square += u * u
        rest_square += r * r
        both += u * r
    if useful <= 0.0:
        return 0.0
    rest += noise
    useful_variance = math.log(1.0 + k_factor * varied * useful_square / (useful * useful))
    rest_variance = math.log(1.0 + k_factor * varied * rest_square / (rest * rest))
    shared = math.log(1.0 + k_factor * varied * both / (useful * rest))
    distance = math.log(useful / rest) - 0.5 * useful_variance + 0.5 * rest_variance - math.log(required)
    variance = useful_variance + rest_variance - 2.0 * shared
    if variance <= 1e-12:
        return 1.0 if distance >= 0.0 else 0.0
    return 0.5 * math.erfc(-distance / math.sqrt(2.0 * variance))


@njit(cache=True, nogil=True)
def pair_shortfall(
    places: NDArray[np.int64],
    signal: NDArray[np.int64],
    a: NDArray[np.float64],
    travel_us: NDArray[np.float64],
    sign: NDArray[np.float64],
    base: NDArray[np.float64],
    weight: NDArray[np.float64],
    differences_us: NDArray[np.float64],
    noise: NDArray[np.float32],
    columns: int,
    adequate: float,
    short: NDArray[np.float64],
) -> None:
    """FM: weight that one echo alone, `signal`, leaves without adequate service, by offset difference; into `short`."""
    single = np.empty(1, np.float32)
    bits = single.view(np.int32)
    for q in range(places.size):
        p, j = places[q], signal[q]
        row = int(a[j])
        for c in range(differences_us.size):
            late = travel_us[j] + sign[q] * differences_us[c]
            heard = base[p] + _fm_noise(row, a[j] - row, late, noise, columns, single, bits)
            if heard > adequate:
                short[c] += weight[p]
