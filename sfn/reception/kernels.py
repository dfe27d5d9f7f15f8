"""Loops over pixels that a map needs at every redraw, nothing else. Arrays and floats only; the GIL is free."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def overlap_loop(
    level_dbuvm: NDArray[np.float32],
    arrival_us: NDArray[np.float64],
    usable: NDArray[np.bool_],
    upset_by: NDArray[np.float32],
    significant_db: float,
    guard_us: float,
    strongest: NDArray[np.float32],
    second: NDArray[np.float32],
    level_difference_db: NDArray[np.float32],
    delay_difference_us: NDArray[np.float32],
    delay_spread_us: NDArray[np.float32],
) -> None:
    """Fill the layers of `sfn.reception.area.Overlap` for pixels shaped (S, M) into arrays shaped (M,).

    `usable` (M,) says where anything can be received, `upset_by` (M,) which row upsets a place and therefore counts,
    however weak; NaN: none.
    """
    sites, pixels = level_dbuvm.shape
    for m in range(pixels):
        top = -1
        runner = -1
        for s in range(sites):
            level = level_dbuvm[s, m]
            if np.isnan(level):
                continue
            if top < 0 or level > level_dbuvm[top, m]:
                runner = top
                top = s
            elif runner < 0 or level > level_dbuvm[runner, m]:
                runner = s
        strongest[m] = np.nan
        second[m] = np.nan
        level_difference_db[m] = np.nan
        delay_difference_us[m] = np.nan
        delay_spread_us[m] = np.nan
        if top < 0 or not usable[m]:
            continue
        strongest[m] = top
        if runner < 0:
            continue
        second[m] = runner
        level_difference_db[m] = level_dbuvm[runner, m] - level_dbuvm[top, m]
        reference = arrival_us[top, m]
        earliest = reference
        latest = reference
        counted = 0
        for s in range(sites):
            level = level_dbuvm[s, m]
            if np.isnan(level):
                continue
            arrival = arrival_us[s, m]
            near = level >= level_dbuvm[top, m] - significant_db
            if not near and not abs(arrival - reference) <= guard_us and s != upset_by[m]:
                continue
            counted += 1
            earliest = min(earliest, arrival)
            latest = max(latest, arrival)
        if counted >= 2:
            delay_difference_us[m] = arrival_us[runner, m] - reference
            delay_spread_us[m] = latest - earliest


@njit(cache=True, nogil=True)
def quiet_loop(
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    decides: NDArray[np.bool_],
    significant_db: float,
    guard_us: float,
    limiting: NDArray[np.float32],
) -> None:
    """Take out of `limiting` (M,) rows that decide nothing there and are no significant signal; guard NaN: none is."""
    sites, pixels = level_dbuvm.shape
    for m in range(pixels):
        if np.isnan(limiting[m]) or decides[m]:
            continue
        row, top = int(limiting[m]), -1
        for s in range(sites):
            if not np.isnan(level_dbuvm[s, m]) and (top < 0 or level_dbuvm[s, m] > level_dbuvm[top, m]):
                top = s
        near = level_dbuvm[row, m] >= level_dbuvm[top, m] - significant_db
        if not near and not abs(arrival_us[row, m] - arrival_us[top, m]) <= guard_us:
            limiting[m] = np.nan
