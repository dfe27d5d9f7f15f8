"""How large an area between parallels and meridians is, so that figures that count over areas can be held side by side.

| symbol | name | unit |
|---|---|---|
| phi | latitude on the WGS84 ellipsoid | degrees |
| q | area between the equator and a parallel, as a number; eq. (3-12) of Snyder | |

J. P. Snyder, "Map projections: a working manual", 1987.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.geodesy.line import inverse
from sfn.units import grouped

Bounds = tuple[float, float, float, float]
WGS84_A_M = 6_378_137.0
WGS84_FLATTENING_RATIO = 1 / 298.257_223_563
WGS84_E2_RATIO = WGS84_FLATTENING_RATIO * (2 - WGS84_FLATTENING_RATIO)


def north_of_equator_ratio(lat_deg: ArrayLike) -> NDArray[np.float64]:
    """Snyder's q of parallels, eq. (3-12): areas go by its differences, eq. (3-11).

    Parameters
    ----------
    lat_deg : array_like
        [degrees]
    """
    sine = np.sin(np.radians(lat_deg))
    e = np.sqrt(WGS84_E2_RATIO)
    return np.asarray((1 - WGS84_E2_RATIO) * (sine / (1 - WGS84_E2_RATIO * sine**2) + np.arctanh(e * sine) / e))


def area_km2(bounds_deg: Bounds) -> float:
    """True area between two parallels and two meridians on the ellipsoid. [km2]

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north, east; east may lie beyond 180. [degrees]

    Examples
    --------
    >>> round(area_km2((-90.0, -180.0, 90.0, 180.0)))
    510065622
    """
    south, west, north, east = bounds_deg
    high = float(np.diff(north_of_equator_ratio([south, north]))[0])
    return high * WGS84_A_M**2 / 2 * float(np.radians(east - west)) / 1e6


def sides_km(bounds_deg: Bounds) -> tuple[float, float]:
    """Width of an area along the parallel in its middle, and its height along a meridian. [km]

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north, east; east may lie beyond 180. [degrees]
    """
    south, west, north, east = bounds_deg
    middle = np.radians((south + north) / 2)
    radius_m = WGS84_A_M / np.sqrt(1 - WGS84_E2_RATIO * np.sin(middle) ** 2) * np.cos(middle)
    high_m, _, _ = inverse(np.array([south]), np.array([west]), np.array([north]), np.array([west]))
    return float(radius_m * np.radians(east - west)) / 1000, float(high_m[0]) / 1000


def extent_says(bounds_deg: Bounds) -> str:
    """An area as it stands beside a figure that counts over it.

    Examples
    --------
    >>> extent_says((36.0, -84.5, 36.5, -84.0)).replace(chr(0x202F), " ")
    '44.9 × 55.5 km, 2 493 km²'
    """
    wide, high = (f"{grouped(side, '.1f' if side < 100 else '.0f')}" for side in sides_km(bounds_deg))
    return f"{wide} × {high} km, {grouped(area_km2(bounds_deg), '.0f')} km²"
