"""What the points of a radial amount to while it is walked outwards: maxima, sums, hulls, zones. numba.

Symbols are those of `kernels`.
"""

from typing import Any

import numpy as np
from numba import njit

from sfn.propagation.hulls import BLOCK, push, tangent
from sfn.propagation.sweep_formulas import Model, part

NO_COAST_KM = 500.0

# rows of Y: ground, with cover, and both over the tangent: cover with either radius, ground with the median one
H, G, Y50, YB, YH = range(5)
KINDS = 5
# S: steepest slopes from the transmitter to Y50, YB, YH, H; sums of heights, and of heights times their place; horizon
S50, SB, SH, SR, SUM, MOMENT, HORIZON = range(7)
# columns of Z: zones before the point's cell
SEA, LAND, LAND_FROM, INLAND, INLAND_FROM, LAST_SEA, FIRST_SEA, ZONE = range(8)
# hulls, and how many vertices each has; then corners that were pushed, of each row
HULL_50, HULL_B, HULL_H, HULL_RAW, PUSHED, PUSHED_H = range(6)
# rows of the table of steps: 1 / d, and how far the ground falls below the tangent with either radius
PER_KM, FALL_50, FALL_B = range(3)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def steepest(
    Y: Any, row: int, hulls: Any, hull: int, count: int, m: int, dm: float, D: float, top: float
) -> tuple[float, float]:
    """Distance and height of the point, of 1 .. m, that is seen steepest from height `top` at D."""
    t = tangent(hulls, hull, count, D, top)
    d, y = hulls[hull, t, 0], hulls[hull, t, 1]
    last = Y[row, m]
    if (last - top) * (D - d) >= (y - top) * (D - dm):
        return dm, last
    return d, y


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def zone_lengths(Z: Any, m: int, D: float, zr: float, step: float) -> tuple[float, float, float, float, float]:
    """dtm, dlm, omega, dct and dcr of the path over points 0 .. m to a receiver in zone zr."""
    turn = 0.5 * (m * step + D)
    sea, land, inland, last_sea = Z[m, SEA], Z[m, LAND], Z[m, INLAND], Z[m, LAST_SEA]
    land_from, inland_from, dct = Z[m, LAND_FROM], Z[m, INLAND_FROM], Z[m, FIRST_SEA]
    for begin, end, zone in ((max((m - 0.5) * step, 0.0), turn, Z[m, ZONE]), (turn, D, zr)):
        if zone == 2.0:
            sea += end - begin
            dct = min(dct, begin)
            last_sea = land_from = inland_from = end
        else:
            land = max(land, end - land_from)
            if zone == 0.0:
                inland = max(inland, end - inland_from)
            else:
                inland_from = end
    return land, inland, sea / D, dct, D - last_sea if last_sea >= 0.0 else NO_COAST_KM


