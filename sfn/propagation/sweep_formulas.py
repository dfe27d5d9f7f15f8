"""Closed-form parts of the sweep: what is left of P.1812 once a radial's horizons are known. numba.

Written again beside `bullington`, `anomalous` and `horizons`, on purpose: the two forms check each other.
Symbols and equation numbers are P.1812's. Logarithms are natural and turned once: numba's log10 is slow.
"""

import math
from typing import NamedTuple

from numba import njit

LOG10 = math.log(10.0)
DB = 20.0 / LOG10
RAD_PER_DEG = math.pi / 180.0
# Where a hyperbolic tangent is 1 in float64.
FLAT_TANH = 19.1

# For kernels called from Python, which allocate nothing: without counts of references, whose locked instructions cost
# a sixth of the sweep. `inline="always"` keeps them out of the functions below for the same reason.
entry = njit(cache=True, nogil=True, error_model="numpy", _nrt=False)  # type: ignore[call-overload] # not in its stubs


class Model(NamedTuple):
    """What is the same for every receiver of a sweep."""

    step: float  # km
    lam: float  # wavelength, m
    f: float  # GHz
    f_root: float  # f^(1/3)
    htg: float
    hrg: float
    ae: float  # km
    q50: float  # 500 / ae
    qb: float  # 500 / abeta
    ae_root: float  # ae^(-1/3)
    ab_root: float
    K_land: float  # surface admittance times the cube root of the radius
    K_sea: float
    x0: float  # 21.88 f^(1/3)
    y0: float  # 0.9575 f^(2/3)
    L0: float  # 92.4 + 20 log10 f
    A0: float  # 102.45 + 20 log10 f + Alf
    gamma_d: float
    s0: float  # 190.1 + Lf - 0.15 N0
    sin_lat: float  # of the site
    cos_lat: float
    rare: bool  # whether any percentage of time is below 50


@njit(cache=True, nogil=True, error_model="numpy")
def knife_edge(nu: float) -> float:
    """J(nu), eq. (12)."""
    if nu <= -0.78:
        return 0.0
    return 6.9 + DB * math.log(math.sqrt((nu - 0.1) * (nu - 0.1) + 1.0) + nu - 0.1)


@njit(cache=True, nogil=True, error_model="numpy")
def bullington(nu: float, D: float) -> float:
    """Bullington loss from the decisive nu, eq. (21)."""
    Luc = knife_edge(nu)
    if Luc == 0.0:
        return 0.0
    return Luc + (1.0 - math.exp(-Luc / 6.0)) * (10.0 + 0.02 * D)


@njit(cache=True, nogil=True, error_model="numpy")
def bullington_point(Stim: float, Srim: float, h1: float, h2: float, D: float, lam: float) -> float:
    """Nu of the Bullington point beyond the horizon, eq. (18) and (20)."""
    db = (h2 - h1 + Srim * D) / (Stim + Srim)
    above = h1 + Stim * db - (h1 * (D - db) + h2 * db) / D
    return above * math.sqrt(0.002 * D / (lam * db * (D - db)))


@njit(cache=True, nogil=True, error_model="numpy")
def clearance_nu(height: float, d: float, D: float, h1: float, h2: float, q: float, lam: float) -> float:
    """Nu of one point of the profile, eq. (15)."""
    e = D - d
    return (height + q * d * e - (h1 * e + h2 * d) / D) * math.sqrt(0.002 * D / (lam * d * e))


@njit(cache=True, nogil=True, error_model="numpy")
def smooth_nu(D: float, m: int, h1: float, h2: float, q: float, M: Model) -> float:
    """Decisive nu of the profile's m inner points on a smooth earth, eq. (13) to (20) with heights zero.

    Slopes are concave along the path, so their greatest stands beside the real optimum; within line of sight nu is
    quasi-concave in u = sqrt(d / (D - d)): Newton's step finds it, and the last points are tried one by one.
    """
    step, lam = M.step, M.lam
    i = min(max(int(math.sqrt(h1 / q) / step), 1), m)
    j = min(i + 1, m)
    di, dj = i * step, j * step
    Stim = max((q * di * (D - di) - h1) / di, (q * dj * (D - dj) - h1) / dj)
    if Stim >= (h2 - h1) / D:
        j = min(max(int((D - math.sqrt(h2 / q)) / step), 1), m)
        i = min(j + 1, m)
        di, dj = i * step, j * step
        Srim = max((q * di * (D - di) - h2) / (D - di), (q * dj * (D - dj) - h2) / (D - dj))
        return bullington_point(Stim, Srim, h1, h2, D, lam)
    k = q * D * D
    u = math.sqrt(math.sqrt(h1 / h2))
    for _ in range(4):
        w = 1.0 + u * u
        slope = k * (1.0 - u * u) / (w * w) + h1 / (u * u) - h2
        curve = k * (2.0 * u * u * u - 6.0 * u) / (w * w * w) - 2.0 * h1 / (u * u * u)
        if curve >= 0.0:
            break
        u = min(max(u - slope / curve, 0.25 * u), 4.0 * u)
    i = min(max(int(D * u * u / (1.0 + u * u) / step), 1), m)
    best = clearance_nu(0.0, i * step, D, h1, h2, q, lam)
    for way in (1, -1):
        j = i + way
        while 1 <= j <= m:
            nu = clearance_nu(0.0, j * step, D, h1, h2, q, lam)
            if nu < best:
                break
            best, i = nu, j
            j += way
    return best


