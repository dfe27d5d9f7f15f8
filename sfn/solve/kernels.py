"""Compiled totals of the FM and VSB objective over packed places; only `totals.py` and `bound.py` call them.

A place has a list of signals in `site`, `a`, `b`, `travel_us` from ``start[p]`` to before ``start[p + 1]``. For each
of K shifts of the moved sites, weights of places are added up: not adequately served, below target, and weight times
margin.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

MOST_SIGNALS = 512
FM_KIND, VSB_KIND = 0, 1
FIRST_BITS = 0x3E800000  # of float32 0.25, where the FM table begins


@njit(cache=True, nogil=True, inline="always")
def _fm_noise(
    row: int, part: float, late_us: float, noise: NDArray[np.float32], columns: int,
    single: NDArray[np.float32], bits: NDArray[np.int32],
) -> float:  # fmt: skip
    """Noise of one echo, as in `sfn.systems.fm_kernels.fm_quality`; closer than 0.25 us that of 0.25 us."""
    single[0] = abs(late_us)
    x = (bits[0] - FIRST_BITS) * 2.0**-20
    x = min(max(x, 0.0), columns - 1.0)
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
    kept_noise: NDArray[np.float32],
    columns: int,
    row_of: NDArray[np.int64],
    mask_us: NDArray[np.float64],
    mask_db: NDArray[np.float64],
    figures: NDArray[np.float64],
    kept_floor: float,
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
    noise, kept_noise : arrays
        FM: of one echo, for clear reception and for stereo that is kept; `row_of` (S, S) is where the table of two
        sites begins.
    figures : (7,) array
        Heard at adequate and at target; factor and shift of the margin's logarithm; margins counted from and to, and
        level margin of the target. [1, 1, dB, dB, dB, dB, dB]
    kept_floor : float
        FM: what is heard without echoes where stereo is kept.
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
        fixed, fixed_kept, n = base[p], kept_floor, 0
        for j in range(start[p], start[p + 1]):
            s = site[j]
            late = travel_us[j] + offsets_us[s] - offsets_us[k]
            row = int(a[j]) if kind == FM_KIND else 0
            part = a[j] - row
            if kind == FM_KIND:
                row += row_of[s, k]
            if moved[s] == moved[k]:
                if kind == FM_KIND:
                    fixed += _fm_noise(row, part, late, noise, columns, single, bits)
                    fixed_kept += _fm_noise(row, part, late, kept_noise, columns, single, bits)
                else:
                    fixed += part * _mask_power(late, mask_us, mask_db)
            else:
                rows[n], parts[n], lates[n], signs[n] = row, part, late, 1.0 if moved[s] else -1.0
                n += 1
        w, level = weight[p], level_margin_db[p]
        most = min(most_db, level)
        for c in range(shifts_us.size):
            heard, kept = fixed, fixed_kept
            for i in range(n):
                late = lates[i] + signs[i] * shifts_us[c]
                if kind == FM_KIND:
                    heard += _fm_noise(rows[i], parts[i], late, noise, columns, single, bits)
                    kept += _fm_noise(rows[i], parts[i], late, kept_noise, columns, single, bits)
                else:
                    heard += parts[i] * _mask_power(late, mask_us, mask_db)
            if heard > adequate:
                totals[c, 0] += w
            if (kept if kind == FM_KIND else heard) > target or level < level_target_db or heard > adequate:
                totals[c, 1] += w
            margin = factor * math.log10(heard) - shift_db
            totals[c, 2] += w * max(min(margin, most), least_db)


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
    first_row: int,
    adequate: float,
    short: NDArray[np.float64],
) -> None:
    """FM: weight that one echo alone, `signal`, leaves without adequate service; into `short`, shape (D - 1,).

    Between each two of `differences_us`, shape (D,): a place counts when it is lost at both.
    """
    single = np.empty(1, np.float32)
    bits = single.view(np.int32)
    for q in range(places.size):
        p, j = places[q], signal[q]
        row = int(a[j])
        before = False
        for c in range(differences_us.size):
            late = travel_us[j] + sign[q] * differences_us[c]
            heard = base[p] + _fm_noise(first_row + row, a[j] - row, late, noise, columns, single, bits)
            lost = heard > adequate
            if lost and before:
                short[c - 1] += weight[p]
            before = lost
