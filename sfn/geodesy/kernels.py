"""Geodesic lengths for millions of pairs: from the straight chord, by a series in the curvature of the line.

Two places on the ellipsoid, seen in the meridian half way between their longitudes (half difference d):

| symbol | name | unit |
|---|---|---|
| r, z | distance from the axis, height over the equator plane, of a place | m |
| D | chord, ``D^2 = (r2 - r1)^2 cos^2 d + (r1 + r2)^2 sin^2 d + (z2 - z1)^2`` | m |
| sin^2 A | share of the chord that runs east-west, ``(r1 + r2)^2 sin^2 d / D^2`` | 1 |
| kM, kN | curvature of meridian and prime vertical half way, ``1/M`` and ``1/N`` | 1/m |
| k | curvature along the line, ``kM cos^2 A + kN sin^2 A`` (Euler) | 1/m |
| s | geodesic, ``D (1 + u/24 + 3u^2/640)``, ``u = (D k)^2`` (arc of a circle from its chord) | m |

A change of curvature along the line cancels in first order because it is taken half way. What is left grows with the
fifth power of the length: 0.2 mm at 300 km, 0.14 m at 1 000 km (tests/sfn/geodesy/test_travel.py). Near the site D is
a difference of equal numbers only to the nanometre. No trigonometry in the loop, no branch, and numpy's silent
division, so that a processor takes several pixels at a time.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.geodesy.extent import WGS84_A_M, WGS84_E2_RATIO

Floats = NDArray[np.float64]

_A = WGS84_A_M
_E2 = WGS84_E2_RATIO
_NO_DIVISION_BY_ZERO = 1e-300


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _geodesic(r1: float, z1: float, r2: float, z2: float, sine2: float) -> float:
    """Length of the geodesic; `sine2` is the squared sine of half the difference of longitude."""
    across = (r1 + r2) * (r1 + r2) * sine2
    chord2 = (r2 - r1) * (r2 - r1) * (1.0 - sine2) + across + (z2 - z1) * (z2 - z1)
    z = 0.5 * (z1 + z2) / (1.0 - _E2)
    r = 0.5 * (r1 + r2)
    z_squared = z * z
    w2 = 1.0 - _E2 * z_squared / (z_squared + r * r * (1.0 - sine2))
    w = np.sqrt(w2)
    prime = w / _A
    meridian = w * w2 / (_A * (1.0 - _E2))
    curvature = meridian + (prime - meridian) * across / (chord2 + _NO_DIVISION_BY_ZERO)
    u = chord2 * curvature * curvature
    return float(np.sqrt(chord2) * (1.0 + u * (1.0 / 24.0 + u * (3.0 / 640.0))))


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _azimuth(
    r1: float, z1: float, sine_lat: float, cosine_lat: float, r2: float, z2: float, s: float, c: float
) -> float:
    """Direction of the chord at the first place, as an angle of the horizon there. [degrees]"""
    east = 2.0 * r2 * s * c
    north = cosine_lat * (z2 - z1) - sine_lat * ((r2 - r1) - 2.0 * r2 * s * s)
    angle = np.degrees(np.arctan2(east, north))
    return float(angle + 360.0 if angle < 0.0 else angle)


@njit(cache=True, nogil=True, error_model="numpy")
def ground_on_rows(r1: float, z1: float, r2: Floats, z2: Floats, sine: Floats, out: Floats) -> None:
    """Lengths to a raster: `r2`, `z2` a row (R,), `sine` of half the longitude difference a column (C,), out (R, C)."""
    for i in range(r2.size):
        for j in range(sine.size):
            out[i, j] = _geodesic(r1, z1, r2[i], z2[i], sine[j] * sine[j])


@njit(cache=True, nogil=True, error_model="numpy")
def ground_to_points(r1: float, z1: float, half1: Floats, r2: Floats, z2: Floats, half2: Floats, out: Floats) -> None:
    """Lengths to points (M,); `half1` (2,) and `half2` (2, M) are sine and cosine of half the longitudes."""
    for i in range(r2.size):
        sine = half2[0, i] * half1[1] - half2[1, i] * half1[0]
        out[i] = _geodesic(r1, z1, r2[i], z2[i], sine * sine)


@njit(cache=True, nogil=True, error_model="numpy")
def azimuth_on_rows(site: Floats, r2: Floats, z2: Floats, sine: Floats, cosine: Floats, out: Floats) -> None:
    """Azimuths to a raster; `site` is r, z, sine and cosine of the latitude; the rest as `ground_on_rows`."""
    for i in range(r2.size):
        for j in range(sine.size):
            out[i, j] = _azimuth(site[0], site[1], site[2], site[3], r2[i], z2[i], sine[j], cosine[j])


@njit(cache=True, nogil=True, error_model="numpy")
def azimuth_to_points(site: Floats, half1: Floats, r2: Floats, z2: Floats, half2: Floats, out: Floats) -> None:
    """Azimuths to points (M,); arguments as `azimuth_on_rows` and `ground_to_points`."""
    for i in range(r2.size):
        sine = half2[0, i] * half1[1] - half2[1, i] * half1[0]
        cosine = half2[1, i] * half1[1] + half2[0, i] * half1[0]
        out[i] = _azimuth(site[0], site[1], site[2], site[3], r2[i], z2[i], sine, cosine)
