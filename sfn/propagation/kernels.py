"""Loops of the sweep: sampling radials, and P.1812 at every receiver while the radial is walked outwards. numba.

With y = g - q d^2, heights over the tangent at the transmitter, what a receiver at D needs from the m points before it
no longer depends on D: the steepest slope from the transmitter is a running maximum, the steepest from the receiver is
the tangent to the upper convex hull of (d, y), kept on a stack. Where the optimum need not lie on the hull (least
clearance in line of sight, roughness) blocks of points with their greatest height let most be passed over.

| symbol | argument | meaning |
|---|---|---|
| h, g, z | (k, n) | ground, ground with cover [m], zone index of k radials, points 0 .. n-1 every `step` km |
| m | | last point of the radial that a receiver's path uses: half a step or more before it |
"""

import math
from typing import Any, NamedTuple

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
    inverse_normal,
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


class Radial(NamedTuple):
    """One radial's points, prefix results (of points 1 .. i), hull stacks and block maxima; reused for the next."""

    h: Floats
    g: Floats
    z: NDArray[np.int8]
    y50: Floats  # g - q50 d^2
    yb: Floats  # g - qb d^2
    yh: Floats  # h - q50 d^2
    slopes: Floats  # (4, n): greatest (y50-hts)/d, (yb-hts)/d, (yh-hts)/d, (h-hts)/d
    horizon: Ints  # point of the greatest (yh-hts)/d
    sums: Floats  # (2, n): v1, v2 of the smooth surface
    cells: Floats  # (7, n), before cell i: sea, land, its start, inland, its start, end of last sea, begin of first
    stacks: Ints  # (4, n): hulls of y50, yb, yh, h
    blocks: Floats  # (4, n / BLOCK + 1): greatest y50, yb, yh, h


