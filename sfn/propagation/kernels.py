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
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.duct_formulas import (
    ALPHA,
    LEAST_TABLE_KM,
    LN_MU1,
    POWER,
    TAU,
    between,
    centre_latitude,
    coupling,
    duct_powers,
    duct_time,
    land_terms,
    least_time_term,
    log_beta0,
    shielding,
)
from sfn.propagation.far import FAR_POINTS, far, far_cover, far_ground
from sfn.propagation.hulls import BLOCK, FLOOR, decisive, highest, roughness
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
from sfn.propagation.sweep_formulas import (
    DB,
    LOG10,
    Model,
    bullington_point,
    delta_bullington,
    entry,
    inverse_normal,
    last_point,
    log_sum,
    mrad,
    step_down,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEAST_INNER_POINTS = 3
# Scatter this much weaker than the rest adds less than round-off. [dB]
FAR_APART_DB = 60.0
LN_50, LN_100 = math.log(50.0), math.log(100.0)

# columns of receivers
DISTANCE, COS_AZIMUTH, OWN_GROUND, OWN_ZONE, OWN_COVER, CLEAR, PART = range(7)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def obstruction(
    Y: Any, row: int, hulls: Any, hull: int, count: int, blocks: Any, slope: float, m: int, D: float, hts: float,
    hrs: float, q: float, M: Model,
) -> float:  # fmt: skip
    """Nu of a bare profile for one Earth radius, eq. (13) to (20)."""
    Stim = slope + q * D
    if Stim < (hrs - hts) / D:
        nu, _ = decisive(Y, H, row, blocks, m, D, hts, hrs, q, FLOOR, M.step, M.lam)
    else:
        top = hrs - q * D * D
        d, y = steepest(Y, row, hulls, hull, count, m, m * M.step, D, top)
        nu = bullington_point(Stim, (y - top) / (D - d) - q * D, hts, hrs, D, M.lam)
    return nu


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def receiver(
    Y: Any, S: Any, Z: Any, hulls: Any, blocks: Any, counts: Any, m: int, mc: int, bare: bool, inland: bool, D: float,
    cos_azimuth: float, ground: float, zr: float, own_cover: float, clear: float, percentages: Floats, table: Floats,
    M: Model, j: int, loss: Any, sight: Any, elevation: Any,
) -> None:  # fmt: skip
    """The whole of P.1812 for one receiver, at all percentages of time; writes its results at place j."""
    step, hts, hrs = M.step, Y[H, 0] + M.htg, ground + M.hrg
    rise = hrs - hts
    if not (rise < np.inf):
        return
    if D < FREE_SPACE_KM or m < LEAST_INNER_POINTS:
        for k in range(percentages.shape[1]):
            loss[k, j] = M.L0 + 0.5 * DB * math.log(max(D * D + 1e-6 * rise * rise, 1e-6))
        sight[j] = True
        elevation[j] = math.degrees(math.atan2(rise - M.q50 * D * D, 1000.0 * D))
        return
    omega, dct, dcr = 0.0, NO_COAST_KM, NO_COAST_KM
    tabled = inland and zr == 0.0 and D >= LEAST_TABLE_KM
    if tabled:
        tau, ln_mu1 = between(table, TAU, D), between(table, LN_MU1, D)
    else:
        dtm = dlm = D
        if not (inland and zr == 0.0):
            dtm, dlm, omega, dct, dcr = zone_lengths(Z, m, D, zr, step)
        tau, ln_mu1 = land_terms(dtm, dlm)
    lnD, per_km, q = math.log(D), 1.0 / D, M.q50
    straight = rise * per_km
    Lbfs = M.L0 + DB * (lnD + 0.5 * log_sum(1e-6 * straight * straight))

    # smooth surface, eq. (85) to (91); horizons of the bare terrain, (76) to (84)
    dm, hm0 = m * step, Y[H, m]
    v1 = step * (Y[H, 0] + 2.0 * S[SUM] - hm0) + (D - dm) * (ground + hm0)
    v2 = step * step * (Y[H, 0] + 6.0 * S[MOMENT] - (3 * m + 1) * hm0)
    v2 += (D - dm) * (ground * (2.0 * D + dm) + hm0 * (D + 2.0 * dm))
    hst, hsr = (2.0 * v1 * D - v2) * per_km * per_km, (v2 - v1 * D) * per_km * per_km
    hstd, hsrd = hst, hsr
    alpha_t = S[SR] - straight
    if alpha_t > 0.0:
        d, y = steepest(Y, H, hulls, HULL_RAW, counts[HULL_RAW], m, dm, D, hrs)
        alpha_r = (y - hrs) / (D - d) + straight
        t = highest(hulls, HULL_RAW, counts[HULL_RAW], straight)
        share = max(hulls[HULL_RAW, t, 1] - straight * hulls[HULL_RAW, t, 0], hm0 - straight * dm) - hts
        share /= alpha_t + alpha_r
        hstd -= share * alpha_t
        hsrd -= share * alpha_r
    h1, h2 = hts - min(hstd, Y[H, 0]), hrs - min(hsrd, ground)
    los = S[SH] <= straight - q * D
    lt = lr = 0
    seen = 0.0
    if los:
        theta_t, theta_r = mrad(straight - q * D), mrad(-straight - q * D)
        dlt = dlr = 0.5 * D
    else:
        top, hull = hrs - q * D * D, HULL_50 if bare else HULL_H
        lt = int(S[HORIZON])
        d, y = steepest(Y, Y50 if bare else YH, hulls, hull, counts[hull], m, dm, D, top)
        lr = int(d / step + 0.5)
        seen = (y - top) / (D - d) - 2.0 * q * D
        theta_t, theta_r = mrad(S[SH]), mrad(seen)
        dlt, dlr = lt * step, D - d
    theta = 1000.0 * D / M.ae + theta_t + theta_r
    sight[j] = los
    elevation[j] = theta_t * 1e-3 * 180.0 / math.pi
    share = 1.0
    if D < LEAST_DISTANCE_KM:
        share = (D - FREE_SPACE_KM) / (LEAST_DISTANCE_KM - FREE_SPACE_KM)
        ray = math.degrees(math.atan2(rise - q * D * D, 1000.0 * D))
        elevation[j] = ray + share * (elevation[j] - ray)

    dt, top_t = 0.0, -np.inf
    if own_cover > 0.0:
        dt, top_t = obstacle(Y, m, D, ground, own_cover, clear, M)
    if not bare:
        nu = obstruction_covered(
            Y, Y50, hulls, HULL_50, counts[HULL_50], blocks, S[S50], mc, m, D, hts, hrs, q, clear, dt, top_t, M
        )
    elif not los:
        nu = bullington_point(S[S50] + q * D, seen + q * D, hts, hrs, D, M.lam)
    else:
        nu = obstruction(Y, Y50, hulls, HULL_50, counts[HULL_50], blocks, S[S50], m, D, hts, hrs, q, M)
    Ld50 = delta_bullington(nu, m, D, h1, h2, q, M.ae_root, omega, M)
    Ldb = Ld50
    if M.rare:
        if bare:
            nu = obstruction(Y, YB, hulls, HULL_B, counts[HULL_B], blocks, S[SB], m, D, hts, hrs, M.qb, M)
        else:
            nu = obstruction_covered(
                Y, YB, hulls, HULL_B, counts[HULL_B], blocks, S[SB], mc, m, D, hts, hrs, M.qb, clear, dt, top_t, M
            )
        Ldb = delta_bullington(nu, m, D, h1, h2, M.qb, M.ab_root, omega, M)
    ln_b0 = log_beta0(centre_latitude(D, cos_azimuth, M), ln_mu1)
    fading = 2.6 * (1.0 - math.exp(-0.1 * (dlt + dlr)))
    Fj = step_down(8.0 * (theta - 0.3))
    Lbs0 = M.s0 + DB * lnD + 0.573 * theta

    # ducting: A is Lba less its dependence on time; where even its least value is above Lbd it changes nothing, (61)
    A = M.A0
    if los:
        A += DB * lnD + M.gamma_d * (1000.0 * D / M.ae + min(theta_t, 0.0) + min(theta_r, 0.0))
        if omega >= 0.75:
            A -= 12.0
    else:
        A += shielding(theta_t, dlt, theta_r, dlr, dlt + dlr, M)
        A += M.gamma_d * (1000.0 * D / M.ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr))
        A += coupling(dct, dlt, hts, omega) + coupling(dcr, dlr, hrs, omega)
    whole = False
    ln_beta = Gamma = 0.0
    for k in range(percentages.shape[1]):
        p, ln_p = percentages[0, k], percentages[1, k]
        Lb0p = Lbfs + fading * percentages[2, k]
        Fi = 1.0
        if ln_p > ln_b0 and (p < 50.0 or Fj > 0.0):
            Fi = percentages[3, k] / inverse_normal(ln_b0 - LN_100)
        Ldp = Ld50 if p == 50.0 else Ld50 + Fi * (Ldb - Ld50)
        Lbd = Lb0p + Ldp
        Lbda = Lbd
        if max(A + least_time_term(ln_p - ln_b0, ln_b0, D), Lb0p) <= Lbd:
            if not whole:
                whole = True
                if los:
                    _, lt = decisive(Y, H, Y50 if bare else YH, blocks, m, D, hts, hrs, q, -np.inf, step, M.lam)
                    lr, dlt = lt, lt * step
                    dlr = D - dlt
                    A = M.A0 + shielding(theta_t, dlt, theta_r, dlr, D, M)
                    A += M.gamma_d * (1000.0 * D / M.ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr))
                    A += coupling(dct, dlt, hts, omega) + coupling(dcr, dlr, hrs, omega)
                s1, s2 = min(hst, Y[H, 0]), min(hsr, ground)
                rough = roughness(Y, H, blocks, lt, lr, s1, (s2 - s1) * per_km, step)
                alpha, power = (between(table, ALPHA, D), between(table, POWER, D)) if tabled else duct_powers(D, tau)
                ln_beta, Gamma = duct_time(D, dlt, dlr, alpha, power, hts - s1, hrs - s2, rough, ln_b0, M)
            x = ln_p - ln_beta
            Lba = A - 12.0 + (1.2 + 3.7e-3 * D) * x / LOG10 + 12.0 * math.exp(Gamma * x)
            greater = max(Lba, Lb0p)
            if greater <= Lbd:
                Lminbap = greater + 2.5 * math.log(1.0 + math.exp((min(Lba, Lb0p) - greater) / 2.5))
                if Lminbap <= Lbd:
                    Lbda = Lminbap + (Lbd - Lminbap) * step_down(0.075 * (D - 20.0))
        Lbam = Lbda
        if Fj > 0.0:
            Lminb0p = Lb0p + (1.0 - omega) * Ldp
            if ln_p >= ln_b0:
                Lbd50 = Lbfs + Ld50
                Lb0b = Lbfs + fading * (ln_b0 - LN_50) / LOG10
                Lminb0p = Lbd50 + (Lb0b + (1.0 - omega) * Ldp - Lbd50) * Fi
            Lbam = Lbda + (Lminb0p - Lbda) * Fj
        apart = Lbs0 - percentages[4, k] - Lbam
        if apart < FAR_APART_DB:
            Lbam -= 0.25 * DB * math.log(1.0 + math.exp(-0.2 * LOG10 * apart))
        loss[k, j] = max(Lb0p, Lbam)
        if D < LEAST_DISTANCE_KM:
            loss[k, j] = Lbfs + share * (loss[k, j] - Lbfs)


