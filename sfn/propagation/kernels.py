"""P.1812 at every receiver of some radials, while each radial is walked outwards. numba.

With y = g - q d^2, heights over the tangent at the transmitter, what a receiver at D needs from the m points before it
no longer depends on D: the steepest slope from the transmitter is a running maximum, the steepest from the receiver is
the tangent to the upper convex hull of (d, y), kept on a stack. Where the optimum need not lie on the hull (least
clearance in line of sight, roughness) blocks of points with their greatest height let most be passed over.

| symbol | argument | meaning |
|---|---|---|
| h, cover, zone | (k, n) | ground, cover [m], zone index (the last two may be empty) of k radials, every `step` km |
| m | | last point of the radial that a receiver's path uses: half a step or more before it |
| Y | (5, n) | heights by kind, rows `H` to `YH` |
| S | (8,) | what the points 1 .. m amount to, `S50` to `HORIZON` |
| Z | (n, 8) | what the zones before a point amount to, `SEA` to `ZONE` |
| hulls | (4, n, 2) | distance and height of the vertices of four upper hulls |
| corners | (2, n) | points that may be vertices, of the heights with cover and of the ground |
| blocks | (5, n / `BLOCK` + 1) | greatest height of each row of Y in each block of points |
| B | (`ROWS` * `LANES`,) | a batch of receivers, filled while the radial is walked: `batch` |
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.batch import (
    AZIMUTH,
    COUPLED,
    DCR,
    DCT,
    DISTANCE,
    DLM,
    DLR,
    DLT,
    DTM,
    GAMMA,
    INNER,
    LANES,
    LN_BETA,
    LOSS,
    NU_50,
    NU_B,
    OMEGA,
    OVER_R,
    OVER_T,
    POINT_R,
    POINT_T,
    RIM_50,
    RIM_B,
    RISE,
    ROUGH,
    ROWS,
    RX_HEIGHT,
    SEEN,
    SIGHT,
    SLOPE_R,
    SLOPE_T,
    SMOOTH_R,
    SMOOTH_T,
    THETA_T,
    TIM_50,
    TIM_B,
    WHOLE,
    combined,
    diffracted,
    horizons_of,
    spheres,
)  # fmt: skip
from sfn.propagation.ducts import before_duct, coupling, duct_times, roughnesses
from sfn.propagation.far import FAR_POINTS, far, far_cover, far_ground
from sfn.propagation.hulls import BLOCK, FLOOR, decisive, highest
from sfn.propagation.near_cover import obstacle, obstruction_covered
from sfn.propagation.radials import merged
from sfn.propagation.running import (
    HORIZON,
    HULL_50,
    HULL_B,
    HULL_H,
    HULL_RAW,
    KINDS,
    MOMENT,
    NO_COAST_KM,
    S50,
    SB,
    SH,
    SR,
    SUM,
    Y50,
    YB,
    YH,
    G,
    H,
    advance,
    advance_cover,
    advance_ground,
    prepare,
    prepare_zones,
    steepest,
    zone_lengths,
)
from sfn.propagation.smooth_earth import FREE_SPACE_KM, LEAST_DISTANCE_KM
from sfn.propagation.sweep_formulas import DB, Model, entry, last_point

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEAST_INNER_POINTS = 3
# Loops over a batch run to a multiple of so many receivers: what is beyond the last is worked out and left.
WHOLE_VECTORS = 8

# columns of receivers
OWN_KM, OWN_AZIMUTH, OWN_GROUND, OWN_ZONE, OWN_COVER, CLEAR, PART = range(7)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def obstruction(
    Y: Any, row: int, hulls: Any, hull: int, count: int, blocks: Any, slope: float, m: int, D: float, hts: float,
    hrs: float, q: float, M: Model,
) -> tuple[float, float, float]:  # fmt: skip
    """Nu of a bare profile for one Earth radius, eq. (13) to (17), or infinite and the two slopes of (18) to (20)."""
    Stim = slope + q * D
    if Stim < (hrs - hts) / D:
        nu, _ = decisive(Y, H, row, blocks, m, D, hts, hrs, q, FLOOR, M.step, M.lam)
        Srim = Stim = 1.0
    else:
        nu, top = np.inf, hrs - q * D * D
        d, y = steepest(Y, row, hulls, hull, count, m, m * M.step, D, top)
        Srim = (y - top) / (D - d) - q * D
    return nu, Stim, Srim


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def lay(
    Y: Any, S: Any, Z: Any, hulls: Any, blocks: Any, counts: Any, m: int, mc: int, bare: bool, inland: bool, D: float,
    azimuth: float, ground: float, zr: float, own_cover: float, clear: float, M: Model, B: Any, a: int,
) -> None:  # fmt: skip
    """Lay into place `a` of a batch what the path of one receiver looks like: all that needs its radial's points."""
    step, hts, hrs, q = M.step, Y[H, 0] + M.htg, ground + M.hrg, M.q50
    rise, per_km = hrs - hts, 1.0 / D
    straight = rise * per_km
    B[DISTANCE + a], B[AZIMUTH + a], B[RISE + a], B[RX_HEIGHT + a], B[INNER + a] = D, azimuth, rise, hrs, m
    omega, dct, dcr, dtm, dlm = 0.0, NO_COAST_KM, NO_COAST_KM, D, D
    if not (inland and zr == 0.0):
        dtm, dlm, omega, dct, dcr = zone_lengths(Z, m, D, zr, step)
    B[OMEGA + a], B[DTM + a], B[DLM + a], B[DCT + a], B[DCR + a] = omega, dtm, dlm, dct, dcr

    # smooth surface, eq. (85) to (91); horizons of the bare terrain, (76) to (84)
    dm, hm0 = m * step, Y[H, m]
    v1 = step * (Y[H, 0] + 2.0 * S[SUM] - hm0) + (D - dm) * (ground + hm0)
    v2 = step * step * (Y[H, 0] + 6.0 * S[MOMENT] - (3 * m + 1) * hm0)
    v2 += (D - dm) * (ground * (2.0 * D + dm) + hm0 * (D + 2.0 * dm))
    hst, hsr = (2.0 * v1 * D - v2) * per_km * per_km, (v2 - v1 * D) * per_km * per_km
    B[SMOOTH_T + a], B[SMOOTH_R + a] = min(hst, Y[H, 0]), min(hsr, ground)
    alpha_t = S[SR] - straight
    if alpha_t > 0.0:
        d, y = steepest(Y, H, hulls, HULL_RAW, counts[HULL_RAW], m, dm, D, hrs)
        alpha_r = (y - hrs) / (D - d) + straight
        t = highest(hulls, HULL_RAW, counts[HULL_RAW], straight)
        share = max(hulls[HULL_RAW, t, 1] - straight * hulls[HULL_RAW, t, 0], hm0 - straight * dm) - hts
        share /= alpha_t + alpha_r
        hst -= share * alpha_t
        hsr -= share * alpha_r
    B[OVER_T + a], B[OVER_R + a] = hts - min(hst, Y[H, 0]), hrs - min(hsr, ground)
    los = S[SH] <= straight - q * D
    seen = coupled = 0.0
    if los:
        B[SLOPE_T + a], B[SLOPE_R + a] = straight - q * D, -straight - q * D
        B[DLT + a] = B[DLR + a] = 0.5 * D
        coupled = -12.0 if omega >= 0.75 else 0.0
    else:
        top, hull = hrs - q * D * D, HULL_50 if bare else HULL_H
        d, y = steepest(Y, Y50 if bare else YH, hulls, hull, counts[hull], m, dm, D, top)
        seen = (y - top) / (D - d) - 2.0 * q * D
        B[SLOPE_T + a], B[SLOPE_R + a] = S[SH], seen
        B[DLT + a], B[DLR + a] = S[HORIZON] * step, D - d
        B[POINT_T + a], B[POINT_R + a] = S[HORIZON], int(d / step + 0.5)
        coupled = coupling(dct, B[DLT + a], hts, omega) + coupling(dcr, B[DLR + a], hrs, omega)
    B[SIGHT + a] = B[SEEN + a] = 1.0 if los else 0.0
    B[COUPLED + a] = coupled
    B[WHOLE + a] = B[ROUGH + a] = 0.0

    nu_b, over_tb, over_rb = np.inf, 1.0, 1.0
    if not bare:
        dt, top_t = 0.0, -np.inf
        if own_cover > 0.0:
            dt, top_t = obstacle(Y, m, D, ground, own_cover, clear, M)
        over_t = over_r = 1.0
        nu = obstruction_covered(
            Y, Y50, hulls, HULL_50, counts[HULL_50], blocks, S[S50], mc, m, D, hts, hrs, q, clear, dt, top_t, M
        )
        if M.rare:
            nu_b = obstruction_covered(
                Y, YB, hulls, HULL_B, counts[HULL_B], blocks, S[SB], mc, m, D, hts, hrs, M.qb, clear, dt, top_t, M
            )
    else:
        if los:
            nu, over_t, over_r = obstruction(
                Y, Y50, hulls, HULL_50, counts[HULL_50], blocks, S[S50], m, D, hts, hrs, q, M
            )
        else:
            nu, over_t, over_r = np.inf, S[S50] + q * D, seen + q * D
        if M.rare:
            nu_b, over_tb, over_rb = obstruction(
                Y, YB, hulls, HULL_B, counts[HULL_B], blocks, S[SB], m, D, hts, hrs, M.qb, M
            )
    B[NU_50 + a], B[TIM_50 + a], B[RIM_50 + a] = nu, over_t, over_r
    B[NU_B + a], B[TIM_B + a], B[RIM_B + a] = nu_b, over_tb, over_rb


