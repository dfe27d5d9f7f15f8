"""One line between two places: geodesic, length with heights, travel time. Exact, by PROJ.

| symbol | name | unit |
|---|---|---|
| s | `ground_m`, geodesic on the WGS84 ellipsoid | m |
| dh | `height_difference_m`, of the antennas above sea level | m |
| L | `distance_m`, length of the path | m |
| n | refractive index, ``1 + N * 1e-6`` | 1 |
| t | travel time, ``L n / c`` | us |

This module decides, once, which length a travel time is about: ``L = sqrt(s^2 + dh^2)``. See `path_length`
for what that costs against the straight chord in space.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

from sfn.units import DEFAULT_REFRACTIVITY_N, SPEED_OF_LIGHT_M_PER_US, refractive_index

Floats = NDArray[np.float64]

METRES_PER_DEGREE_M = 111_319.49  # of the equator on WGS84


@lru_cache(maxsize=1)
def wgs84() -> Geod:
    """The WGS84 ellipsoid of PROJ, made once. Safe to share between threads."""
    return Geod(ellps="WGS84")


def inverse(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Ground distance and azimuths of the geodesic between places on WGS84.

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg : array_like, shapes that broadcast together
        Latitudes and longitudes of the first and the second place. [degrees]

    Returns
    -------
    ground_m : ndarray, the common shape
        Length of the shortest geodesic. [m]  NaN where a coordinate is NaN.
    azimuth_deg : ndarray
        Bearing at the first place towards the second, clockwise from true north. [degrees, 0 to 360]
    back_azimuth_deg : ndarray
        Bearing at the second place towards the first. [degrees, 0 to 360]  Where both places are
        the same, the azimuths say nothing.

    Raises
    ------
    ValueError
        If a latitude is outside -90 to 90 or a longitude outside -360 to 360 degrees.

    Notes
    -----
    Series of sixth order in the flattening, which converge for every pair, also near-antipodal
    ones, good to 15 nm [1]_.

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 43-55 (2013), as in PROJ.

    Examples
    --------
    Row of the GeodTest set, published as 4 105 086.1713924406 m:

    >>> ground_m, _, _ = inverse(55.52454, 106.05087, 77.03196, 197.18234)
    >>> print(f"{ground_m:.6f}")
    4105086.171392
    """
    lat1, lon1, lat2, lon2 = np.broadcast_arrays(
        _latitude("lat1_deg", lat1_deg),
        _longitude("lon1_deg", lon1_deg),
        _latitude("lat2_deg", lat2_deg),
        _longitude("lon2_deg", lon2_deg),
    )
    # pyproj wants writable, contiguous copies; np.array makes them of the broadcast views
    ahead, back, ground = wgs84().inv(np.array(lon1), np.array(lat1), np.array(lon2), np.array(lat2))
    return np.asarray(ground), np.asarray(ahead) % 360.0, np.asarray(back) % 360.0


def direct(
    lat_deg: ArrayLike, lon_deg: ArrayLike, *, azimuth_deg: ArrayLike, ground_m: ArrayLike
) -> tuple[Floats, Floats]:
    """The place that lies a ground distance away in a direction, along the WGS84 geodesic.

    Parameters
    ----------
    lat_deg, lon_deg : array_like, shapes that broadcast together
        Where the line starts. [degrees]
    azimuth_deg : array_like
        Direction at the start, clockwise from true north. [degrees]
    ground_m : array_like
        Distance along the ground; negative goes the other way. [m]

    Returns
    -------
    lat_deg, lon_deg : ndarray, the common shape
        The place reached, longitude from -180 to 180. [degrees]  NaN where an argument is NaN.

    Raises
    ------
    ValueError
        If a latitude is outside -90 to 90, a longitude outside -360 to 360 degrees, or a distance infinite.

    Examples
    --------
    Flinders Peak to Buninyong (37 39 10.1561 S, 143 55 35.3839 E) on WGS84 with the azimuth published for GRS80:

    >>> lat, lon = direct(-37.951033417, 144.424867889, azimuth_deg=306.868159, ground_m=54_972.271)
    >>> print(f"{lat:.6f} {lon:.6f}")
    -37.652821 143.926496
    """
    lat, lon, azimuth, ground = np.broadcast_arrays(
        _latitude("lat_deg", lat_deg),
        _longitude("lon_deg", lon_deg),
        _finite("azimuth_deg", azimuth_deg, unit="degrees"),
        _finite("ground_m", ground_m, unit="m"),
    )
    lon2, lat2, _ = wgs84().fwd(np.array(lon), np.array(lat), np.array(azimuth), np.array(ground))
    return np.asarray(lat2), np.asarray(lon2)


