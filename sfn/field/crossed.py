"""Which places lie behind, or in, small voids of the terrain that were filled: they have a level, and it is marked."""

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.around import site_map
from sfn.propagation import radials
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid

Floats = NDArray[np.float64]
# Rows of the terrain that are looked through at a time.
STRIP_ROWS = 256
LEAST_BEARINGS_N, MOST_BEARINGS_N = 3600, 400_000


def crossed(
    filled: NDArray[np.bool_], grid: HeightGrid, *, lat_deg: float, lon_deg: float, distance_km: Floats,
    azimuth_deg: Floats, reach_km: float | None = None,
) -> NDArray[np.bool_]:  # fmt: skip
    """Whether paths from a site touch samples that were filled, or the ground beside them that is drawn from them.

    Of each bearing the nearest such ground is kept, so that no second walk over the terrain without its fillings is
    needed, nor a copy of it.

    Parameters
    ----------
    filled : ndarray of bool
        Shape of the grid's heights.
    grid : HeightGrid
        Only its place and spacing count.
    lat_deg, lon_deg : float
        The site. [degrees]
    distance_km, azimuth_deg : ndarray, one shape
        Places as the site sees them. [km, degrees] NaN: not asked for.
    reach_km : float, optional
        The farthest of more places than these, to see the same of each as with all of them. [km]

    Returns
    -------
    crossed : ndarray of bool, the places' shape
        True too for a path that passes by within half a sample.
    """
    out = np.zeros(distance_km.shape, dtype=np.bool_)
    if reach_km is None:
        reach_km = float(np.nanmax(distance_km, initial=0.0))
    if reach_km == 0.0:
        return out
    high_m, wide_m = (METRES_PER_DEGREE_M * step for step in (grid.step_lat_deg, grid.step_lon_deg))
    wide_m *= float(np.cos(np.radians(lat_deg)))
    count = int(np.clip(4e3 * np.pi * reach_km / min(high_m, wide_m), LEAST_BEARINGS_N, MOST_BEARINGS_N))
    nearest_m = np.full(count, np.inf)
    around = site_map(lat_deg, lon_deg, radius_m=1000.0 * max(reach_km, 0.2) + 2.0 * (high_m + wide_m))
    site = np.array([around.lat_deg, around.lon_deg, around.lat_scale_deg, around.lon_scale_deg])
    for first in range(0, filled.shape[0], STRIP_ROWS):
        row, column = np.nonzero(filled[first : first + STRIP_ROWS])
        if not row.size:
            continue
        lat = grid.north_deg - grid.step_lat_deg * (first + row)
        lon = grid.west_deg + grid.step_lon_deg * column
        lon = lon_deg + (lon - lon_deg + 180.0) % 360.0 - 180.0
        at_km, at = np.empty(row.size), np.empty(row.size)
        room = np.empty((2, around.degree + 1))
        radials.locate(lat, lon, site, around.plane_m, around.degree, reach_km + 0.002 * high_m, at_km, at, room)
        known = np.isfinite(at_km)
        _keep(nearest_m, 1000.0 * at_km[known], at[known], high_m, wide_m)
    seen = np.isfinite(distance_km)
    bearing = (azimuth_deg[seen] * (count / 360.0)).astype(np.int64) % count
    out[seen] = 1000.0 * distance_km[seen] > nearest_m[bearing]
    return out


def _keep(nearest_m: Floats, at_m: Floats, bearing: Floats, high_m: float, wide_m: float) -> None:
    """Lower the nearest distance of the bearings that samples at distances [m] and bearings [rad] cover, in place.

    Ground between a sample and its neighbours is drawn from it: a rectangle of one step each way.
    """
    count = len(nearest_m)
    north, east = np.abs(np.cos(bearing)), np.abs(np.sin(bearing))
    across_m, along_m = wide_m * north + high_m * east, wide_m * east + high_m * north
    half = np.where(at_m > across_m, np.arctan2(across_m, at_m), np.pi) * (count / (2.0 * np.pi))
    middle = bearing * (count / (2.0 * np.pi))
    low = np.floor(middle - half).astype(np.int64)
    size = np.minimum(np.floor(middle + half).astype(np.int64) - low + 1, count)
    ends = np.cumsum(size)
    place = np.arange(ends[-1] if ends.size else 0) - np.repeat(ends - size, size) + np.repeat(low, size)
    np.minimum.at(nearest_m, place % count, np.repeat(at_m - along_m, size))