@njit(cache=True, nogil=True, error_model="numpy")
def diffraction(
    height: Floats, y: Floats, slope: float, stack: Any, count: int, blocks: Any, m: int, D: float, hts: float,
    hrs: float, h1: float, h2: float, q: float, root: float, omega: float, M: Model,
) -> float:  # fmt: skip
    """Delta-Bullington loss Ld for one Earth radius, eq. (13) to (39)."""
    Stim = slope + q * D
    if Stim < (hrs - hts) / D:
        nu, _ = decisive(height, y, blocks, m, D, hts, hrs, q, FLOOR, M)
    else:
        Y = hrs - q * D * D
        t = tangent(y, stack, count, M.step, D, Y)
        Srim = (y[t] - Y) / (D - t * M.step) - q * D
        nu = bullington_point(Stim, Srim, hts, hrs, D, M.lam)
    Lbulla = bullington(nu, D)
    Ldsph = sphere(D, h1, h2, q, root, omega, M)
    if Ldsph <= 0.0:
        return Lbulla
    return Lbulla + max(Ldsph - bullington(smooth_nu(D, m, h1, h2, q, M), D), 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def zone_lengths(R: Radial, m: int, D: float, zr: int, step: float) -> tuple[float, float, float, float, float]:
    """dtm, dlm, omega, dct and dcr of the path over points 0 .. m to a receiver in zone zr."""
    start = max((m - 0.5) * step, 0.0)
    turn = 0.5 * (m * step + D)
    sea, land, inland, last_sea = R.cells[0, m], R.cells[1, m], R.cells[3, m], R.cells[5, m]
    land_from, inland_from = R.cells[2, m], R.cells[4, m]
    dct = R.cells[6, m]
    for begin, end, zone in ((start, turn, int(R.z[m])), (turn, D, zr)):
        if zone == 2:
            sea += end - begin
            dct = min(dct, begin)
            last_sea = end
            land_from = inland_from = end
        else:
            land = max(land, end - land_from)
            if zone == 0:
                inland = max(inland, end - inland_from)
            else:
                inland_from = end
    dcr = D - last_sea if last_sea >= 0.0 else NO_COAST_KM
    return land, inland, sea / D, dct, dcr


@njit(cache=True, nogil=True, error_model="numpy")
def prepare(R: Radial, n: int, M: Model) -> None:
    """Everything about the radial's points that needs no hull: running maxima, sums, zones, block maxima."""
    step, hts = M.step, R.h[0] + M.htg
    s50, sb, sh, sr = -np.inf, -np.inf, -np.inf, -np.inf
    view = 0
    v1 = v2 = sea = land = inland = land_from = inland_from = 0.0
    last_sea, first_sea = -1.0, NO_COAST_KM
    R.sums[0, 0] = R.sums[1, 0] = 0.0
    for i in range(n):
        d = i * step
        y50, yb, yh = R.g[i] - M.q50 * d * d, R.g[i] - M.qb * d * d, R.h[i] - M.q50 * d * d
        R.y50[i], R.yb[i], R.yh[i] = y50, yb, yh
        block = i // BLOCK
        if i > 0:
            low, high, b = R.h[i - 1], R.h[i], d - step
            v1 += step * (high + low)
            v2 += step * (high * (2.0 * d + b) + low * (d + 2.0 * b))
            R.sums[0, i], R.sums[1, i] = v1, v2
            s50, sb, sr = max(s50, (y50 - hts) / d), max(sb, (yb - hts) / d), max(sr, (R.h[i] - hts) / d)
            if (yh - hts) / d > sh:
                sh, view = (yh - hts) / d, i
            R.slopes[0, i], R.slopes[1, i], R.slopes[2, i], R.slopes[3, i] = s50, sb, sh, sr
            R.horizon[i] = view
        if i == 1 or i % BLOCK == 0:
            for k in range(4):
                R.blocks[k, block] = -np.inf
        if i > 0:
            R.blocks[0, block] = max(R.blocks[0, block], y50)
            R.blocks[1, block] = max(R.blocks[1, block], yb)
            R.blocks[2, block] = max(R.blocks[2, block], yh)
            R.blocks[3, block] = max(R.blocks[3, block], R.h[i])
        R.cells[0, i], R.cells[1, i], R.cells[2, i] = sea, land, land_from
        R.cells[3, i], R.cells[4, i], R.cells[5, i], R.cells[6, i] = inland, inland_from, last_sea, first_sea
        begin, end = max(d - 0.5 * step, 0.0), d + 0.5 * step
        if R.z[i] == 2:
            sea += end - begin
            first_sea = min(first_sea, begin)
            last_sea = land_from = inland_from = end
        else:
            land = max(land, end - land_from)
            if R.z[i] == 0:
                inland = max(inland, end - inland_from)
            else:
                inland_from = end


@njit(cache=True, nogil=True, error_model="numpy")
def receiver(
    R: Radial, counts: Ints, m: int, D: float, ground: float, zr: int, cos_azimuth: float, covered: bool,
    j: int, percentages: Floats, loss: Floats, sight: NDArray[np.bool_], elevation: Floats, M: Model,
) -> None:  # fmt: skip
    """The whole of P.1812 for one receiver, at all percentages of time; writes element j of the results."""
    step, hts, hrs = M.step, R.h[0] + M.htg, ground + M.hrg
    rise = hrs - hts
    Lbfs = M.L0 + 0.5 * DB * math.log(max(D * D + 1e-6 * rise * rise, 1e-6))
    if not (Lbfs < np.inf):
        return
    if D < LEAST_DISTANCE_KM or m < LEAST_INNER_POINTS:
        for k in range(percentages.shape[1]):
            loss[k, j] = Lbfs
        sight[j] = True
        elevation[j] = math.degrees(math.atan2(rise - M.q50 * D * D, 1000.0 * D))
        return
    dtm, dlm, omega, dct, dcr = zone_lengths(R, m, D, zr, step)
    lnD = math.log(D)

    # smooth surface, eq. (85) to (91); horizons of the bare terrain, (76) to (84)
    dm, hm0, q = m * step, R.h[m], M.q50
    v1 = R.sums[0, m] + (D - dm) * (ground + hm0)
    v2 = R.sums[1, m] + (D - dm) * (ground * (2.0 * D + dm) + hm0 * (D + 2.0 * dm))
    hst, hsr = (2.0 * v1 * D - v2) / (D * D), (v2 - v1 * D) / (D * D)
    hstd, hsrd = hst, hsr
    alpha_t = R.slopes[3, m] - rise / D
    if alpha_t > 0.0:
        t = tangent(R.h, R.stacks[3], counts[3], step, D, hrs)
        alpha_r = (R.h[t] - hrs) / (D - t * step) + rise / D
        t = highest(R.h, R.stacks[3], counts[3], step, rise / D)
        hobs = R.h[t] - (hts * (D - t * step) + hrs * t * step) / D
        hstd -= hobs * alpha_t / (alpha_t + alpha_r)
        hsrd -= hobs * alpha_r / (alpha_t + alpha_r)
    h1, h2 = hts - min(hstd, R.h[0]), hrs - min(hsrd, ground)
    los = R.slopes[2, m] <= rise / D - q * D
    lt = lr = 0
    if los:
        theta_t = 1000.0 * math.atan(1e-3 * (rise / D - q * D))
        theta_r = 1000.0 * math.atan(1e-3 * (-rise / D - q * D))
        dlt = dlr = 0.5 * D
    else:
        Y = hrs - q * D * D
        lt = R.horizon[m]
        lr = tangent(R.yh, R.stacks[2] if covered else R.stacks[0], counts[2] if covered else counts[0], step, D, Y)
        theta_t = 1000.0 * math.atan(1e-3 * R.slopes[2, m])
        theta_r = 1000.0 * math.atan(1e-3 * ((R.yh[lr] - Y) / (D - lr * step) - 2.0 * q * D))
        dlt, dlr = lt * step, D - lr * step
    theta = 1000.0 * D / M.ae + theta_t + theta_r
    sight[j] = los
    elevation[j] = theta_t * 1e-3 * 180.0 / math.pi

    Ld50 = diffraction(
        R.g, R.y50, R.slopes[0, m], R.stacks[0], counts[0], R.blocks[0], m, D, hts, hrs, h1, h2, M.q50, M.ae_root,
        omega, M,
    )  # fmt: skip
    Ldb = Ld50
    if M.rare:
        Ldb = diffraction(
            R.g, R.yb, R.slopes[1, m], R.stacks[1], counts[1], R.blocks[1], m, D, hts, hrs, h1, h2, M.qb, M.ab_root,
            omega, M,
        )  # fmt: skip
    tau = 1.0 - math.exp(-4.12e-4 * math.exp(2.41 * math.log(dlm))) if dlm > 0.0 else 0.0
    ln_b0 = log_beta0(centre_latitude(D, cos_azimuth, M), dtm, tau)
    beta0 = math.exp(ln_b0)
    fading = 2.6 * (1.0 - math.exp(-0.1 * (dlt + dlr)))
    Fj = step_down(8.0 * (theta - 0.3))
    Lbs0 = M.s0 + DB * lnD + 0.573 * theta

    A = np.inf  # Lba less what depends on p, worked out when first needed
    ln_beta = Gamma = 0.0
    for k in range(percentages.shape[1]):
        p, ln_p = percentages[0, k], percentages[1, k]
        Lb0p = Lbfs + fading * percentages[2, k]
        Fi = percentages[3, k] / inverse_normal(0.01 * beta0) if p > beta0 else 1.0
        Ldp = Ld50 if p == 50.0 else Ld50 + Fi * (Ldb - Ld50)
        Lbd = Lb0p + Ldp
        Lbda = Lbd
        if A == np.inf:
            if los:
                _, lt = decisive(R.h, R.yh, R.blocks[2], m, D, hts, hrs, q, -np.inf, M)
                lr, dlt = lt, lt * step
                dlr = D - dlt
            s1, s2 = min(hst, R.h[0]), min(hsr, ground)
            rough = roughness(R.h, R.blocks[3], lt, lr, s1, (s2 - s1) / D, step)
            ln_beta, Gamma = duct_time(D, lnD, dlt, dlr, tau, hts - s1, hrs - s2, rough, ln_b0, M)
            theta1 = 1000.0 * D / M.ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr)
            A = (
                M.A0 + DB * math.log(dlt + dlr) + M.gamma_d * theta1 + shielding(theta_t, dlt, M.f, M.f_root)
                + shielding(theta_r, dlr, M.f, M.f_root) + coupling(dct, dlt, hts, omega)
                + coupling(dcr, dlr, hrs, omega)
            )  # fmt: skip
        x = ln_p - ln_beta
        Lba = A - 12.0 + (1.2 + 3.7e-3 * D) * x / LOG10 + 12.0 * math.exp(Gamma * x)
        greater, lesser = max(Lba, Lb0p), min(Lba, Lb0p)
        Lminbap = greater + 2.5 * math.log1p(math.exp((lesser - greater) / 2.5))
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
        if apart < 60.0:
            Lbam -= 0.25 * DB * math.log1p(math.exp(-0.2 * LOG10 * apart))
        loss[k, j] = max(Lb0p, Lbam)


