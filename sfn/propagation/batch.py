"""P.1812 for the receivers of a radial at once, when their paths' shapes are known: everything in closed form. numba.

Loops over receivers hold no call and no branch, so that they run on vectors; what few receivers need (first residues
over the sphere, the terrain's roughness before a duct) is worked out for these one by one in between. Written
again beside `p1812`, `bullington` and `anomalous`, on purpose: the two forms check each other. Symbols and equation
numbers are P.1812's.

A batch is one array: row `R` of it are the places R to R + `LANES`, a place a receiver. Numbers that are known when
the code is compiled stand between the rows, so that the compiler knows that they do not overlap.
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.quick_math import arctan, cosine, exp, inlined, ln, looped
from sfn.propagation.smooth_earth import FREE_SPACE_KM, LEAST_DISTANCE_KM
from sfn.propagation.sweep_formulas import DB, LOG10, Model, smooth_nu, sphere

Floats = NDArray[np.float64]
LANES = 128
# Scatter this much weaker than the rest adds less than round-off. [dB]
FAR_APART_DB = 60.0
LN_50, LN_100, LN_LEAST = math.log(50.0), math.log(100.0), math.log(1e-6)
RAD_PER_DEG = math.pi / 180.0
# Where a hyperbolic tangent is 1 in float64.
FLAT_TANH = 19.1

# What is laid into a batch: the path, its zones, the smooth surface (least-squares, and heights over that for
# diffraction), horizons (slopes in m per km, distances, numbers of points; 1 where in line of sight).
DISTANCE, AZIMUTH, RISE, RX_HEIGHT, INNER, OMEGA, DTM, DLM, DCT, DCR = (LANES * row for row in range(10))
SMOOTH_T, SMOOTH_R, OVER_T, OVER_R, SLOPE_T, SLOPE_R, DLT, DLR, POINT_T, POINT_R, SIGHT = (
    LANES * row for row in range(10, 21)
)
# Nu of the decisive point in line of sight, else infinite; else slopes over either radius to the Bullington point.
NU_50, TIM_50, RIM_50, NU_B, TIM_B, RIM_B = (LANES * row for row in range(21, 27))
# What is worked out of them; COUPLED in line of sight is no gain near a coast but the least there may be.
LN_D, LBFS, THETA_T, THETA_R, CLEAR_50, CLEAR_B, LD_50, LD_B, LN_B0, FADING, FJ, LBS0, A = (
    LANES * row for row in range(27, 40)
)
LB0P, FI, LDP, LBD, NEEDED, SEEN, COUPLED, WHOLE, ROUGH, TAU, LN_BETA, GAMMA, LOSS = (
    LANES * row for row in range(40, 53)
)
ROWS = 53


@inlined
def beyond_horizon(t: float, r: float, rise: float, D: float, M: Model) -> float:
    """Nu of the Bullington point, eq. (18) and (20)."""
    db = (rise + r * D) / (t + r)
    return (t - rise / D) * db * math.sqrt(0.002 * D / (M.lam * db * (D - db)))


@inlined
def loss_of(nu: float, D: float) -> float:
    """Bullington loss from the decisive nu, eq. (12) and (21)."""
    v = nu - 0.1
    Luc = 0.0
    if nu > -0.78:
        Luc = 6.9 + DB * ln(math.sqrt(v * v + 1.0) + v)
    return float(Luc + (1.0 - exp(-Luc / 6.0)) * (10.0 + 0.02 * D))


@inlined
def falling(x: float) -> float:
    """1 - 0.5 (1 + tanh x), eq. (57) and (58)."""
    value = 1.0 / (1.0 + exp(2.0 * x))
    return value if x <= FLAT_TANH else 0.0


@inlined
def latitude(D: float, cos_azimuth: float, M: Model) -> float:
    """Latitude of the path's centre without its sign, on a sphere of 6371 km. [deg]

    Series in the half path x and in the way north to the centre, both below 0.08: exact in float64 up to 1000 km.
    """
    x = 0.5 * D / 6371.0
    xx = x * x
    sine = x * (1.0 - xx / 6.0 * (1.0 - xx / 20.0 * (1.0 - xx / 42.0 * (1.0 - xx / 72.0))))
    cosine = 1.0 - xx / 2.0 * (1.0 - xx / 12.0 * (1.0 - xx / 30.0 * (1.0 - xx / 56.0)))
    s = M.sin_lat * cosine + M.cos_lat * sine * cos_azimuth
    n = s * M.cos_lat - math.sqrt(max(1.0 - s * s, 0.0)) * M.sin_lat
    nn = n * n
    north = n * (1.0 + nn * (1 / 6 + nn * (3 / 40 + nn * (15 / 336 + nn * (105 / 3456 + nn * (945 / 42240))))))
    return abs(M.latitude + north) / RAD_PER_DEG


@inlined
def inverse_normal(ln_x: float) -> float:
    """I(x) for x up to 0.5 by its natural logarithm, eq. (96) and (97)."""
    T = math.sqrt(-2.0 * max(ln_x, LN_LEAST))
    return T - ((0.010328 * T + 0.802853) * T + 2.515516698) / (((0.001308 * T + 0.189269) * T + 1.432788) * T + 1.0)


@looped
def horizons_of(B: Any, n: int, M: Model) -> None:
    """Angles, obstruction over the real profile, beta0, and what else needs the shape alone."""
    for a in range(n):
        D, rise = B[DISTANCE + a], B[RISE + a]
        lnD, straight = ln(D), rise / D
        B[LN_D + a] = lnD
        B[LBFS + a] = M.L0 + DB * (lnD + 0.5 * ln(1.0 + 1e-6 * straight * straight))
        theta_t, theta_r = 1000.0 * arctan(1e-3 * B[SLOPE_T + a]), 1000.0 * arctan(1e-3 * B[SLOPE_R + a])
        theta = 1000.0 * D / M.ae + theta_t + theta_r
        B[THETA_T + a], B[THETA_R + a] = theta_t, theta_r
        B[FJ + a] = falling(8.0 * (theta - 0.3))
        B[LBS0 + a] = M.s0 + DB * lnD + 0.573 * theta
        B[FADING + a] = 2.6 * (1.0 - exp(-0.1 * (B[DLT + a] + B[DLR + a])))
    for a in range(n):
        D, rise = B[DISTANCE + a], B[RISE + a]
        nu = B[NU_50 + a]
        over = beyond_horizon(B[TIM_50 + a], B[RIM_50 + a], rise, D, M)
        B[LD_50 + a] = loss_of(nu if nu < np.inf else over, D)
        h1, h2 = B[OVER_T + a], B[OVER_R + a]
        ray, fresnel = 2.0 * math.sqrt(h1 * h2), 17.456 * math.sqrt(M.lam * D)
        B[CLEAR_50 + a] = ray - (0.5 * M.q50 * D * D + fresnel) * 1.000001
        B[CLEAR_B + a] = ray - (0.5 * M.qb * D * D + fresnel) * 1.000001
        tau = 1.0 - exp(-4.12e-4 * exp(2.41 * ln(max(B[DLM + a], 1e-9))))
        inside = exp(-LOG10 * B[DTM + a] / (16.0 - 6.6 * tau)) + exp(-5.0 * LOG10 * (0.496 + 0.354 * tau))
        phi, ln_mu1 = latitude(D, cosine(B[AZIMUTH + a]), M), min(0.2 * ln(inside), 0.0)
        B[TAU + a] = tau
        polar = 1.4279160358107101 + 1.3 * ln_mu1  # ln 4.17
        B[LN_B0 + a] = LOG10 * (-0.015 * phi + 1.67) + (0.065 + 0.0176 * phi) * ln_mu1 if phi <= 70.0 else polar
    if M.rare:
        for a in range(n):
            D, rise = B[DISTANCE + a], B[RISE + a]
            nu = B[NU_B + a]
            over = beyond_horizon(B[TIM_B + a], B[RIM_B + a], rise, D, M)
            B[LD_B + a] = loss_of(nu if nu < np.inf else over, D)


@njit(cache=True, nogil=True, error_model="numpy", _nrt=False)  # type: ignore[call-overload] # not in its stubs
def over_sphere(D: float, m: int, h1: float, h2: float, q: float, root: float, omega: float, M: Model) -> float:
    """What the smooth earth adds to the Bullington loss of the real profile, eq. (22) to (39)."""
    Ldsph = sphere(D, h1, h2, q, root, omega, M)
    if Ldsph <= 0.0:
        return 0.0
    return float(max(Ldsph - loss_of(smooth_nu(D, m, h1, h2, q, M), D), 0.0))


@looped
def spheres(B: Any, n: int, M: Model) -> None:
    """Add what the smooth earth costs where a path is not clear of it."""
    for a in range(n):
        D, m, h1, h2, omega = B[DISTANCE + a], int(B[INNER + a]), B[OVER_T + a], B[OVER_R + a], B[OMEGA + a]
        if not (B[CLEAR_50 + a] > 0.0):
            B[LD_50 + a] += over_sphere(D, m, h1, h2, M.q50, M.ae_root, omega, M)
        # On its own: above 104.7 N-units per km the median's earth is the flatter of the two.
        if M.rare and not (B[CLEAR_B + a] > 0.0):
            B[LD_B + a] += over_sphere(D, m, h1, h2, M.qb, M.ab_root, omega, M)
    if not M.rare:
        for a in range(n):
            B[LD_B + a] = B[LD_50 + a]


@looped
def diffracted(B: Any, n: int, p: float, ln_p: float, lb_part: float, normal_p: float) -> None:
    """Loss with diffraction alone at p % of time, eq. (9) to (11) and (40) to (42), and whether a duct may matter."""
    for a in range(n):
        D, ln_b0 = B[DISTANCE + a], B[LN_B0 + a]
        Lb0p = B[LBFS + a] + B[FADING + a] * lb_part
        Fi = normal_p / inverse_normal(ln_b0 - LN_100)
        if ln_p <= ln_b0 or (p >= 50.0 and B[FJ + a] <= 0.0):
            Fi = 1.0
        Ldp = B[LD_50 + a] + Fi * (B[LD_B + a] - B[LD_50 + a])
        if p == 50.0:
            Ldp = B[LD_50 + a]
        Lbd = Lb0p + Ldp
        B[LB0P + a], B[FI + a], B[LDP + a], B[LBD + a] = Lb0p, Fi, Ldp, Lbd
        # Ap of (53) is at least this, for any beta up to beta0. It grows with ln p - ln beta; from 0 on it is 0 or
        # more; below, Gamma is greatest for beta0 and d = 0, where y^-1.012 is at most 1.0146 / y: beta0 is below 50 %.
        x0 = min(ln_p - ln_b0, 0.0)
        least = (1.2 + 3.7e-3 * D) * x0 / LOG10 + 12.0 * exp(1.0917 / (2.0058 - ln_b0 / LOG10) * x0) - 12.0
        # In line of sight A lacks what only adds to it.
        B[NEEDED + a] = Lbd - max(B[A + a] + least, Lb0p)


@looped
def combined(B: Any, n: int, ln_p: float, scatter: float) -> None:
    """Loss at p % of time with ducts and scatter, eq. (43) to (46), (50) and (57) to (62)."""
    for a in range(n):
        D, ln_b0, Lb0p, Lbd, Fj, Fi = (
            B[DISTANCE + a], B[LN_B0 + a], B[LB0P + a], B[LBD + a], B[FJ + a], B[FI + a]
        )  # fmt: skip
        x = ln_p - B[LN_BETA + a]
        Lba = B[A + a] - 12.0 + (1.2 + 3.7e-3 * D) * x / LOG10 + 12.0 * exp(B[GAMMA + a] * x)
        greater = max(Lba, Lb0p)
        Lminbap = greater + 2.5 * ln(1.0 + exp((min(Lba, Lb0p) - greater) / 2.5))
        Lbda = Lminbap + (Lbd - Lminbap) * falling(0.075 * (D - 20.0))
        if not (B[NEEDED + a] >= 0.0 and Lminbap <= Lbd):
            Lbda = Lbd
        ground = (1.0 - B[OMEGA + a]) * B[LDP + a]
        Lbd50 = B[LBFS + a] + B[LD_50 + a]
        Lb0b = B[LBFS + a] + B[FADING + a] * (ln_b0 - LN_50) / LOG10
        Lminb0p = Lbd50 + (Lb0b + ground - Lbd50) * Fi
        if ln_p < ln_b0:
            Lminb0p = Lb0p + ground
        Lbam = Lbda + (Lminb0p - Lbda) * Fj
        apart = B[LBS0 + a] - scatter - Lbam
        added = 0.25 * DB * ln(1.0 + exp(-0.2 * LOG10 * apart))
        Lbam -= added if apart < FAR_APART_DB else 0.0
        loss = max(Lb0p, Lbam)
        share = min((D - FREE_SPACE_KM) / (LEAST_DISTANCE_KM - FREE_SPACE_KM), 1.0)
        B[LOSS + a] = B[LBFS + a] + share * (loss - B[LBFS + a])
