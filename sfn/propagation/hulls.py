"""Searches over the points of a radial: tangents to convex hulls, and greatest values by blocks. numba.

Points stand every `step` km; a stack holds the indices of the upper hull's vertices, from the transmitter outwards.
"""

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.sweep_formulas import Model, clearance_nu

Floats = NDArray[np.float64]
BLOCK = 32
# J(nu) is 0 from here down; a little below -0.78, so that round-off cannot skip the point that decides.
FLOOR = -0.7801
# A point is passed over only when it is worse by more than round-off.
MARGIN = 1.000001


@njit(cache=True, nogil=True, error_model="numpy")
def tangent(y: Floats, stack: Any, count: int, step: float, D: float, Y: float) -> int:
    """Point of the hull seen steepest from (D, Y), right of them all."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        a, b = stack[middle], stack[middle + 1]
        if (y[b] - Y) * (D - a * step) >= (y[a] - Y) * (D - b * step):
            low = middle + 1
        else:
            high = middle
    return int(stack[low])


@njit(cache=True, nogil=True, error_model="numpy")
def highest(y: Floats, stack: Any, count: int, step: float, slope: float) -> int:
    """Point of the hull that is highest over a line of the given slope."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        a, b = stack[middle], stack[middle + 1]
        if y[b] - y[a] >= slope * step * (b - a):
            low = middle + 1
        else:
            high = middle
    return int(stack[low])


@njit(cache=True, nogil=True, error_model="numpy")
def push(y: Floats, stack: Any, count: int, i: int) -> int:
    """Put point i on the upper hull and return how many vertices it has now."""
    while count >= 2:
        a, b = stack[count - 2], stack[count - 1]
        if (y[b] - y[a]) * (i - b) <= (y[i] - y[b]) * (b - a):
            count -= 1
        else:
            break
    stack[count] = i
    return count + 1


@njit(cache=True, nogil=True, error_model="numpy")
def decisive(
    height: Floats, y: Floats, blocks: Any, m: int, D: float, h1: float, h2: float, q: float, floor: float, M: Model
) -> tuple[float, int]:
    """Greatest nu of points 1 .. m above the floor, and its point (0: none above), on a path in line of sight.

    A block is passed over when its greatest height over the lower end of the ray cannot beat the best so far.
    """
    step, best, at = M.step, floor, 0
    k = 0.002 * D / M.lam
    slope = (h2 - q * D * D - h1) / D
    for block in range(m // BLOCK, -1, -1):
        first, last = max(block * BLOCK, 1), min(block * BLOCK + BLOCK - 1, m)
        da, db = first * step, last * step
        clearance = blocks[block] - h1 - slope * (da if slope > 0.0 else db)
        if clearance < 0.0:
            # nu <= clearance sqrt(k / (d e)): smallest in size where d e is greatest
            middle = min(max(0.5 * D, da), db)
            if best < 0.0 and clearance * clearance * k > best * best * middle * (D - middle) * MARGIN:
                continue
        for i in range(last, first - 1, -1):
            d = i * step
            c = y[i] - h1 - slope * d
            if c < 0.0 and best < 0.0 and c * c * k > best * best * d * (D - d) * MARGIN:
                continue
            nu = clearance_nu(height[i], d, D, h1, h2, q, M.lam)
            if nu > best:
                best, at = nu, i
    return best, at


@njit(cache=True, nogil=True, error_model="numpy")
def roughness(h: Floats, blocks: Any, first: int, last: int, hst: float, slope: float, step: float) -> float:
    """Greatest height of points first .. last over the smooth surface, or 10 m, below which it is of no effect."""
    best = 10.0
    for block in range(first // BLOCK, last // BLOCK + 1):
        a, b = max(block * BLOCK, first), min(block * BLOCK + BLOCK - 1, last)
        if blocks[block] - hst - slope * step * (a if slope > 0.0 else b) <= best:
            continue
        for i in range(a, b + 1):
            best = max(best, h[i] - hst - slope * step * i)
    return best
