"""Compiled loop of the shares of FM listeners; `fm_listeners.py` and `fm_share_kernels.py` are its users."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True, error_model="numpy")
def listener_counts(
    level_db: NDArray[np.float64],
    arrival_us: NDArray[np.float64],
    order: NDArray[np.int64],
    raised: NDArray[np.float64],
    turns: NDArray[np.float64],
    cosines: NDArray[np.float64],
    sines: NDArray[np.float64],
    tables: NDArray[np.float32],
    of_pair: NDArray[np.int64],
    axes: NDArray[np.float64],
    figures: NDArray[np.float64],
    begin: int,
    end: int,
    counts: NDArray[np.float64],
) -> None:
    """Write to `counts` (M, 5) shares of draws: stereo at target, blended at target, of these with stereo kept, and
    both at the better target.

    Parameters
    ----------
    level_db, arrival_us : (S, M) arrays
        Levels and arrivals; -inf: no signal. [dB, us]
    order : (N, M) array
        Rows of the signals that are drawn, the strongest first; -1: no more.
    raised : (L, N) array
        What each set of levels adds to each signal. [dB]
    turns, cosines, sines : (L, P, N) arrays
        Carrier phases of each set, their cosines and sines. [turns]
    tables : (T, rows, columns, phases, 2) array
        Noise power of one echo, stereo and mono of stereo; 1 for S/N 0 dB.
    of_pair : (S, S) array
        Which table holds for two sites.
    axes : (4,) array
        Step of levels [dB], least delay [us], columns an octave, exponent of the fade.
    figures : (9,) array
        Margins stereo and mono, target and better target, gain 0 and 1 [dB], weight of falling gain, kept from, and
        greatest S/N [dB].
    """
    step_db, least_us, parts, exponent = axes[0], axes[1], axes[2], axes[3]
    stereo_margin, mono_margin, target, better = figures[0], figures[1], figures[2], figures[3]
    none_db, full_db, falling, kept_from, most_db = figures[4], figures[5], figures[6], figures[7], figures[8]
    rows, columns, phases = tables.shape[1], tables.shape[2], tables.shape[3]
    sets_n, turns_n, most = raised.shape[0], turns.shape[1], raised.shape[1]
    level, amplitude = np.empty(most), np.empty(most)
    column, along = np.empty(most, np.int64), np.empty(most)
    row, beyond, table = np.empty(most, np.int64), np.empty(most), np.empty(most, np.int64)
    stereo, mono, gain = np.empty(turns_n), np.empty(turns_n), np.empty(turns_n)
    nothing = 10.0 ** (-most_db / 10.0)
    wanted, wanted_more = 10.0 ** (-target / 10.0), 10.0 ** (-better / 10.0)
    full, none = 10.0 ** (-full_db / 10.0), 10.0 ** (-none_db / 10.0)
    margin_s, margin_m = 10.0 ** (stereo_margin / 10.0), 10.0 ** (mono_margin / 10.0)
    for p in range(begin, end):
        n = 0
        while n < most and order[n, p] >= 0:
            n += 1
        for c in range(5):
            counts[p, c] = 0.0
        if n == 0:
            continue
        if n == 1:  # nothing disturbs
            counts[p, :] = 1.0
            continue
        for i in range(sets_n):
            top = 0
            for k in range(n):
                level[k] = level_db[order[k, p], p] + raised[i, k]
                if level[k] > level[top]:
                    top = k
            for k in range(n):
                gap = level[top] - level[k]
                amplitude[k] = 10.0 ** (-gap / 20.0)
                row[k] = min(int(gap / step_db + 0.5), rows - 1)
                beyond[k] = 10.0 ** (-max(gap - (rows - 1) * step_db, 0.0) / 10.0)
                late = abs(arrival_us[order[k, p], p] - arrival_us[order[top, p], p])
                x = min(max(math.log2(max(late, 1e-9) / least_us) * parts, 0.0), columns - 1.001)
                column[k] = int(x)
                table[k] = of_pair[order[k, p], order[top, p]]
                along[k] = x - column[k]
            for j in range(turns_n):
                real, imaginary = 0.0, 0.0
                for k in range(n):
                    real += amplitude[k] * cosines[i, j, k]
                    imaginary += amplitude[k] * sines[i, j, k]
                together = max(real * real + imaginary * imaginary, 0.0025)
                power_s, power_m = nothing, nothing
                for k in range(n):
                    if k == top:
                        continue
                    turn = turns[i, j, k] - turns[i, j, top]
                    turn = abs(turn - math.floor(turn + 0.5)) * 2.0
                    at = int(turn * (phases - 1) + 0.5)
                    louder = beyond[k]
                    if n > 2:
                        r = amplitude[k]
                        near = cosines[i, j, k] * cosines[i, j, top] + sines[i, j, k] * sines[i, j, top]
                        louder *= ((1.0 + r * r + 2.0 * r * near) / together) ** exponent
                    t = table[k]
                    low, high = tables[t, row[k], column[k], at, 0], tables[t, row[k], column[k] + 1, at, 0]
                    power_s += louder * (low + along[k] * (high - low))
                    low, high = tables[t, row[k], column[k], at, 1], tables[t, row[k], column[k] + 1, at, 1]
                    power_m += louder * (low + along[k] * (high - low))
                stereo[j], mono[j] = power_s * margin_s, power_m * margin_m
                if stereo[j] <= full:
                    gain[j] = 1.0
                elif stereo[j] >= none:
                    gain[j] = 0.0
                else:
                    gain[j] = (-10.0 * math.log10(stereo[j]) - none_db) / (full_db - none_db)
            if falling > 0.0:
                held = held_gain(gain, falling)
                for j in range(turns_n):
                    gain[j] = held
            for j in range(turns_n):
                blended = mono[j] + gain[j] * gain[j] * max(stereo[j] - mono[j], 0.0)
                counts[p, 0] += stereo[j] <= wanted
                if blended <= wanted:
                    counts[p, 1] += 1.0
                    counts[p, 2] += gain[j] >= kept_from
                counts[p, 3] += stereo[j] <= wanted_more
                counts[p, 4] += blended <= wanted_more
        for c in range(5):
            counts[p, c] /= sets_n * turns_n


@njit(cache=True, nogil=True)
def held_gain(gain: NDArray[np.float64], falling: float) -> float:
    """Where a gain settles that falls `falling` times as fast as it rises: what pulls down equals what pulls up."""
    held = float(gain.mean())
    for _ in range(30):
        above, below, many_above, many_below = 0.0, 0.0, 0, 0
        for value in gain:
            if value > held:
                above += value
                many_above += 1
            else:
                below += value
                many_below += 1
        new = (above + falling * below) / (many_above + falling * many_below)
        if abs(new - held) < 1e-6:
            break
        held = new
    return held