def points_along(
    lat1_deg: float,
    lon1_deg: float,
    lat2_deg: float,
    lon2_deg: float,
    *,
    points_n: int | None = None,
    ground_m: ArrayLike | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Places on the geodesic from one place to another: equally spaced, or at given distances.

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg : float
        First and second place. [degrees]
    points_n : int, optional
        How many equally spaced points, both ends included; at least 2.
    ground_m : array_like, shape (P,), optional
        Distances from the first place; negative, or beyond the second, is on the line drawn further. [m]

    Returns
    -------
    lat_deg, lon_deg : ndarray, shape (P,)
        The points. [degrees]
    ground_m : ndarray, shape (P,)
        Distance of each from the first place. [m]

    Raises
    ------
    ValueError
        If not exactly one of `points_n` and `ground_m` is given, `points_n` is below 2, a coordinate is
        out of range, or the two places are the same and a distance other than 0 is asked for: no direction.
    """
    if (points_n is None) == (ground_m is None):
        raise ValueError("give either points_n or ground_m, not both and not neither")
    whole, azimuth, _ = inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    if points_n is not None:
        if points_n < 2:
            raise ValueError(f"points_n must be 2 or more, got {points_n!r}")
        along = np.linspace(0.0, float(whole), points_n)
    else:
        along = np.atleast_1d(np.asarray(ground_m, dtype=np.float64))
        if whole == 0 and np.any(along != 0):
            raise ValueError("the two places are the same, so a line at ground_m from the first has no direction")
    lat, lon = direct(lat1_deg, lon1_deg, azimuth_deg=azimuth, ground_m=along)
    return lat, lon, along


def path_length(ground_m: ArrayLike, *, height_difference_m: ArrayLike) -> Floats:
    """Length of the path between two antennas, from ground distance and heights above sea level.

    Parameters
    ----------
    ground_m : array_like
        Geodesic along the ellipsoid. [m]
    height_difference_m : array_like
        Difference of the antenna heights above sea level, of either sign. [m]

    Returns
    -------
    distance_m : ndarray, the common shape
        ``L = sqrt(s^2 + dh^2)``. [m]

    Raises
    ------
    ValueError
        If a ground distance is negative.

    Notes
    -----
    Every "1 ns" of this project is 1 ns of *this* length; it is what a colleague can check with a
    pocket calculator. The straight chord in space differs from it: at sea level the chord is shorter by
    about ``s^3 / (24 R^2)``, 3.4 ns at 100 km and 92 ns at 300 km; between summits it is longer by about
    ``s h / R``, so that at 100 km between 1 500 m summits L is short by up to about 80 ns. (The ray
    is bent and follows neither.) `tests/sfn/geodesy/test_line.py` shows these figures.

    Examples
    --------
    50 km with 500 m between the antennas is 2.50 m longer than the ground:

    >>> print(f"{path_length(50_000, height_difference_m=500) - 50_000:.2f}")
    2.50
    """
    ground = np.asarray(ground_m, dtype=np.float64)
    if np.any(ground < 0):
        raise ValueError(f"ground_m must be 0 m or more, got {np.nanmin(ground)}")
    return np.asarray(np.hypot(ground, np.asarray(height_difference_m, dtype=np.float64)))


def travel_time(distance_m: ArrayLike, *, refractivity_n: float = DEFAULT_REFRACTIVITY_N) -> Floats:
    """Time a signal takes along a line through the lower atmosphere.

    Parameters
    ----------
    distance_m : array_like, any shape
        Length of the path, see `path_length`. [m]
    refractivity_n : float, default 315
        Surface refractivity of the air along the line; ITU-R P.453 gives 315 as the world's mean. [N-units]

    Returns
    -------
    travel_us : ndarray, shape of `distance_m`
        Travel time. [us]  NaN where `distance_m` is NaN.

    Raises
    ------
    ValueError
        If a distance is negative, or `refractivity_n` is outside 200 to 500.

    Notes
    -----
    ``t = L (1 + N * 1e-6) / c``, eq. (1) of [1]_ for the index.

    References
    ----------
    .. [1] ITU-R P.453, eq. (1): n = 1 + N * 1e-6.

    Examples
    --------
    Flinders Peak to Buninyong, 54 972.271 m on GRS80 (GDA94 Technical Manual):

    >>> print(f"{travel_time(54_972.271):.4f}")
    183.4255
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    if np.any(distance < 0):
        raise ValueError(f"distance_m must be 0 m or more, got {np.nanmin(distance)}")
    return np.asarray(distance * (refractive_index(refractivity_n) / SPEED_OF_LIGHT_M_PER_US))


def sphere_bearing(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> Floats:  # fmt: skip
    """Bearing at the first place towards the second on the sphere: quick, for rasters of a million pixels.

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg : array_like, shapes that broadcast together
        [degrees]

    Returns
    -------
    bearing_deg : ndarray, the common shape
        Clockwise from true north; within a fifth of a degree of the geodesic's. [degrees, -180 to 180]
    """
    lat1, lat2 = (np.radians(np.asarray(lat, dtype=np.float64)) for lat in (lat1_deg, lat2_deg))
    east = np.radians(np.asarray(lon2_deg, dtype=np.float64) - np.asarray(lon1_deg, dtype=np.float64))
    north = np.cos(lat1) * np.sin(lat2) - np.sin(lat1) * np.cos(lat2) * np.cos(east)
    return np.asarray(np.degrees(np.arctan2(np.sin(east) * np.cos(lat2), north)))


def _latitude(name: str, value_deg: ArrayLike) -> Floats:
    """The latitudes as an array, or a refusal by name."""
    return _within(name, value_deg, limit_deg=90.0)


def _longitude(name: str, value_deg: ArrayLike) -> Floats:
    """The longitudes as an array, or a refusal by name; a full turn either way is understood."""
    return _within(name, value_deg, limit_deg=360.0)


def _within(name: str, value_deg: ArrayLike, *, limit_deg: float) -> Floats:
    """Angles no further than a limit from zero, NaN let through."""
    angles = np.asarray(value_deg, dtype=np.float64)
    if np.any(wrong := np.abs(angles) > limit_deg):
        raise ValueError(f"{name} must be from {-limit_deg:g} to {limit_deg:g} degrees, got {angles[wrong].flat[0]}")
    return angles


def _finite(name: str, value: ArrayLike, *, unit: str) -> Floats:
    """The numbers as an array, infinities refused by name, NaN let through."""
    numbers = np.asarray(value, dtype=np.float64)
    if np.any(np.isinf(numbers)):
        raise ValueError(f"{name} must be finite {unit}, got {numbers[np.isinf(numbers)].flat[0]}")
    return numbers