Room = tuple[Floats, Floats, Floats, Floats, Ints, Floats, Ints, Floats, Ints, Floats]


def room(points: int, receivers: int, kinds: int) -> Room:
    """Y, S, Z, hulls, corners, blocks, counts, own, mine and before, for radials of so many points and receivers."""
    return (
        np.empty((KINDS, points)), np.empty(8), np.empty((points, 8)), np.empty((4, points, 2)),
        np.empty((2, points + 2), np.int64), np.empty((KINDS, points // BLOCK + 1)), np.zeros(6, np.int64),
        np.empty((7, receivers)), np.empty(receivers, np.int64), np.empty(kinds),
    )  # fmt: skip


@entry
def walk(
    h: Floats, cover: Floats, zone: NDArray[np.int8], first_radial: int, between: bool, tx_ground: float, starts: Ints,
    order: Any, distance: Floats, azimuth: Floats, own_ground: Floats, own_zone: Any, own_cover: Any, clear: Any,
    farthest: float, steps: Floats, percentages: Floats, table: Floats, M: Model, loss: Floats, sight: Any,
    elevation: Floats, Y: Floats, S: Floats, Z: Floats, hulls: Floats, corners: Ints, blocks: Floats, counts: Ints,
    own: Floats, mine: Ints, before: Floats,
) -> None:  # fmt: skip
    """P.1812 at every receiver of some radials; Y to before are room to work in.

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
            own[DISTANCE, at], own[COS_AZIMUTH, at] = distance[j], azimuth[j]
            own[OWN_GROUND, at], own[OWN_ZONE, at] = own_ground[j], own_zone[j]
            own[OWN_COVER, at] = own_cover[j] if own_cover.size > 0 else 0.0
            own[CLEAR, at] = clear[j] if clear.size > 1 else clear[0]
            turns = azimuth[j] * (radials / (2.0 * math.pi))
            own[PART, at] = turns - int(turns)
        for at in range(count):
            own[COS_AZIMUTH, at] = math.cos(own[COS_AZIMUTH, at])
        n = last_point(own[DISTANCE, count - 1], M.step) + 1
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
        pushed, pushed_cover, zoned = 0, 0, False
        for at in range(count):
            second = mine[at] < 0
            j, D, zr = -1 - mine[at] if second else mine[at], own[DISTANCE, at], own[OWN_ZONE, at]
            seen, up = False, np.nan
            if second:
                for p in range(loss.shape[0]):
                    before[p], loss[p, j] = loss[p, j], np.nan
                seen, up = sight[j], elevation[j]
                sight[j], elevation[j] = False, np.nan
            m = last_point(D, M.step)
            known = True
            if m >= n:
                # Behind a void there is no level.
                known = not (m >= LEAST_INNER_POINTS and D >= FREE_SPACE_KM)
                m = 0
            if known:
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
                receiver(
                    Y, S, Z, hulls, blocks, counts, m, mc, bare, inland, D, own[COS_AZIMUTH, at], own[OWN_GROUND, at],
                    zr, own[OWN_COVER, at], own[CLEAR, at], percentages, table, M, j, loss, sight, elevation,
                )  # fmt: skip
            if second:
                part = own[PART, at]
                for p in range(loss.shape[0]):
                    loss[p, j] = before[p] + part * (loss[p, j] - before[p])
                elevation[j] = up + part * (elevation[j] - up)
                if part < 0.5:
                    sight[j] = seen
