"""Searches over the points of a radial: tangents to convex hulls, and greatest values by blocks. numba.

Points stand every `step` km. `Y` holds one row of heights a kind, `stacks` the indices of each row's upper hull from
the transmitter outwards, `blocks` each row's greatest height in blocks of `BLOCK` points. Rows are picked by number and
never sliced: a slice would count references with locked instructions, dearer than the search itself.
"""

from typing import Any

from numba import njit

from sfn.propagation.sweep_formulas import clearance_nu

BLOCK = 32
# Row of `stacks` to work in.
SPARE = 4
# J(nu) is 0 from here down; a little below -0.78, so that round-off cannot skip the point that decides.
FLOOR = -0.7801
# A point is passed over only when it is worse by more than round-off.
MARGIN = 1.000001


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def tangent(Y: Any, row: int, stacks: Any, hull: int, count: int, step: float, D: float, top: float) -> int:
    """Point of the hull seen steepest from height `top` at D, right of them all."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        a, b = stacks[hull, middle], stacks[hull, middle + 1]
        if (Y[row, b] - top) * (D - a * step) >= (Y[row, a] - top) * (D - b * step):
            low = middle + 1
        else:
            high = middle
    return int(stacks[hull, low])


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def highest(Y: Any, row: int, stacks: Any, hull: int, count: int, step: float, slope: float) -> int:
    """Point of the hull that is highest over a line of the given slope."""
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) >> 1
        a, b = stacks[hull, middle], stacks[hull, middle + 1]
        if Y[row, b] - Y[row, a] >= slope * step * (b - a):
            low = middle + 1
        else:
            high = middle
    return int(stacks[hull, low])


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def push(Y: Any, row: int, stacks: Any, hull: int, count: int, first: int, last: int) -> int:
    """Put points first .. last on the upper hull and return how many vertices it has now.

    Points below the line between their neighbours are sorted out first, without a branch that could be guessed wrong.
    """
    left = 0
    for i in range(first, last):
        stacks[SPARE, left] = i
        left += int(i == 1 or Y[row, i] - Y[row, i - 1] > Y[row, i + 1] - Y[row, i])
    stacks[SPARE, left] = last
    for place in range(left + 1):
        i = stacks[SPARE, place]
        y = Y[row, i]
        while count >= 2:
            a, b = stacks[hull, count - 2], stacks[hull, count - 1]
            yb = Y[row, b]
            if (yb - Y[row, a]) * (i - b) > (y - yb) * (b - a):
                break
            count -= 1
        stacks[hull, count] = i
        count += 1
    return count


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def decisive(
    Y: Any, height: int, row: int, blocks: Any, m: int, D: float, h1: float, h2: float, q: float, floor: float,
    step: float, lam: float,
) -> tuple[float, int]:  # fmt: skip
    """Greatest nu of points 1 .. m above the floor, and its point (0: none above), on a path in line of sight.

    A block is passed over when its greatest height over the lower end of the ray cannot beat the best so far.
    """
    best, at = floor, 0
    k = 0.002 * D / lam
    slope = (h2 - q * D * D - h1) / D
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