@part
def prepare(Y: Any, blocks: Any, corners: Any, n: int, bare: bool, far: bool, steps: Any) -> None:
    """What needs no order: heights over the tangents, greatest heights of blocks, and points that may be vertices.

    A point below the line between its neighbours is on no hull, and the steps of all rows bend alike but for the
    curvature of the earth: the row that bends most decides for all.
    """
    cover = H if bare else G
    for i in range(1, n):
        Y[Y50, i] = Y[cover, i] - steps[FALL_50, i]
        Y[YB, i] = Y[cover, i] - steps[FALL_B, i]
    if not bare:
        for i in range(1, n):
            Y[YH, i] = Y[H, i] - steps[FALL_50, i]
    for row in range(KINDS):
        if row == G or (bare and row == YH):
            continue
        for block in range((n - 1) // BLOCK + 1):
            greatest = -np.inf
            for i in range(max(block * BLOCK, 1), min(block * BLOCK + BLOCK, n)):
                greatest = max(greatest, Y[row, i])
            blocks[row, block] = greatest
    if far:
        return
    for which in range(1 if bare else 2):
        row, count = Y50 if which == 0 else YH, 1
        corners[which, 0] = 1
        for i in range(2, n - 1):
            corners[which, count] = i
            count += int(Y[row, i] - Y[row, i - 1] > Y[row, i + 1] - Y[row, i])
        corners[which, count] = max(n - 1, 1)
        corners[which, count + 1] = n


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def advance(Y: Any, S: Any, hulls: Any, corners: Any, counts: Any, first: int, last: int, M: Model, steps: Any) -> None:
    """Take points first .. last of bare ground into the running maxima and sums, and onto the hulls."""
    hts = Y[H, 0] + M.htg
    s50, sb, sh, sr, total, moment = S[S50], S[SB], S[SH], S[SR], S[SUM], S[MOMENT]
    for i in range(first, last + 1):
        per_km, h = steps[PER_KM, i], Y[H, i]
        total += h
        moment += i * h
        s50 = max(s50, (Y[Y50, i] - hts) * per_km)
        sb = max(sb, (Y[YB, i] - hts) * per_km)
        sr = max(sr, (h - hts) * per_km)
        if s50 > sh:
            sh, S[HORIZON] = s50, i
    S[S50], S[SB], S[SH], S[SR], S[SUM], S[MOMENT] = s50, sb, sh, sr, total, moment
    place, vertices, vertices_b, raw = counts[PUSHED], counts[HULL_50], counts[HULL_B], counts[HULL_RAW]
    while corners[0, place] <= last:  # one after the other, so that a guess about one hull serves the next
        i = corners[0, place]
        d = i * M.step
        vertices = push(hulls, HULL_50, vertices, d, Y[Y50, i])
        vertices_b = push(hulls, HULL_B, vertices_b, d, Y[YB, i])
        raw = push(hulls, HULL_RAW, raw, d, Y[H, i])
        place += 1
    counts[PUSHED], counts[HULL_50], counts[HULL_B], counts[HULL_RAW] = place, vertices, vertices_b, raw


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def advance_cover(
    Y: Any, S: Any, hulls: Any, corners: Any, counts: Any, first: int, last: int, M: Model, steps: Any
) -> None:
    """Take points first .. last of the ground with its cover; the ground itself is `advance_ground`'s."""
    hts = Y[H, 0] + M.htg
    s50, sb = S[S50], S[SB]
    for i in range(first, last + 1):
        per_km = steps[PER_KM, i]
        s50 = max(s50, (Y[Y50, i] - hts) * per_km)
        sb = max(sb, (Y[YB, i] - hts) * per_km)
    S[S50], S[SB] = s50, sb
    place, vertices, vertices_b = counts[PUSHED], counts[HULL_50], counts[HULL_B]
    while corners[0, place] <= last:
        i = corners[0, place]
        d = i * M.step
        vertices = push(hulls, HULL_50, vertices, d, Y[Y50, i])
        vertices_b = push(hulls, HULL_B, vertices_b, d, Y[YB, i])
        place += 1
    counts[PUSHED], counts[HULL_50], counts[HULL_B] = place, vertices, vertices_b


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def advance_ground(
    Y: Any, S: Any, hulls: Any, corners: Any, counts: Any, first: int, last: int, M: Model, steps: Any
) -> None:
    """Take points first .. last of the bare ground under a cover."""
    hts = Y[H, 0] + M.htg
    sh, sr, total, moment = S[SH], S[SR], S[SUM], S[MOMENT]
    for i in range(first, last + 1):
        per_km, h = steps[PER_KM, i], Y[H, i]
        total += h
        moment += i * h
        sr = max(sr, (h - hts) * per_km)
        seen = (Y[YH, i] - hts) * per_km
        if seen > sh:
            sh, S[HORIZON] = seen, i
    S[SH], S[SR], S[SUM], S[MOMENT] = sh, sr, total, moment
    place, vertices, raw = counts[PUSHED_H], counts[HULL_H], counts[HULL_RAW]
    while corners[1, place] <= last:
        i = corners[1, place]
        d = i * M.step
        vertices = push(hulls, HULL_H, vertices, d, Y[YH, i])
        raw = push(hulls, HULL_RAW, raw, d, Y[H, i])
        place += 1
    counts[PUSHED_H], counts[HULL_H], counts[HULL_RAW] = place, vertices, raw


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def prepare_zones(Z: Any, zone: Any, k: int, n: int, step: float) -> None:
    """Lengths of sea, land and inland before each point's cell; a cell reaches half-way to its neighbours."""
    sea = land = inland = land_from = inland_from = 0.0
    last_sea, first_sea = -1.0, NO_COAST_KM
    for i in range(n):
        Z[i, SEA], Z[i, LAND], Z[i, LAND_FROM] = sea, land, land_from
        Z[i, INLAND], Z[i, INLAND_FROM], Z[i, LAST_SEA], Z[i, FIRST_SEA] = inland, inland_from, last_sea, first_sea
        begin, end = max((i - 0.5) * step, 0.0), (i + 0.5) * step
        Z[i, ZONE] = zone[k, i] if zone.size > 0 else 0
        if Z[i, ZONE] == 2.0:
            sea += end - begin
            first_sea = min(first_sea, begin)
            last_sea = land_from = inland_from = end
        else:
            land = max(land, end - land_from)
            if Z[i, ZONE] == 0.0:
                inland = max(inland, end - inland_from)
            else:
                inland_from = end
