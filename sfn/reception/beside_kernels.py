"""Compiled share of places where our strongest signal reaches what transmitters of other programmes ask for."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.reception.drawn_kernels import bearing_of, correlation_of

MOST_TOPS = 4
TOP_DB = 20.0  # ours that far below the strongest are hardly ever the strongest of a place around
SURE_SPREADS = 6.0  # of one level: beyond them a share is 0 or 1
EVEN = 1.4  # exponent of the joint share: see `sfn.reception.beside.joint_share`


@njit(cache=True, nogil=True, error_model="numpy")
def correlation_between(a_deg: float, b_deg: float, one_mast: bool, most: float, cosited: float) -> float:
    """Correlation of two transmitters' levels at a place, as in `drawn_kernels.mixing_of`."""
    if most <= 0.0:
        return 0.0
    if one_mast:
        return cosited
    apart = abs(a_deg - b_deg) % 360.0
    return correlation_of(min(apart, 360.0 - apart), most)


@njit(cache=True, nogil=True, error_model="numpy")
def beside_points(
    level_dbuvm: NDArray[np.floating],
    needed_dbuvm: NDArray[np.float64],
    lat_deg: NDArray[np.float64],
    lon_deg: NDArray[np.float64],
    ours_deg: NDArray[np.float64],
    theirs_deg: NDArray[np.float64],
    masts: NDArray[np.int64],
    sigma_db: float,
    most: float,
    cosited: float,
    start: int,
    stop: int,
    share: NDArray[np.float64],
) -> None:
    """Share of places around each point, from `start` to before `stop`, into the last argument.

    The greatest of our levels by its first two moments, one site after the other (Clark), and with it the correlation
    with the other transmitter's level; of several of these the joint share by `sfn.reception.beside`.

    Parameters
    ----------
    level_dbuvm : (S, M) array
        Ours.
    needed_dbuvm : (O, M) array
        What each asks for by its medians; not finite: nothing.
    lat_deg, lon_deg : (M,) arrays
        Of the places.
    ours_deg, theirs_deg : (S, 2), (O, 2) arrays
        Latitude and longitude of the transmitters.
    masts : (S + O,) array
        Transmitters of one number share a mast.
    """
    sites, others = level_dbuvm.shape[0], needed_dbuvm.shape[0]
    rows, bearing = np.empty(MOST_TOPS, np.int64), np.empty(MOST_TOPS)
    with_next = np.empty(MOST_TOPS)
    square = sigma_db * sigma_db
    for m in range(start, stop):
        n = 0
        for s in range(sites):
            level = level_dbuvm[s, m]
            if not level > -np.inf:
                continue
            at = n
            while at > 0 and level_dbuvm[rows[at - 1], m] < level:
                at -= 1
            if at < MOST_TOPS:
                n = min(n + 1, MOST_TOPS)
                for k in range(n - 1, at, -1):
                    rows[k] = rows[k - 1]
                rows[at] = s
        if n == 0:
            share[m] = np.nan
            continue
        top = float(level_dbuvm[rows[0], m])
        together, placed = 1.0, False
        for o in range(others):
            spare = top - needed_dbuvm[o, m]
            if not spare < SURE_SPREADS * math.sqrt(2.0) * sigma_db:
                continue
            if spare < -(SURE_SPREADS * math.sqrt(2.0) * sigma_db + 10.0) or sigma_db <= 0.0:
                together = together if spare >= 0.0 else 0.0
                continue
            if not placed:
                for k in range(n):
                    bearing[k] = bearing_of(lat_deg[m], lon_deg[m], ours_deg[rows[k], 0], ours_deg[rows[k], 1])
                placed = True
            theirs = bearing_of(lat_deg[m], lon_deg[m], theirs_deg[o, 0], theirs_deg[o, 1])
            mast = masts[sites + o]
            mean, variance = 0.0, square
            both = square * correlation_between(bearing[0], theirs, masts[rows[0]] == mast, most, cosited)
            for k in range(1, n):
                with_next[k] = square * correlation_between(
                    bearing[0], bearing[k], masts[rows[0]] == masts[rows[k]], most, cosited
                )
            for k in range(1, n):
                level = level_dbuvm[rows[k], m] - top
                if level < -TOP_DB:
                    break
                apart = math.sqrt(max(variance + square - 2.0 * with_next[k], 1e-9))
                x = (mean - level) / apart
                first = 0.5 * math.erfc(-x / math.sqrt(2.0))
                density = math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
                greater = mean * first + level * (1.0 - first) + apart * density
                second = (mean * mean + variance) * first + (level * level + square) * (1.0 - first)
                second += (mean + level) * apart * density
                mean, variance = greater, max(second - greater * greater, 1e-9)
                pair = square * correlation_between(bearing[k], theirs, masts[rows[k]] == mast, most, cosited)
                both = both * first + pair * (1.0 - first)
                for later in range(k + 1, n):
                    pair = square * correlation_between(
                        bearing[k], bearing[later], masts[rows[k]] == masts[rows[later]], most, cosited
                    )
                    with_next[later] = with_next[later] * first + pair * (1.0 - first)
            apart = math.sqrt(max(variance + square - 2.0 * both, 1e-9))
            together = joint_of(together, 0.5 * math.erfc(-(spare + mean) / (apart * math.sqrt(2.0))))
        share[m] = together


@njit(cache=True, nogil=True, error_model="numpy")
def joint_of(one: float, other: float) -> float:
    """The joint share of two shares, see `sfn.reception.beside.joint_share`."""
    least = min(one, other)
    if least <= 1e-6:
        return 0.0
    if max(one, other) >= 1.0:
        return least
    return float((one**-EVEN + other**-EVEN - 1.0) ** (-1.0 / EVEN))


@njit(cache=True, nogil=True, error_model="numpy")
def first_needed(target: float, other: float) -> float:
    """Which first share makes a joint one of `target` with the other; 2 where none does."""
    if other >= 1.0:
        return target
    if other < target:
        return 2.0
    rest = target**-EVEN - other**-EVEN + 1.0
    return rest ** (-1.0 / EVEN) if rest >= 1.0 else 2.0