@njit(cache=True, nogil=True, error_model="numpy")
def new_radial(n: int) -> Radial:
    """Room for a radial of up to n points."""
    blocks = n // BLOCK + 1
    return Radial(
        np.empty(n), np.empty(n), np.empty(n, np.int8), np.empty(n), np.empty(n), np.empty(n), np.empty((4, n)),
        np.empty(n, np.int64), np.empty((2, n)), np.empty((7, n)), np.empty((4, n), np.int64), np.empty((4, blocks)),
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
def walk(
    h: Floats, cover: Floats, zone: NDArray[np.int8], first_radial: int, tx_ground: float,
    starts: Ints, order: Ints, inner: Any, distance: Floats, cos_azimuth: Floats, ground: Floats, rx_zone: Any,
    percentages: Floats, loss: Floats, sight: NDArray[np.bool_], elevation: Floats, M: Model,
) -> None:  # fmt: skip
    """P.1812 at every receiver of some radials.

    `starts[r]` to `starts[r + 1]` are the places in `order` of radial r's receivers, nearest first; `inner` is each
    receiver's m. Row k of h, cover and zone is radial `first_radial + k`. Results are written at each receiver's place.
    """
    R = new_radial(h.shape[1])
    counts = np.zeros(4, np.int64)
    for k in range(h.shape[0]):
        begin, end = starts[first_radial + k], starts[first_radial + k + 1]
        if begin == end:
            continue
        n = inner[order[end - 1]] + 1
        void, covered = n, False
        for i in range(n):
            R.h[i], R.z[i] = h[k, i], zone[k, i]
            if i == 0:
                R.h[i] = tx_ground
            R.g[i] = R.h[i] + cover[k, i] if i > 0 else R.h[i]
            covered |= R.g[i] != R.h[i]
            if np.isnan(R.h[i]):
                void = i
                break
        prepare(R, void, M)
        counts[:] = 0
        pushed = 0
        for place in range(begin, end):
            j = order[place]
            m = inner[j]
            if m >= void:
                if distance[j] < LEAST_DISTANCE_KM or m < LEAST_INNER_POINTS:
                    m = 0
                else:
                    continue
            while pushed < m:
                pushed += 1
                counts[0] = push(R.y50, R.stacks[0], counts[0], pushed)
                counts[1] = push(R.yb, R.stacks[1], counts[1], pushed)
                counts[3] = push(R.h, R.stacks[3], counts[3], pushed)
                if covered:
                    counts[2] = push(R.yh, R.stacks[2], counts[2], pushed)
            receiver(
                R, counts, m, distance[j], ground[j], rx_zone[j], cos_azimuth[j], covered, j, percentages, loss,
                sight, elevation, M,
            )  # fmt: skip
