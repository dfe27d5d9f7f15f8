"""Heights along the geodesic between two places.

The points are those that a raster's radials have too: equal steps from the transmitter, none nearer to the
receiver than half a step, then the receiver itself. So one path and the raster see the same ground.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.line import direct, inverse
from sfn.terrain.dem import Terrain, heights

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Profile:
    """Ground along one path, transmitter first; all arrays of shape (points,).

    Parameters
    ----------
    distance_m : ndarray
        Along the geodesic from the transmitter. [m]
    lat_deg, lon_deg : ndarray
        Where the points lie. [degrees]
    ground_m : ndarray
        Height above sea level, NaN where not known. [m]
    """

    distance_m: Floats
    lat_deg: Floats
    lon_deg: Floats
    ground_m: Floats


def path_points(
    lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, *, step_m: float
) -> tuple[Floats, Floats, Floats]:
    """Distances [m], latitudes and longitudes [degrees] along a geodesic, both ends included.

    Steps are `step_m` long, the last one half to one and a half times that (one step when the path is shorter).

    Raises
    ------
    ValueError
        If `step_m` is not greater than zero.
    """
    if not step_m > 0:
        raise ValueError(f"step_m must be greater than 0 m, got {step_m!r}")
    ground_m, azimuth_deg, _ = inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    inner = max(int((float(ground_m) - 0.5 * step_m) / step_m), 0)
    distance_m = np.append(step_m * np.arange(inner + 1), float(ground_m))
    lat, lon = direct(lat1_deg, lon1_deg, azimuth_deg=np.full(inner + 2, float(azimuth_deg)), ground_m=distance_m)
    lat[0], lon[0], lat[-1], lon[-1] = lat1_deg, lon1_deg, lat2_deg, lon2_deg
    return distance_m, lat, lon


def profile(
    terrain: Terrain, lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, *, step_m: float
) -> Profile:
    """Ground heights along the geodesic between two places, see `path_points` for where.

    Raises
    ------
    ValueError
        If `step_m` is not greater than zero.
    """
    distance_m, lat, lon = path_points(lat1_deg, lon1_deg, lat2_deg, lon2_deg, step_m=step_m)
    return Profile(distance_m, lat, lon, heights(terrain, lat, lon))
