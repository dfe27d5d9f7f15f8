"""The part of the ground that paths from a site to some places run over."""

import numpy as np
from numpy.typing import ArrayLike

from sfn.field.transmitter import Transmitter
from sfn.terrain.ground import Ground, GroundWindow, ground_window

METRES_PER_DEGREE_M = 111_195.0
MARGIN_DEG = 1e-3

Bounds = tuple[float, float, float, float]


def rectangle(transmitter: Transmitter, bounds_deg: Bounds) -> Bounds:
    """South, west, north and east of all that paths from a site into a rectangle touch. [degrees]

    Parameters
    ----------
    transmitter : Transmitter
    bounds_deg : tuple of float
        South, west, north and east of the places. [degrees]

    Returns
    -------
    bounds_deg : tuple of float
        Geodesics bulge towards the pole, by ``s^2 tan(lat) / (8 R)`` at most; east may lie beyond 180.
    """
    south, west, north, east = bounds_deg
    lon_deg = transmitter.lon_deg + 360.0 * round(((west + east) / 2 - transmitter.lon_deg) / 360.0)
    south, north = min(south, transmitter.lat_deg), max(north, transmitter.lat_deg)
    west, east = min(west, lon_deg), max(east, lon_deg)
    pole = np.radians(min(max(abs(south), abs(north)), 85.0))
    nearest_deg = 0.0 if south < 0.0 < north else min(abs(south), abs(north))
    width_m = (east - west) * METRES_PER_DEGREE_M * float(np.cos(np.radians(nearest_deg)))
    bulge_deg = width_m**2 * float(np.tan(pole)) / (8.0 * 6_371_000.0) / METRES_PER_DEGREE_M + MARGIN_DEG
    return max(south - bulge_deg, -89.9), west - MARGIN_DEG, min(north + bulge_deg, 89.9), east + MARGIN_DEG


def ground_around(
    ground: Ground | GroundWindow | None, transmitter: Transmitter, *, bounds_deg: Bounds
) -> GroundWindow:
    """The ground between a site and some places, read when it is not read yet; a smooth earth for None."""
    if ground is None or isinstance(ground, GroundWindow):
        return ground or GroundWindow()
    south, west, north, east = rectangle(transmitter, bounds_deg)
    return ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)


def bounds_of(lat_deg: ArrayLike, lon_deg: ArrayLike) -> Bounds:
    """South, west, north and east of places. [degrees]"""
    lat, lon = np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64)
    return float(np.nanmin(lat)), float(np.nanmin(lon)), float(np.nanmax(lat)), float(np.nanmax(lon))