@njit(cache=True, nogil=True, error_model="numpy")
def height_gain(B: float, K: float) -> float:
    """G(Y) not below 2 + 20 log10 K, eq. (34) and (35)."""
    least = 1.2589254117941673 * K
    if B <= 2.0:
        return DB * math.log(max(B + 0.1 * B * B * B, least))
    high = 17.6 * math.sqrt(B - 1.1) - 0.25 * DB * math.log(B - 1.1) - 8.0
    if K > 0.5:
        return max(high, DB * math.log(least))
    return high


@njit(cache=True, nogil=True, error_model="numpy")
def first_term(D: float, h1: float, h2: float, root: float, K0: float, M: Model) -> float:
    """First residue over one kind of ground, eq. (29) to (36); root is radius^(-1/3)."""
    K = K0 * root
    KK = K * K
    beta = (1.0 + KK * (1.6 + 0.67 * KK)) / (1.0 + KK * (4.5 + 1.53 * KK))
    X = M.x0 * beta * root * root * D
    if X >= 1.6:
        F = 11.0 + 0.5 * DB * math.log(X) - 17.6 * X
    else:
        lnX = math.log(X)
        F = -DB * lnX - 5.6488 * math.exp(1.425 * lnX)
    y = M.y0 * beta * beta * root
    return -F - height_gain(y * h1, K) - height_gain(y * h2, K)


@njit(cache=True, nogil=True, error_model="numpy")
def mixed_first_term(D: float, h1: float, h2: float, root: float, omega: float, M: Model) -> float:
    """First residue over land and sea, eq. (28)."""
    loss = 0.0
    if omega < 1.0:
        loss = (1.0 - omega) * first_term(D, h1, h2, root, M.K_land, M)
    if omega > 0.0:
        loss += omega * first_term(D, h1, h2, root, M.K_sea, M)
    return loss


