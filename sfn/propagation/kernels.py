"""P.1812 at every receiver of some radials, while each radial is walked outwards. numba.

With y = g - q d^2, heights over the tangent at the transmitter, what a receiver at D needs from the m points before it
no longer depends on D: the steepest slope from the transmitter is a running maximum, the steepest from the receiver is
the tangent to the upper convex hull of (d, y), kept on a stack. Where the optimum need not lie on the hull (least
clearance in line of sight, roughness) blocks of points with their greatest height let most be passed over.

| symbol | argument | meaning |
|---|---|---|
| h, cover, zone | (k, n) | ground and cover [m], zone index of k radials, points 0 .. n-1 every `step` km |
| m | | last point of the radial that a receiver's path uses: half a step or more before it |
| Y | (5, n) | heights by kind, rows `H` to `YH` |
| P | (n, 15) | what the points 1 .. i, or the zones before point i, amount to: columns `S50` to `ZONE` |
| stacks | (5, n) | upper hulls of the rows `Y50`, `YB`, `YH`, `H` of Y, and room to work in |
| blocks | (5, n / `BLOCK` + 1) | greatest height of each row of Y in each block of points |
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.hulls import BLOCK, FLOOR, decisive, highest, push, roughness, tangent
from sfn.propagation.sweep_formulas import (
    DB,
    LOG10,
    Model,
    bullington,
    bullington_point,
    centre_latitude,
    coupling,
    duct_time,
    entry,
    inverse_normal,
    least_time_term,
    log_beta0,
    shielding,
    smooth_nu,
    sphere,
    step_down,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEAST_DISTANCE_KM = 0.25
LEAST_INNER_POINTS = 3
NO_COAST_KM = 500.0
# Scatter this much weaker than the rest adds less than round-off. [dB]
FAR_APART_DB = 60.0

# rows of Y: ground, with cover, and both over the tangent: cover with either radius, ground with the median one
H, G, Y50, YB, YH = range(5)
KINDS = 5
# columns of P: steepest slopes from the transmitter to Y50, YB, YH, H; sums; horizon; zones before the point's cell
S50, SB, SH, SR, V1, V2, HORIZON, SEA, LAND, LAND_FROM, INLAND, INLAND_FROM, LAST_SEA, FIRST_SEA, ZONE = range(15)
PREFIXES = 15
# columns of a receiver, and of its results
DISTANCE, COS_AZIMUTH, OWN_GROUND, OWN_ZONE = range(4)
ELEVATION, SIGHT, LOSSES = range(3)
# rows of stacks
HULL_50, HULL_B, HULL_H, HULL_RAW = range(4)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def diffraction(
    Y: Any, row: int, stacks: Any, hull: int, count: int, blocks: Any, slope: float, m: int, D: float, hts: float,
    hrs: float, h1: float, h2: float, q: float, root: float, omega: float, M: Model,
) -> float:  # fmt: skip
    """Delta-Bullington loss Ld for one Earth radius, eq. (13) to (39)."""
    Stim = slope + q * D
    if Stim < (hrs - hts) / D:
        nu, _ = decisive(Y, G, row, blocks, m, D, hts, hrs, q, FLOOR, M.step, M.lam)
    else:
        top = hrs - q * D * D
        t = tangent(Y, row, stacks, hull, count, M.step, D, top)
        Srim = (Y[row, t] - top) / (D - t * M.step) - q * D
        nu = bullington_point(Stim, Srim, hts, hrs, D, M.lam)
    Lbulla = bullington(nu, D)
    Ldsph = sphere(D, h1, h2, q, root, omega, M)
    if Ldsph <= 0.0:
        return Lbulla
    return Lbulla + max(Ldsph - bullington(smooth_nu(D, m, h1, h2, q, M), D), 0.0)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def zone_lengths(P: Any, m: int, D: float, zr: float, step: float) -> tuple[float, float, float, float, float]:
    """dtm, dlm, omega, dct and dcr of the path over points 0 .. m to a receiver in zone zr."""
    turn = 0.5 * (m * step + D)
    sea, land, inland, last_sea = P[m, SEA], P[m, LAND], P[m, INLAND], P[m, LAST_SEA]
    land_from, inland_from, dct = P[m, LAND_FROM], P[m, INLAND_FROM], P[m, FIRST_SEA]
    for begin, end, zone in ((max((m - 0.5) * step, 0.0), turn, P[m, ZONE]), (turn, D, zr)):
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def prepare(Y: Any, P: Any, blocks: Any, n: int, M: Model) -> None:
    """Everything about the radial's points that needs no hull: running maxima, sums, block maxima."""
    step, hts = M.step, Y[H, 0] + M.htg
    s50 = sb = sh = sr = -np.inf
    horizon, v1, v2 = 0, 0.0, 0.0
    P[0, V1] = P[0, V2] = 0.0
    for block in range((n - 1) // BLOCK + 1):
        for row in range(KINDS):
            blocks[row, block] = -np.inf
    for i in range(1, n):
        d, block = i * step, i // BLOCK
        h, g, low, before = Y[H, i], Y[G, i], Y[H, i - 1], (i - 1) * step
        y50, yb, yh = g - M.q50 * d * d, g - M.qb * d * d, h - M.q50 * d * d
        Y[Y50, i], Y[YB, i], Y[YH, i] = y50, yb, yh
        v1 += step * (h + low)
        v2 += step * (h * (2.0 * d + before) + low * (d + 2.0 * before))
        per_km = 1.0 / d
        s50, sb, sr = max(s50, (y50 - hts) * per_km), max(sb, (yb - hts) * per_km), max(sr, (h - hts) * per_km)
        seen = (yh - hts) * per_km
        if seen > sh:
            sh, horizon = seen, i
        P[i, S50], P[i, SB], P[i, SH], P[i, SR] = s50, sb, sh, sr
        P[i, V1], P[i, V2], P[i, HORIZON] = v1, v2, horizon
        blocks[H, block] = max(blocks[H, block], h)
        blocks[Y50, block] = max(blocks[Y50, block], y50)
        blocks[YB, block] = max(blocks[YB, block], yb)
        blocks[YH, block] = max(blocks[YH, block], yh)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def prepare_zones(P: Any, n: int, step: float) -> None:
    """Lengths of sea, land and inland before each point's cell; a cell reaches half-way to its neighbours."""
    sea = land = inland = land_from = inland_from = 0.0
    last_sea, first_sea = -1.0, NO_COAST_KM
    for i in range(n):
        P[i, SEA], P[i, LAND], P[i, LAND_FROM] = sea, land, land_from
        P[i, INLAND], P[i, INLAND_FROM], P[i, LAST_SEA], P[i, FIRST_SEA] = inland, inland_from, last_sea, first_sea
        begin, end = max((i - 0.5) * step, 0.0), (i + 0.5) * step
        if P[i, ZONE] == 2.0:
            sea += end - begin
            first_sea = min(first_sea, begin)
            last_sea = land_from = inland_from = end
        else:
            land = max(land, end - land_from)
            if P[i, ZONE] == 0.0:
                inland = max(inland, end - inland_from)
            else:
                inland_from = end


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def receiver(
    Y: Any, P: Any, stacks: Any, blocks: Any, counts: Ints, m: int, bare: bool, inland: bool, receivers: Floats, j: int,
    percentages: Floats, results: Floats, M: Model,
) -> None:  # fmt: skip
    """The whole of P.1812 for one receiver, at all percentages of time; writes row j of the results."""
    D, cos_azimuth = receivers[j, DISTANCE], receivers[j, COS_AZIMUTH]
    ground, zr = receivers[j, OWN_GROUND], receivers[j, OWN_ZONE]
    step, hts, hrs = M.step, Y[H, 0] + M.htg, ground + M.hrg
    rise = hrs - hts
    if not (rise < np.inf):
        return
    lnD2 = math.log(max(D * D + 1e-6 * rise * rise, 1e-6))
    Lbfs = M.L0 + 0.5 * DB * lnD2
    if D < LEAST_DISTANCE_KM or m < LEAST_INNER_POINTS:
        for k in range(percentages.shape[1]):
            results[j, LOSSES + k] = Lbfs
        results[j, SIGHT] = 1.0
        results[j, ELEVATION] = math.degrees(math.atan2(rise - M.q50 * D * D, 1000.0 * D))
        return
    dtm, dlm, omega, dct, dcr = D, D, 0.0, NO_COAST_KM, NO_COAST_KM
    if not (inland and zr == 0.0):
        dtm, dlm, omega, dct, dcr = zone_lengths(P, m, D, zr, step)
    lnD, per_km, q = math.log(D), 1.0 / D, M.q50
    straight = rise * per_km

    # smooth surface, eq. (85) to (91); horizons of the bare terrain, (76) to (84)
    dm, hm0 = m * step, Y[H, m]
    v1 = P[m, V1] + (D - dm) * (ground + hm0)
    v2 = P[m, V2] + (D - dm) * (ground * (2.0 * D + dm) + hm0 * (D + 2.0 * dm))
    hst, hsr = (2.0 * v1 * D - v2) * per_km * per_km, (v2 - v1 * D) * per_km * per_km
    hstd, hsrd = hst, hsr
    alpha_t = P[m, SR] - straight
    if alpha_t > 0.0:
        t = tangent(Y, H, stacks, HULL_RAW, counts[HULL_RAW], step, D, hrs)
        alpha_r = (Y[H, t] - hrs) / (D - t * step) + straight
        t = highest(Y, H, stacks, HULL_RAW, counts[HULL_RAW], step, straight)
        share = (Y[H, t] - hts - straight * t * step) / (alpha_t + alpha_r)
        hstd -= share * alpha_t
        hsrd -= share * alpha_r
    h1, h2 = hts - min(hstd, Y[H, 0]), hrs - min(hsrd, ground)
    los = P[m, SH] <= straight - q * D
    lt = lr = 0
    if los:
        theta_t = 1000.0 * math.atan(1e-3 * (straight - q * D))
        theta_r = 1000.0 * math.atan(1e-3 * (-straight - q * D))
        dlt = dlr = 0.5 * D
    else:
        top, hull = hrs - q * D * D, HULL_50 if bare else HULL_H
        lt = int(P[m, HORIZON])
        lr = tangent(Y, YH, stacks, hull, counts[hull], step, D, top)
        theta_t = 1000.0 * math.atan(1e-3 * P[m, SH])
        theta_r = 1000.0 * math.atan(1e-3 * ((Y[YH, lr] - top) / (D - lr * step) - 2.0 * q * D))
        dlt, dlr = lt * step, D - lr * step
    theta = 1000.0 * D / M.ae + theta_t + theta_r
    results[j, SIGHT] = 1.0 if los else 0.0
    results[j, ELEVATION] = theta_t * 1e-3 * 180.0 / math.pi

    Ld50 = diffraction(
        Y, Y50, stacks, HULL_50, counts[HULL_50], blocks, P[m, S50], m, D, hts, hrs, h1, h2, q, M.ae_root, omega, M
    )
    Ldb = Ld50
    if M.rare:
        Ldb = diffraction(
            Y, YB, stacks, HULL_B, counts[HULL_B], blocks, P[m, SB], m, D, hts, hrs, h1, h2, M.qb, M.ab_root, omega, M
        )
    tau = 1.0 - math.exp(-4.12e-4 * math.exp(2.41 * (lnD if dlm == D else math.log(dlm)))) if dlm > 0.0 else 0.0
    ln_b0 = log_beta0(centre_latitude(D, cos_azimuth, M), dtm, tau)
    beta0 = math.exp(ln_b0)
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
        A += DB * math.log(dlt + dlr) + shielding(theta_t, dlt, M) + shielding(theta_r, dlr, M)
        A += M.gamma_d * (1000.0 * D / M.ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr))
        A += coupling(dct, dlt, hts, omega) + coupling(dcr, dlr, hrs, omega)
    whole = False
    ln_beta = Gamma = 0.0
    for k in range(percentages.shape[1]):
        p, ln_p = percentages[0, k], percentages[1, k]
        Lb0p = Lbfs + fading * percentages[2, k]
        Fi = 1.0
        if p > beta0 and (p < 50.0 or Fj > 0.0):
            Fi = percentages[3, k] / inverse_normal(0.01 * beta0)
        Ldp = Ld50 if p == 50.0 else Ld50 + Fi * (Ldb - Ld50)
        Lbd = Lb0p + Ldp
        Lbda = Lbd
        if max(A + least_time_term(ln_p - ln_b0, ln_b0, D), Lb0p) <= Lbd:
            if not whole:
                whole = True
                if los:
                    _, lt = decisive(Y, H, YH, blocks, m, D, hts, hrs, q, -np.inf, step, M.lam)
                    lr, dlt = lt, lt * step
                    dlr = D - dlt
                    A = M.A0 + DB * lnD + shielding(theta_t, dlt, M) + shielding(theta_r, dlr, M)
                    A += M.gamma_d * (1000.0 * D / M.ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr))
                    A += coupling(dct, dlt, hts, omega) + coupling(dcr, dlr, hrs, omega)
                s1, s2 = min(hst, Y[H, 0]), min(hsr, ground)
                rough = roughness(Y, H, blocks, lt, lr, s1, (s2 - s1) * per_km, step)
                ln_beta, Gamma = duct_time(D, lnD, dlt, dlr, tau, hts - s1, hrs - s2, rough, ln_b0, M)
            x = ln_p - ln_beta
            Lba = A - 12.0 + (1.2 + 3.7e-3 * D) * x / LOG10 + 12.0 * math.exp(Gamma * x)
            greater = max(Lba, Lb0p)
            if greater <= Lbd:
                Lminbap = greater + 2.5 * math.log1p(math.exp((min(Lba, Lb0p) - greater) / 2.5))
                if Lminbap <= Lbd:
                    Lbda = Lminbap + (Lbd - Lminbap) * step_down(0.075 * (D - 20.0))
        Lbam = Lbda
        if Fj > 0.0:
            Lminb0p = Lb0p + (1.0 - omega) * Ldp
            if p >= beta0:
                Lbd50 = Lbfs + Ld50
                Lb0b = Lbfs + fading * (ln_b0 - math.log(50.0)) / LOG10
                Lminb0p = Lbd50 + (Lb0b + (1.0 - omega) * Ldp - Lbd50) * Fi
            Lbam = Lbda + (Lminb0p - Lbda) * Fj
        apart = Lbs0 - percentages[4, k] - Lbam
        if apart < FAR_APART_DB:
            Lbam -= 0.25 * DB * math.log1p(math.exp(-0.2 * LOG10 * apart))
        results[j, LOSSES + k] = max(Lb0p, Lbam)


