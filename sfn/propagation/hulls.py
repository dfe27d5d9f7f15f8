"""Searches over the points of a radial: tangents to convex hulls, and greatest values by blocks. numba.

Points stand every `step` km. `Y` holds one row of heights a kind, `hulls` the vertices (distance, height) of upper
hulls from the transmitter outwards, `blocks` each row's greatest height in blocks of `BLOCK` points. Rows are picked by
number and never sliced: a slice would count references with locked instructions, dearer than the search itself.
"""

from typing import Any

from numba import njit

from sfn.propagation.sweep_formulas import clearance_nu

BLOCK = 32
# J(nu) is 0 from here down; a little below -0.78, so that round-off cannot skip the point that decides.
FLOOR = -0.7801
# A point is passed over only when it is worse by more than round-off.
MARGIN = 1.000001


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def push(hulls: Any, hull: int, count: int, d: float, y: float) -> int:
    """Put a point farther out than all others on the upper hull and return how many vertices it has now."""
    while count >= 2:
        da, db, yb = hulls[hull, count - 2, 0], hulls[hull, count - 1, 0], hulls[hull, count - 1, 1]
        if (yb - hulls[hull, count - 2, 1]) * (d - db) > (y - yb) * (db - da):
            break
        count -= 1
    hulls[hull, count, 0], hulls[hull, count, 1] = d, y
    return count + 1


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def tangent(hulls: Any, hull: int, count: int, D: float, top: float) -> int:
    """Vertex of the hull seen steepest from height `top` at D, right of them all."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        before = (hulls[hull, middle, 1] - top) * (D - hulls[hull, middle + 1, 0])
        if (hulls[hull, middle + 1, 1] - top) * (D - hulls[hull, middle, 0]) >= before:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def highest(hulls: Any, hull: int, count: int, slope: float) -> int:
    """Vertex of the hull that is highest over a line of the given slope."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        run = hulls[hull, middle + 1, 0] - hulls[hull, middle, 0]
        if hulls[hull, middle + 1, 1] - hulls[hull, middle, 1] >= slope * run:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def decisive(
    Y: Any, height: int, row: int, blocks: Any, m: int, D: float, h1: float, h2: float, q: float, floor: float,
    step: float, lam: float,
) -> tuple[float, int]:  # fmt: skip
    """Greatest nu of points 1 .. m above the floor, and its point (0: none above), on a path in line of sight.

    A block is passed over when its greatest height over the lower end of the ray cannot beat the best so far.
    """
    k = 0.002 * D / lam
    slope = (h2 - q * D * D - h1) / D
    best, at = floor, 0
    for block in range(m // BLOCK, -1, -1):
        first, last = max(block * BLOCK, 1), min(block * BLOCK + BLOCK - 1, m)
        da, db = first * step, last * step
        clearance = blocks[row, block] - h1 - slope * (da if slope > 0.0 else db)
        if clearance < 0.0 and best < 0.0:
            # nu <= clearance sqrt(k / (d e)): smallest in size where d e is greatest
            middle = min(max(0.5 * D, da), db)
            if clearance * clearance * k > best * best * middle * (D - middle) * MARGIN:
                continue
        for i in range(last, first - 1, -1):
            d = i * step
            c = Y[row, i] - h1 - slope * d
            if c < 0.0 and best < 0.0 and c * c * k > best * best * d * (D - d) * MARGIN:
                continue
            nu = clearance_nu(Y[height, i], d, D, h1, h2, q, lam)
            if nu > best:
                best, at = nu, i
    return best, at


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def roughness(Y: Any, row: int, blocks: Any, first: int, last: int, hst: float, slope: float, step: float) -> float:
    """Greatest height of points first .. last over the smooth surface, or 10 m, below which it is of no effect."""
    best = max(10.0, Y[row, first] - hst - slope * step * first, Y[row, last] - hst - slope * step * last)
    for block in range(first // BLOCK, last // BLOCK + 1):
        a, b = max(block * BLOCK, first), min(block * BLOCK + BLOCK - 1, last)
        if blocks[row, block] - hst - slope * step * (a if slope > 0.0 else b) <= best:
            continue
        for i in range(a, b + 1):
            best = max(best, Y[row, i] - hst - slope * step * i)
    return float(best)
