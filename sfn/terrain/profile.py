"""Heights along geodesics: one path between two places, or all radials of a site.

Both sample along the true geodesic on WGS84, at equal steps, at most as long as asked. A place without a
height stays NaN; `bridged` says how short gaps may be crossed and which profiles that touched.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.geodesy.line import direct, inverse
from sfn.terrain.dem import Terrain, heights
from sfn.terrain.heights import HeightGrid
from sfn.terrain.kernels import bridge_gaps, sample_radials

Floats = NDArray[np.float64]

LEAST_STEPS = 5
# Positions between nodes are linear along a radial (0.1 m at most up to 70 degrees of latitude) and cubic between
# azimuths (below 1 mm): tests/sfn/terrain/test_profile.py.
NODE_M = 1000.0
NODE_AZIMUTHS = 360


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
    """Distances [m], latitudes and longitudes [degrees] at equal steps along a geodesic, both ends included.

    Raises
    ------
    ValueError
        If `step_m` is not greater than zero.
    """
    if not step_m > 0:
        raise ValueError(f"step_m must be greater than 0 m, got {step_m!r}")
    ground_m, azimuth_deg, _ = inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    steps = max(LEAST_STEPS, int(np.ceil(float(ground_m) / step_m)))
    distance_m = np.linspace(0.0, float(ground_m), steps + 1)
    lat, lon = direct(lat1_deg, lon1_deg, azimuth_deg=np.full(steps + 1, float(azimuth_deg)), ground_m=distance_m)
    lat[-1], lon[-1] = lat2_deg, lon2_deg
    return distance_m, lat, lon


def profile(
    terrain: Terrain, lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, *, step_m: float
) -> Profile:
    """Ground heights along the geodesic between two places, at equal steps of at most `step_m`.

    Returns
    -------
    Profile
        At least six points; the first and last are the places themselves.

    Raises
    ------
    ValueError
        If `step_m` is not greater than zero.
    """
    distance_m, lat, lon = path_points(lat1_deg, lon1_deg, lat2_deg, lon2_deg, step_m=step_m)
    return Profile(distance_m, lat, lon, heights(terrain, lat, lon))


def radial_positions(
    lat_deg: float, lon_deg: float, *, azimuths: int, range_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Positions of nodes on evenly spaced radials, azimuth 0 due north, clockwise.

    Returns
    -------
    lat_deg, lon_deg : ndarray, shape (azimuths, nodes)
        [degrees] Between nodes a position is linear in distance.
    node_m : float
        Distance between nodes along a radial; the last node lies at `range_m` or beyond. [m]
    """
    from scipy.interpolate import CubicSpline

    nodes = max(2, int(np.ceil(range_m / NODE_M)) + 1)
    coarse_deg = np.linspace(0.0, 360.0, NODE_AZIMUTHS + 1)
    # Nodes of the last radial equal those of the first, to the bit: the spline is periodic.
    at_m = NODE_M * np.arange(nodes)
    lat, lon = direct(lat_deg, lon_deg, azimuth_deg=np.mod(coarse_deg, 360.0)[:, None], ground_m=at_m[None, :])
    away_deg = np.mod(lon - lon_deg + 180.0, 360.0) - 180.0
    fine_deg = np.arange(azimuths) * (360.0 / azimuths)
    fine_lat = CubicSpline(coarse_deg, lat, axis=0, bc_type="periodic")(fine_deg)
    fine_lon = lon_deg + CubicSpline(coarse_deg, away_deg, axis=0, bc_type="periodic")(fine_deg)
    return fine_lat, fine_lon, NODE_M


def radials(
    grid: HeightGrid,
    lat_deg: float,
    lon_deg: float,
    *,
    azimuths: int,
    step_m: float,
    range_m: float,
    first: int = 0,
    count: int | None = None,
) -> NDArray[np.float32]:
    """Ground heights along evenly spaced radials of a site.

    Parameters
    ----------
    grid : HeightGrid
        Heights round the site, as `sfn.terrain.dem.window` gives them.
    lat_deg, lon_deg : float
        The site. [degrees]
    azimuths : int
        Number of radials in the full circle; radial 0 runs due north, the next ones clockwise.
    step_m, range_m : float
        Distance between samples, and distance of the last at least. [m]
    first, count : int, optional
        Only radials `first` to `first + count - 1`, to keep memory small.

    Returns
    -------
    height_m : ndarray of float32, shape (radials, steps + 1)
        Sample k lies k steps from the site. [m] NaN where not known.
    """
    lat, lon, node_m = radial_positions(lat_deg, lon_deg, azimuths=azimuths, range_m=range_m)
    chosen = slice(first, azimuths if count is None else first + count)
    steps = int(np.ceil(range_m / step_m - 1e-9))
    row, column = grid.rows(lat[chosen]), grid.columns(lon[chosen])
    return np.asarray(sample_radials(grid.height_m, row, column, node_m, step_m, steps + 1))


def bridged(
    height_m: ArrayLike, *, most_samples: int
) -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.int64]]:
    """Profiles with short gaps crossed in a straight line, and where the ground stops being known.

    Parameters
    ----------
    height_m : array_like, shape (profiles, samples)
        NaN where not known. [m]
    most_samples : int
        The longest gap, in missing samples, that is crossed.

    Returns
    -------
    height_m : ndarray of float32
        Gaps of up to `most_samples` filled between their two ends; the rest, as far as it runs, at the last
        known height (0 where none was).
    first_gap : ndarray of int, shape (profiles,)
        First missing sample: from there on a path rests on ground that is not known. Number of samples if none.
    first_break : ndarray of int, shape (profiles,)
        First sample of the first gap that is too long to cross. Number of samples if none.
    """
    filled = np.array(height_m, dtype=np.float32, ndmin=2)
    first_gap, first_break = bridge_gaps(filled, most_samples)
    return filled, first_gap, first_break