def room(points: int) -> tuple[Floats, Floats, Ints, Floats, Ints]:
    """Y, P, stacks, blocks and counts for radials of so many points."""
    return (
        np.empty((KINDS, points)), np.empty((points, PREFIXES)), np.empty((5, points), np.int64),
        np.empty((KINDS, points // BLOCK + 1)), np.zeros(4, np.int64),
    )  # fmt: skip


@entry
def walk(
    h: Floats, cover: Floats, zone: NDArray[np.int8], first_radial: int, tx_ground: float, starts: Ints, order: Any,
    inner: Any, receivers: Floats, percentages: Floats, results: Floats, M: Model, Y: Floats, P: Floats, stacks: Ints,
    blocks: Floats, counts: Ints,
) -> None:  # fmt: skip
    """P.1812 at every receiver of some radials; Y, P, stacks, blocks and counts are room to work in.

    `starts[r]` to `starts[r + 1]` are the places in `order` of radial r's receivers, nearest first; `inner` is each
    receiver's m. Row k of h, cover and zone is radial `first_radial + k`. A receiver's row has columns `DISTANCE` to
    `OWN_ZONE`; its row of results `ELEVATION`, `SIGHT`, then one loss a percentage of time.
    """
    for k in range(h.shape[0]):
        begin, end = starts[first_radial + k], starts[first_radial + k + 1]
        if begin == end:
            continue
        n = inner[order[end - 1]] + 1
        bare, inland = True, True
        for i in range(n):
            height, top = (h[k, i], h[k, i] + cover[k, i]) if i > 0 else (tx_ground, tx_ground)
            if height != height:
                n = i
                break
            Y[H, i], Y[G, i], P[i, ZONE] = height, top, zone[k, i]
            bare &= top == height
            inland &= zone[k, i] == 0
        prepare(Y, P, blocks, n, M)
        counts[:] = 0
        pushed, zoned = 0, False
        for place in range(begin, end):
            j = order[place]
            m = inner[j]
            if m >= n:
                if m >= LEAST_INNER_POINTS and receivers[j, DISTANCE] >= LEAST_DISTANCE_KM:
                    continue  # behind a void: no level
                m = 0
            if not (zoned or (inland and receivers[j, OWN_ZONE] == 0.0)):
                prepare_zones(P, n, M.step)
                zoned = True
            if pushed < m:
                counts[HULL_50] = push(Y, Y50, stacks, HULL_50, counts[HULL_50], pushed + 1, m)
                counts[HULL_B] = push(Y, YB, stacks, HULL_B, counts[HULL_B], pushed + 1, m)
                counts[HULL_RAW] = push(Y, H, stacks, HULL_RAW, counts[HULL_RAW], pushed + 1, m)
                if not bare:
                    counts[HULL_H] = push(Y, YH, stacks, HULL_H, counts[HULL_H], pushed + 1, m)
                pushed = m
            receiver(Y, P, stacks, blocks, counts, m, bare, inland, receivers, j, percentages, results, M)