@njit(cache=True, nogil=True, error_model="numpy")
def sphere(D: float, h1: float, h2: float, q: float, root: float, omega: float, M: Model) -> float:
    """Spherical-earth loss Ldsph, eq. (22) to (36).

    Most paths from a mast on a summit are clear of it. With u = sqrt(d / (D - d)) the clearance over hreq's root is at
    least 2 sqrt(h1 h2) / D - q D / 2 wherever the path comes nearest: when that is enough, no angle is needed.
    """
    if 2.0 * math.sqrt(h1 * h2) > (0.5 * q * D * D + 17.456 * math.sqrt(M.lam * D)) * 1.000001:
        return 0.0
    r1, r2 = math.sqrt(h1), math.sqrt(h2)
    if q * D * D >= (r1 + r2) * (r1 + r2):  # D >= dlos
        return mixed_first_term(D, h1, h2, root, omega, M)
    total = h1 + h2
    c = (h1 - h2) / total
    m = 0.5 * q * D * D / total
    ratio = (m + 1.0) / (3.0 * m)
    inner = min(max(1.5 * c / ((m + 1.0) * math.sqrt(ratio)), -1.0), 1.0)
    b = 2.0 * math.sqrt(ratio) * math.cos(math.pi / 3.0 + math.acos(inner) / 3.0)
    dse1 = 0.5 * D * (1.0 + b)
    dse2 = D - dse1
    hse = ((h1 - q * dse1 * dse1) * dse2 + (h2 - q * dse2 * dse2) * dse1) / D
    hreq = 17.456 * math.sqrt(dse1 * dse2 * M.lam / D)
    if hse > hreq:
        return 0.0
    aem = 500.0 * (D / (r1 + r2)) * (D / (r1 + r2))
    Ldft = mixed_first_term(D, h1, h2, math.exp(-math.log(aem) / 3.0), omega, M)
    return (1.0 - hse / hreq) * max(Ldft, 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def log_beta0(phi: float, dtm: float, tau: float) -> float:
    """Natural logarithm of beta0 in %, eq. (2) to (5)."""
    ln_mu1 = 0.0
    inside = math.exp(-LOG10 * dtm / (16.0 - 6.6 * tau)) + math.exp(-5.0 * LOG10 * (0.496 + 0.354 * tau))
    if inside < 1.0:
        ln_mu1 = 0.2 * math.log(inside)
    if phi <= 70.0:
        return LOG10 * (-0.015 * phi + 1.67) + (0.065 + 0.0176 * phi) * ln_mu1
    return 1.4279160358107101 + 1.3 * ln_mu1  # ln 4.17


@njit(cache=True, nogil=True, error_model="numpy")
def centre_latitude(D: float, cos_azimuth: float, M: Model) -> float:
    """Latitude of the path's centre without its sign, on a sphere of 6371 km. [deg]"""
    x = 0.5 * D / 6371.0
    xx = x * x  # at most 0.25: the series below are exact in float64 up to 1000 km
    sine = x * (1.0 - xx / 6.0 * (1.0 - xx / 20.0 * (1.0 - xx / 42.0 * (1.0 - xx / 72.0))))
    cosine = 1.0 - xx / 2.0 * (1.0 - xx / 12.0 * (1.0 - xx / 30.0 * (1.0 - xx / 56.0)))
    s = M.sin_lat * cosine + M.cos_lat * sine * cos_azimuth
    return abs(math.asin(min(max(s, -1.0), 1.0))) / RAD_PER_DEG


@njit(cache=True, nogil=True, error_model="numpy")
def shielding(theta: float, dl: float, M: Model) -> float:
    """Loss of the terrain round one antenna before the duct, eq. (48)."""
    above = theta - 0.1 * dl
    if above <= 0.0:
        return 0.0
    return DB * math.log(1.0 + 0.361 * above * math.sqrt(M.f * dl)) + 0.264 * above * M.f_root


@njit(cache=True, nogil=True, error_model="numpy")
def coupling(dc: float, dl: float, hs: float, omega: float) -> float:
    """Gain of one antenna near the coast into a duct over sea, eq. (49)."""
    if dc > 5.0 or dc > dl or omega < 0.75:
        return 0.0
    return -3.0 * math.exp(-0.25 * dc * dc) * (1.0 + math.tanh(0.07 * (50.0 - hs)))


@njit(cache=True, nogil=True, error_model="numpy")
def duct_time(
    D: float, lnD: float, dlt: float, dlr: float, tau: float, hte: float, hre: float, hm: float, ln_b0: float, M: Model
) -> tuple[float, float]:
    """Ln beta and Gamma of the duct's distribution over time, eq. (53) to (56)."""
    ln_beta = ln_b0
    if hm > 10.0:
        ln_beta -= 4.6e-5 * (hm - 10.0) * (43.0 + 6.0 * min(D - dlt - dlr, 40.0))
    alpha = max(-0.6 - 3.5e-9 * math.exp(3.1 * lnD) * tau, -3.4)
    roots = math.sqrt(hte) + math.sqrt(hre)
    ln_mu2 = alpha * math.log(M.q50 * D * D / (roots * roots))
    if ln_mu2 < 0.0:
        ln_beta += ln_mu2
    log_beta = ln_beta / LOG10
    decay = (9.51 - 4.8 * log_beta + 0.198 * log_beta * log_beta) * 1e-6 * math.exp(1.13 * lnD)
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
def step_down(x: float) -> float:
    """1 - 0.5 (1 + tanh x), eq. (57) and (58), as one exponential."""
    if x > FLAT_TANH:
        return 0.0
    return 1.0 / (1.0 + math.exp(2.0 * x))


@njit(cache=True, nogil=True, error_model="numpy")
def inverse_normal(x: float) -> float:
    """I(x) for x up to 0.5, eq. (96) and (97)."""
    T = math.sqrt(-2.0 * math.log(max(x, 1e-6)))
    return T - ((0.010328 * T + 0.802853) * T + 2.515516698) / (((0.001308 * T + 0.189269) * T + 1.432788) * T + 1.0)
