"""Closed-form parts of the sweep for rare times: beta0, ducting and layer reflection. numba.

Written again beside `anomalous` and `horizons`, on purpose: the two forms check each other. Symbols and equation
numbers are P.1812's.
"""

import math
from typing import Any

import numpy as np
from numba import njit

from sfn.propagation.sweep_formulas import DB, LOG10, RAD_PER_DEG, Model

# Terms of inland paths are tabled, but for short ones, where they bend more. [km]
TABLE_KM, LEAST_TABLE_KM = 0.1, 4.0
# columns of the table
TAU, LN_MU1, ALPHA, POWER = range(4)


@njit(cache=True, nogil=True, error_model="numpy")
def land_terms(dtm: float, dlm: float) -> tuple[float, float]:
    """Tau and ln mu1 of the longest land and inland sections, eq. (2) and (3)."""
    tau = 0.0
    if dlm > 0.0:
        tau = 1.0 - math.exp(-4.12e-4 * math.exp(2.41 * math.log(dlm)))
    inside = math.exp(-LOG10 * dtm / (16.0 - 6.6 * tau)) + math.exp(-5.0 * LOG10 * (0.496 + 0.354 * tau))
    return tau, min(0.2 * math.log(inside), 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def log_beta0(phi: float, ln_mu1: float) -> float:
    """Natural logarithm of beta0 in %, eq. (4) and (5); phi is the latitude without its sign. [deg]"""
    if phi <= 70.0:
        return LOG10 * (-0.015 * phi + 1.67) + (0.065 + 0.0176 * phi) * ln_mu1
    return 1.4279160358107101 + 1.3 * ln_mu1  # ln 4.17


@njit(cache=True, nogil=True, error_model="numpy")
def centre_latitude(D: float, cos_azimuth: float, M: Model) -> float:
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


@njit(cache=True, nogil=True, error_model="numpy")
def shielding(theta_t: float, dlt: float, theta_r: float, dlr: float, factor: float, M: Model) -> float:
    """20 lg of a factor, and the losses of the terrain round the two antennas before the duct, eq. (48), (49)."""
    linear = 0.0
    above = theta_t - 0.1 * dlt
    if above > 0.0:
        factor *= 1.0 + 0.361 * above * math.sqrt(M.f * dlt)
        linear += above
    above = theta_r - 0.1 * dlr
    if above > 0.0:
        factor *= 1.0 + 0.361 * above * math.sqrt(M.f * dlr)
        linear += above
    return DB * math.log(factor) + 0.264 * linear * M.f_root


@njit(cache=True, nogil=True, error_model="numpy")
def coupling(dc: float, dl: float, hs: float, omega: float) -> float:
    """Gain of one antenna near the coast into a duct over sea, eq. (49)."""
    if dc > 5.0 or dc > dl or omega < 0.75:
        return 0.0
    return -3.0 * math.exp(-0.25 * dc * dc) * (1.0 + math.tanh(0.07 * (50.0 - hs)))


@njit(cache=True, nogil=True, error_model="numpy")
def duct_powers(D: float, tau: float) -> tuple[float, float]:
    """Alpha of eq. (55a) before its bound, and d^1.13 of (53b)."""
    lnD = math.log(D)
    return -0.6 - 3.5e-9 * math.exp(3.1 * lnD) * tau, math.exp(1.13 * lnD)


@njit(cache=True, nogil=True, error_model="numpy")
def duct_time(
    D: float, dlt: float, dlr: float, alpha: float, power: float, hte: float, hre: float, hm: float, ln_b0: float,
    M: Model,
) -> tuple[float, float]:  # fmt: skip
    """Ln beta and Gamma of the duct's distribution over time, eq. (53) to (56)."""
    ln_beta = ln_b0
    if hm > 10.0:
        ln_beta -= 4.6e-5 * (hm - 10.0) * (43.0 + 6.0 * min(D - dlt - dlr, 40.0))
    roots = math.sqrt(hte) + math.sqrt(hre)
    ln_mu2 = max(alpha, -3.4) * math.log(M.q50 * D * D / (roots * roots))
    if ln_mu2 < 0.0:
        ln_beta += ln_mu2
    log_beta = ln_beta / LOG10
    decay = (9.51 - 4.8 * log_beta + 0.198 * log_beta * log_beta) * 1e-6 * power
    return ln_beta, 1.076 * math.exp(-1.012 * math.log(2.0058 - log_beta) - decay)


@njit(cache=True, nogil=True, error_model="numpy")
def least_time_term(x0: float, ln_b0: float, D: float) -> float:
    """What Ap of eq. (53) is at least, for any beta up to beta0; x0 = ln p - ln beta0.

    Ap grows with x = ln p - ln beta >= x0. From x = 0 on it is 0 or more; below, Gamma is greatest for beta0 and d = 0,
    where y^-1.012 is at most 1.0146 / y, since beta0 is below 50 %.
    """
    if x0 >= 0.0:
        return 0.0
    greatest = 1.0917 / (2.0058 - ln_b0 / LOG10)
    return -12.0 + (1.2 + 3.7e-3 * D) * x0 / LOG10 + 12.0 * math.exp(greatest * x0)


@njit(cache=True, nogil=True, error_model="numpy")
def inland_table(count: int) -> Any:
    """Tau, ln mu1, alpha and d^1.13 of paths that are inland all along, every `TABLE_KM`; shape (count, 4)."""
    table = np.zeros((count, 4))
    for i in range(1, count):
        D = i * TABLE_KM
        table[i, 0], table[i, 1] = land_terms(D, D)
        table[i, 2], table[i, 3] = duct_powers(D, table[i, 0])
    return table


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def between(table: Any, column: int, D: float) -> float:
    """Value of a table at D by the polynomial through six nodes; to 1e-11 from `LEAST_TABLE_KM` on."""
    i = int(D / TABLE_KM)
    t = D / TABLE_KM - i
    a, b, d, e, f = t + 2.0, t + 1.0, t - 1.0, t - 2.0, t - 3.0
    ab, td, ef = a * b, t * d, e * f
    return float(
        (table[i + 3, column] * ab * e - table[i - 2, column] * b * ef) * td / 120.0
        + (table[i - 1, column] * a * ef - table[i + 2, column] * ab * f) * td / 24.0
        + (table[i + 1, column] * t - table[i, column] * d) * ab * ef / 12.0
    )