@entry
def put(
    loss: Any, sight: Any, elevation: Any, k: int, j: int, second: bool, part: float, loss_db: float, seen: bool,
    up_deg: float,
) -> None:  # fmt: skip
    """Write one receiver's result; of two radials the second adds its part, the nearer one says what is seen."""
    if second:
        loss[k, j] += part * loss_db
        if k == 0:
            elevation[j] += part * up_deg
            if part >= 0.5:
                sight[j] = seen
    else:
        loss[k, j] = (1.0 - part) * loss_db
        if k == 0:
            sight[j], elevation[j] = seen, (1.0 - part) * up_deg


@entry
def finish(
    Y: Any, blocks: Any, bare: bool, percentages: Floats, M: Model, B: Any, whose: Any, own: Any, mine: Any, lanes: int,
    loss: Any, sight: Any, elevation: Any,
) -> None:  # fmt: skip
    """The whole of P.1812 at all percentages of time for a batch of receivers, and their results to their places."""
    n = (lanes + WHOLE_VECTORS - 1) // WHOLE_VECTORS * WHOLE_VECTORS
    hts, row = Y[H, 0] + M.htg, Y50 if bare else YH
    horizons_of(B, n, M)
    spheres(B, lanes, M)
    before_duct(B, n, M)
    for a in range(n):
        B[LN_BETA + a] = B[GAMMA + a] = 0.0
    for k in range(percentages.shape[1]):
        diffracted(B, n, percentages[0, k], percentages[1, k], percentages[2, k], percentages[3, k])
        if roughnesses(Y, H, row, blocks, B, lanes, hts, M):
            before_duct(B, n, M)
            duct_times(B, n, hts, M)
        combined(B, n, percentages[1, k], percentages[4, k])
        for a in range(lanes):
            at, up_deg = whose[a], B[THETA_T + a] * (1e-3 * 180.0 / math.pi)
            D = B[DISTANCE + a]
            if D < LEAST_DISTANCE_KM:
                share = (D - FREE_SPACE_KM) / (LEAST_DISTANCE_KM - FREE_SPACE_KM)
                ray = math.degrees(math.atan2(B[RISE + a] - M.q50 * D * D, 1000.0 * D))
                up_deg = ray + share * (up_deg - ray)
            second = mine[at] < 0
            j = -1 - mine[at] if second else mine[at]
            put(loss, sight, elevation, k, j, second, own[PART, at], B[LOSS + a], B[SIGHT + a] > 0.0, up_deg)


