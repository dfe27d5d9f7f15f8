"""Points of a radial taken many at a time, where receivers lie far apart on it. numba.

What `running` learns point by point a long way at once: blocks of points that cannot matter are passed over by their
greatest height. Symbols are those of `kernels`.
"""

from typing import Any

from numba import njit

from sfn.propagation.hulls import BLOCK, push
from sfn.propagation.running import (
    HORIZON,
    HULL_50,
    HULL_B,
    HULL_H,
    HULL_RAW,
    MOMENT,
    PER_KM,
    S50,
    SB,
    SH,
    SR,
    SUM,
    Y50,
    YB,
    YH,
    H,
)
from sfn.propagation.sweep_formulas import Model, summed

# A radial with more points than this for each of its receivers is walked from receiver to receiver.
FAR_POINTS = 12


@summed
def add_heights(Y: Any, S: Any, first: int, last: int) -> None:
    """Sums of the ground's heights, and of heights times their place, in any order."""
    total, moment = 0.0, 0.0
    for i in range(first, last + 1):
        total += Y[H, i]
        moment += (i - first) * Y[H, i]
    S[SUM] += total
    S[MOMENT] += moment + first * total


@njit(cache=True, nogil=True, error_model="numpy")
def slope_to(
    Y: Any, row: int, blocks: Any, slope: float, first: int, last: int, hts: float, steps: Any
) -> tuple[float, int]:
    """Greatest slope from the transmitter to points first .. last of a row, and its point; or the one so far, and 0."""
    at = 0
    for block in range(first // BLOCK, last // BLOCK + 1):
        a, b = max(block * BLOCK, first), min(block * BLOCK + BLOCK - 1, last)
        rise = blocks[row, block] - hts
        if rise * steps[PER_KM, a if rise > 0.0 else b] <= slope:
            continue
        for i in range(a, b + 1):
            seen = (Y[row, i] - hts) * steps[PER_KM, i]
            if seen > slope:
                slope, at = seen, i
    return slope, at


@njit(cache=True, nogil=True, error_model="numpy")
def own_hull(Y: Any, row: int, blocks: Any, first: int, last: int, vertices: Any, which: int) -> int:
    """Upper hull of points first .. last, put into `vertices` from the left; how many they are.

    Between two vertices the point highest over their line is one, if any is above it; those still to be looked at wait
    at the right end of `vertices`.
    """
    count, waiting = 1, vertices.shape[1] - 1
    vertices[which, 0] = left = first
    if last == first:
        return 1
    vertices[which, waiting] = last
    while waiting < vertices.shape[1]:
        right = vertices[which, waiting]
        low = Y[row, left]
        rise = (Y[row, right] - low) / (right - left)
        best, at = 0.0, 0
        for block in range((left + 1) // BLOCK, (right - 1) // BLOCK + 1):
            a, b = max(block * BLOCK, left + 1), min(block * BLOCK + BLOCK - 1, right - 1)
            if blocks[row, block] - low - rise * ((a if rise > 0.0 else b) - left) <= best:
                continue
            for i in range(a, b + 1):
                above = Y[row, i] - low - rise * (i - left)
                if above > best:
                    best, at = above, i
        if at > 0:
            waiting -= 1
            vertices[which, waiting] = at
        else:
            vertices[which, count] = left = right
            count, waiting = count + 1, waiting + 1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def far(
    Y: Any, S: Any, hulls: Any, blocks: Any, room: Any, counts: Any, first: int, last: int, M: Model, steps: Any
) -> None:
    """Take points first .. last of bare ground, as `running.advance` does.

    A point below the line between two others is on no hull of the row that bends most, nor of the others.
    """
    hts = Y[H, 0] + M.htg
    add_heights(Y, S, first, last)
    S[SR], _ = slope_to(Y, H, blocks, S[SR], first, last, hts, steps)
    S[SB], _ = slope_to(Y, YB, blocks, S[SB], first, last, hts, steps)
    S[S50], at = slope_to(Y, Y50, blocks, S[S50], first, last, hts, steps)
    if at > 0:
        S[SH], S[HORIZON] = S[S50], at
    vertices, vertices_b, raw = counts[HULL_50], counts[HULL_B], counts[HULL_RAW]
    for place in range(own_hull(Y, Y50, blocks, first, last, room, 0)):
        i = room[0, place]
        d = i * M.step
        vertices = push(hulls, HULL_50, vertices, d, Y[Y50, i])
        vertices_b = push(hulls, HULL_B, vertices_b, d, Y[YB, i])
        raw = push(hulls, HULL_RAW, raw, d, Y[H, i])
    counts[HULL_50], counts[HULL_B], counts[HULL_RAW] = vertices, vertices_b, raw


@njit(cache=True, nogil=True, error_model="numpy")
def far_cover(
    Y: Any, S: Any, hulls: Any, blocks: Any, room: Any, counts: Any, first: int, last: int, M: Model, steps: Any
) -> None:
    """Take points first .. last of the ground with its cover, as `running.advance_cover` does."""
    hts = Y[H, 0] + M.htg
    S[S50], _ = slope_to(Y, Y50, blocks, S[S50], first, last, hts, steps)
    S[SB], _ = slope_to(Y, YB, blocks, S[SB], first, last, hts, steps)
    vertices, vertices_b = counts[HULL_50], counts[HULL_B]
    for place in range(own_hull(Y, Y50, blocks, first, last, room, 0)):
        i = room[0, place]
        d = i * M.step
        vertices = push(hulls, HULL_50, vertices, d, Y[Y50, i])
        vertices_b = push(hulls, HULL_B, vertices_b, d, Y[YB, i])
    counts[HULL_50], counts[HULL_B] = vertices, vertices_b


@njit(cache=True, nogil=True, error_model="numpy")
def far_ground(
    Y: Any, S: Any, hulls: Any, blocks: Any, room: Any, counts: Any, first: int, last: int, M: Model, steps: Any
) -> None:
    """Take points first .. last of the bare ground under a cover, as `running.advance_ground` does."""
    hts = Y[H, 0] + M.htg
    add_heights(Y, S, first, last)
    S[SR], _ = slope_to(Y, H, blocks, S[SR], first, last, hts, steps)
    S[SH], at = slope_to(Y, YH, blocks, S[SH], first, last, hts, steps)
    if at > 0:
        S[HORIZON] = at
    vertices, raw = counts[HULL_H], counts[HULL_RAW]
    for place in range(own_hull(Y, YH, blocks, first, last, room, 1)):
        i = room[1, place]
        d = i * M.step
        vertices = push(hulls, HULL_H, vertices, d, Y[YH, i])
        raw = push(hulls, HULL_RAW, raw, d, Y[H, i])
    counts[HULL_H], counts[HULL_RAW] = vertices, raw
