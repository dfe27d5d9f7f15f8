"""Closed-form parts of the sweep that one path asks for at a time: points, the sphere's residues. numba.

What every receiver needs is worked out for many at once, in `batch` and `ducts`. Written again beside `bullington` and
`smooth_earth`, on purpose: the two forms check each other.
Symbols and equation numbers are P.1812's. Logarithms are natural and turned once: numba's log10 is slow.
"""

import math
from typing import NamedTuple

from numba import njit

LOG10 = math.log(10.0)
DB = 20.0 / LOG10

# For kernels called from Python, which allocate nothing: without counts of references, whose locked instructions cost
# a sixth of the sweep. `inline="always"` keeps them out of the functions below for the same reason.
entry = njit(cache=True, nogil=True, error_model="numpy", _nrt=False)  # type: ignore[call-overload] # not in its stubs
# The same with greatest values taken in any order, for loops over points that hold a number each.
part = njit(cache=True, nogil=True, error_model="numpy", _nrt=False, fastmath={"nnan", "nsz", "contract"})  # type: ignore[call-overload] # not in its stubs
# And with sums taken in any order, for loops over many points.
summed = njit(cache=True, nogil=True, error_model="numpy", _nrt=False, fastmath={"nnan", "nsz", "contract", "reassoc"})  # type: ignore[call-overload] # not in its stubs


@njit(cache=True, nogil=True, error_model="numpy")
def last_point(D: float, step: float) -> int:
    """Last point of a radial that the path to a receiver at D uses: half a step or more before it."""
    return max(int((D - 0.5 * step) / step), 0)


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
    latitude: float  # of the site, rad
    sin_lat: float
    cos_lat: float
    rare: bool  # whether any percentage of time is below 50


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