Room = tuple[Floats, Floats, Floats, Floats, Ints, Floats, Ints, Floats, Ints, Floats, Ints]


def room(points: int, receivers: int) -> Room:
    """Y, S, Z, hulls, corners, blocks, counts, own, mine, B and whose, for radials of so many points and receivers."""
    return (
        np.empty((KINDS, points)), np.empty(8), np.empty((points, 8)), np.empty((4, points, 2)),
        np.empty((2, points + 2), np.int64), np.empty((KINDS, points // BLOCK + 1)), np.zeros(6, np.int64),
        np.empty((7, receivers)), np.empty(receivers, np.int64), np.ones(ROWS * LANES), np.empty(LANES, np.int64),
    )  # fmt: skip


@entry
def walk(
    h: Floats, cover: Floats, zone: NDArray[np.int8], first_radial: int, between: bool, tx_ground: float, starts: Ints,
    order: Any, distance: Floats, azimuth: Floats, own_ground: Floats, own_zone: Any, own_cover: Any, clear: Any,
    farthest: float, steps: Floats, percentages: Floats, M: Model, loss: Floats, sight: Any, elevation: Floats,
    Y: Floats, S: Floats, Z: Floats, hulls: Floats, corners: Ints, blocks: Floats, counts: Ints, own: Floats,
    mine: Ints, B: Floats, whose: Ints,
) -> None:  # fmt: skip
    """P.1812 at every receiver of some radials; Y to whose are room to work in.

    `starts[r]` to `starts[r + 1]` are the places in `order` of radial r's receivers, nearest first. Row k of h, cover
    and zone is radial `first_radial + k`. Where receivers lie `between` radials, r's are those from it to the next, the
    last row is the radial after the others, and each receiver gets what lies straight between its two radials.
    Cover counts up to `clear` km (one value for all, or one a receiver) before a receiver, `farthest` at most; there
    stands its `own_cover` [m], where that is not empty.
    """
    radials = len(starts) - 1
    rows = h.shape[0]
    for k in range(rows):
        one, other = first_radial + k, -1
        if between:
            other = one - 1 if k > 0 else -1
            if k == rows - 1:
                one = -1
        count = merged(starts, order, distance, M.step, one, other, mine)
        if count == 0:
            continue
        for at in range(count):
            j = mine[at] if mine[at] >= 0 else -1 - mine[at]
            own[OWN_KM, at], own[OWN_AZIMUTH, at] = distance[j], azimuth[j]
            own[OWN_GROUND, at], own[OWN_ZONE, at] = own_ground[j], own_zone[j]
            own[OWN_COVER, at] = own_cover[j] if own_cover.size > 0 else 0.0
            own[CLEAR, at] = clear[j] if clear.size > 1 else clear[0]
            turns = azimuth[j] * (radials / (2.0 * math.pi))
            own[PART, at] = turns - int(turns) if between else 0.0
        n = last_point(own[OWN_KM, count - 1], M.step) + 1
        bare, inland = True, True
        Y[H, 0] = Y[G, 0] = Y[Y50, 0] = Y[YB, 0] = Y[YH, 0] = tx_ground
        void = False
        for i in range(1, n):
            Y[H, i] = h[k, i]
            void |= h[k, i] != h[k, i]
        if void:
            for i in range(1, n):
                if Y[H, i] != Y[H, i]:
                    n = i
                    break
        if cover.size > 0:
            for i in range(1, n):
                Y[G, i] = Y[H, i] + cover[k, i]
                bare &= cover[k, i] == 0.0
            for at in range(count):
                bare &= own[OWN_COVER, at] == 0.0
        if zone.size > 0:
            for i in range(n):
                inland &= zone[k, i] == 0
        apart = n > FAR_POINTS * count
        prepare(Y, blocks, corners, n, bare, apart, steps)
        S[S50] = S[SB] = S[SH] = S[SR] = -np.inf
        S[SUM] = S[MOMENT] = S[HORIZON] = 0.0
        counts[:] = 0
        pushed, pushed_cover, zoned, lanes = 0, 0, False, 0
        for at in range(count):
            second = mine[at] < 0
            j, D, zr = -1 - mine[at] if second else mine[at], own[OWN_KM, at], own[OWN_ZONE, at]
            m, rise = last_point(D, M.step), own[OWN_GROUND, at] + M.hrg - Y[H, 0] - M.htg
            short = D < FREE_SPACE_KM or m < LEAST_INNER_POINTS
            if (m >= n and not short) or not (rise < np.inf):
                # Behind a void, and where the ground itself is not known, there is no level.
                for p in range(loss.shape[0]):
                    put(loss, sight, elevation, p, j, second, own[PART, at], np.nan, False, np.nan)
                continue
            if short:
                free = M.L0 + 0.5 * DB * math.log(max(D * D + 1e-6 * rise * rise, 1e-6))
                up_deg = math.degrees(math.atan2(rise - M.q50 * D * D, 1000.0 * D))
                for p in range(loss.shape[0]):
                    put(loss, sight, elevation, p, j, second, own[PART, at], free, True, up_deg)
                continue
            if not (zoned or (inland and zr == 0.0)):
                prepare_zones(Z, zone, k, n, M.step)
                zoned = True
            mc = m
            if pushed < m:
                if apart and bare:
                    far(Y, S, hulls, blocks, corners, counts, pushed + 1, m, M, steps)
                elif apart:
                    far_ground(Y, S, hulls, blocks, corners, counts, pushed + 1, m, M, steps)
                elif bare:
                    advance(Y, S, hulls, corners, counts, pushed + 1, m, M, steps)
                else:
                    advance_ground(Y, S, hulls, corners, counts, pushed + 1, m, M, steps)
                pushed = m
            if not bare:
                mc = min(m, max(int((D - farthest) / M.step), 0))
                if pushed_cover < mc:
                    if apart:
                        far_cover(Y, S, hulls, blocks, corners, counts, pushed_cover + 1, mc, M, steps)
                    else:
                        advance_cover(Y, S, hulls, corners, counts, pushed_cover + 1, mc, M, steps)
                    pushed_cover = mc
            lay(
                Y, S, Z, hulls, blocks, counts, m, mc, bare, inland, D, own[OWN_AZIMUTH, at], own[OWN_GROUND, at], zr,
                own[OWN_COVER, at], own[CLEAR, at], M, B, lanes,
            )  # fmt: skip
            whose[lanes] = at
            lanes += 1
            if lanes == LANES:
                finish(Y, blocks, bare, percentages, M, B, whose, own, mine, lanes, loss, sight, elevation)
                lanes = 0
        if lanes > 0:
            finish(Y, blocks, bare, percentages, M, B, whose, own, mine, lanes, loss, sight, elevation)
