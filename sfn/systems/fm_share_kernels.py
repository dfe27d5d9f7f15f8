"""Compiled loops of the margins of one FM echo; `fm_shares.py` is their only user."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.systems.fm_listener_kernels import held_gain

MOST_DB = 60.0  # margins end here, to either side
_STEP_DB = 6.0
_EXACT_DB = 0.1


@njit(cache=True, nogil=True)
def _clear(
    stereo: NDArray[np.float64], mono: NDArray[np.float64], louder_db: float, figures: NDArray[np.float64],
    kept: bool, gain: NDArray[np.float64],
) -> float:  # fmt: skip
    """Share of sets and phases (L, P) that is clear, or clear with stereo `kept`, all noise so much louder."""
    wanted, none_db, full_db, falling, kept_from = figures[0], figures[1], figures[2], figures[3], figures[4]
    blends = figures[5]
    up = 10.0 ** (louder_db / 10.0)
    full, none = 10.0 ** (-full_db / 10.0), 10.0 ** (-none_db / 10.0)
    unblended, blended = 0, 0
    for i in range(stereo.shape[0]):
        if blends < 1.0:
            for j in range(stereo.shape[1]):
                unblended += stereo[i, j] * up <= wanted
        if blends <= 0.0:
            continue
        for j in range(stereo.shape[1]):
            noise = stereo[i, j] * up
            if noise <= full:
                gain[j] = 1.0
            elif noise >= none:
                gain[j] = 0.0
            else:
                gain[j] = (-10.0 * math.log10(noise) - none_db) / (full_db - none_db)
        if falling > 0.0:
            gain[:] = held_gain(gain, falling)
        for j in range(stereo.shape[1]):
            if kept and gain[j] < kept_from:
                continue
            quiet = mono[i, j]
            blended += (quiet + gain[j] * gain[j] * max(stereo[i, j] - quiet, 0.0)) * up <= wanted
    return float((blends * blended + (1.0 - blends) * unblended) / stereo.size)


@njit(cache=True, nogil=True)
def _margin(
    stereo: NDArray[np.float64], mono: NDArray[np.float64], figures: NDArray[np.float64], kept: bool, start_db: float,
    gain: NDArray[np.float64],
) -> float:  # fmt: skip
    """How much louder noise may be until too few hear it clear, looked for from `start_db` on. [dB]"""
    ratio = figures[6]
    low = high = start_db
    if _clear(stereo, mono, low, figures, kept, gain) >= ratio:
        while high < MOST_DB and _clear(stereo, mono, high, figures, kept, gain) >= ratio:
            low, high = high, high + _STEP_DB
    else:
        while low > -MOST_DB and _clear(stereo, mono, low, figures, kept, gain) < ratio:
            low, high = low - _STEP_DB, low
    while high - low > _EXACT_DB:
        middle = (low + high) / 2.0
        if _clear(stereo, mono, middle, figures, kept, gain) >= ratio:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


@njit(cache=True, nogil=True, error_model="numpy")
def pair_margins(
    power: NDArray[np.float64],
    step_db: float,
    level_db: NDArray[np.float64],
    raised_db: NDArray[np.float64],
    nothing: float,
    margins: NDArray[np.float64],
    figures: NDArray[np.float64],
    found_db: NDArray[np.float64],
) -> None:
    """Margins of one echo at each level and delay difference, into `found_db` (2, levels, columns): clear, and
    clear with stereo kept.

    Parameters
    ----------
    power : (columns, rows, P, 2) array
        Noise power of the echo at each delay, row of level difference and phase, in stereo and mono; 1 for S/N 0 dB.
    step_db : float
        Between its rows. [dB]
    level_db, raised_db : (levels,), (L,) arrays
        Level differences as predicted, and what each set of levels adds. [dB]
    nothing : float
        Noise power without an echo.
    margins : (2,) array
        What a real receiver's noise is greater by, stereo and mono, as a factor.
    figures : (7,) array
        Noise power wanted, gain 0 and 1 of stereo S/N [dB], weight of falling gain, kept from, share that blends, and
        share wanted.
    """
    rows, phases = power.shape[1], power.shape[2]
    stereo, mono = np.empty((raised_db.size, phases)), np.empty((raised_db.size, phases))
    gain = np.empty(phases)
    for c in range(power.shape[0]):
        at, kept_at = 0.0, 0.0
        for d in range(level_db.size):
            for i in range(raised_db.size):
                gap = abs(level_db[d] + raised_db[i])
                y = min(gap / step_db, rows - 1.0)
                row = min(int(y), rows - 2)
                part = y - row
                beyond = 10.0 ** (-max(gap - (rows - 1) * step_db, 0.0) / 10.0)
                for j in range(phases):
                    one = power[c, row, j, 0] + part * (power[c, row + 1, j, 0] - power[c, row, j, 0])
                    other = power[c, row, j, 1] + part * (power[c, row + 1, j, 1] - power[c, row, j, 1])
                    stereo[i, j] = one * beyond * margins[0] + nothing
                    mono[i, j] = other * beyond * margins[1] + nothing
            at = _margin(stereo, mono, figures, False, at, gain)
            kept_at = _margin(stereo, mono, figures, True, kept_at, gain) if figures[5] > 0.0 else at
            found_db[0, d, c], found_db[1, d, c] = at, kept_at
