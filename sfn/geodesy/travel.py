"""Lengths, directions and travel times from every site to every pixel or point, within 1 ns.

`sfn.geodesy.line` is exact and asks PROJ for every pair; here a series does the same for millions of pairs
(`sfn.geodesy.kernels`), at least twenty times faster (tests/bench/bench_travel.py). Where a line is longer than
the series is good for, PROJ is asked after all.
"""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.geodesy.extent import WGS84_A_M, WGS84_E2_RATIO
from sfn.geodesy.grid import Grid
from sfn.geodesy.kernels import azimuth_on_rows, azimuth_to_points, ground_on_rows, ground_to_points
from sfn.geodesy.line import inverse
from sfn.units import DEFAULT_REFRACTIVITY_N, SPEED_OF_LIGHT_M_PER_US, refractive_index

Floats = NDArray[np.float64]

# At 1 000 km the series is 0.14 m long or short, 0.5 ns; longer lines go to PROJ.
LONGEST_SERIES_M = 1_000_000.0
# Pixels of one piece of work: fits a processor's cache, and is long beside the call of a thread.
BLOCK_N = 65_536


@dataclass(frozen=True, slots=True)
class Points:
    """Receiving points that are no raster.

    Parameters
    ----------
    lat_deg, lon_deg : ndarray, shape (M,)
        WGS84. [degrees]
    """

    lat_deg: Floats
    lon_deg: Floats

    @property
    def shape(self) -> tuple[int, ...]:
        """How many there are, as the shape of an array."""
        return self.lat_deg.shape


def ground_distances(
    area: Grid | Points, *, lat_deg: ArrayLike, lon_deg: ArrayLike, executor: Executor | None = None
) -> Floats:
    """Geodesic on the ground from every site to every pixel or point.

    Parameters
    ----------
    area : Grid or Points
        Where the signals are received.
    lat_deg, lon_deg : array_like, shape (S,) or one number
        The sites. [degrees]
    executor : concurrent.futures.Executor, optional
        Threads to share the work among; the loops hold no interpreter lock.

    Returns
    -------
    ground_m : ndarray, shape (S, rows, columns) or (S, M)
        Within 0.2 mm up to 300 km and 0.15 m at any length of `sfn.geodesy.line.inverse`. [m]

    Raises
    ------
    ValueError
        If a site's or a point's coordinate is out of range or not a number.
    """
    return _lengths(area, lat_deg, lon_deg, executor, lambda ground, _site, _rows: ground)


def path_lengths(
    area: Grid | Points,
    *,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    antenna_asl_m: ArrayLike,
    receiver_asl_m: ArrayLike,
    executor: Executor | None = None,
) -> Floats:
    """Length of the path from every site's antenna to every receiving antenna, ``sqrt(s^2 + dh^2)``.

    Parameters
    ----------
    area, lat_deg, lon_deg, executor
        As for `ground_distances`.
    antenna_asl_m : array_like, shape (S,) or one number
        Height of the transmitting antennas above sea level. [m]
    receiver_asl_m : array_like, shape of the area or one number
        Height of the receiving antennas above sea level. [m]  Where it is NaN, so is the length.

    Returns
    -------
    distance_m : ndarray, shape (S, rows, columns) or (S, M)
        The length that `sfn.geodesy.line.path_length` defines. [m]

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number.
    """
    return _lengths(area, lat_deg, lon_deg, executor, _slant(area, lat_deg, antenna_asl_m, receiver_asl_m, factor=1.0))


def travel_times(
    area: Grid | Points,
    *,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    antenna_asl_m: ArrayLike,
    receiver_asl_m: ArrayLike,
    refractivity_n: float = DEFAULT_REFRACTIVITY_N,
    executor: Executor | None = None,
) -> Floats:
    """Travel time from every site's antenna to every receiving antenna.

    Parameters
    ----------
    area, lat_deg, lon_deg, antenna_asl_m, receiver_asl_m, executor
        As for `path_lengths`.
    refractivity_n : float, default 315
        Surface refractivity of the air, as for `sfn.geodesy.line.travel_time`. [N-units]

    Returns
    -------
    travel_us : ndarray, shape (S, rows, columns) or (S, M)
        Within 1 ns of `sfn.geodesy.line`, pair by pair; 1 ps up to 300 km. [us]

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number, or `refractivity_n` is outside 200 to 500.
    """
    factor = refractive_index(refractivity_n) / SPEED_OF_LIGHT_M_PER_US
    return _lengths(
        area, lat_deg, lon_deg, executor, _slant(area, lat_deg, antenna_asl_m, receiver_asl_m, factor=factor)
    )


def azimuths(
    area: Grid | Points, *, lat_deg: ArrayLike, lon_deg: ArrayLike, executor: Executor | None = None
) -> Floats:
    """Direction from every site towards every pixel or point, for antenna patterns.

    Parameters
    ----------
    area, lat_deg, lon_deg, executor
        As for `ground_distances`.

    Returns
    -------
    azimuth_deg : ndarray, shape (S, rows, columns) or (S, M)
        Clockwise from true north. [degrees, 0 to 360]  That of the plane section: within 0.0001 degrees of
        the geodesic's up to 300 km, 0.001 up to 1 000 km. For a bearing that is printed use `line.inverse`.

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number.
    """
    lat, lon = _sites(lat_deg, lon_deg)
    r1, z1 = _meridian(lat)
    site = np.stack([r1, z1, np.sin(np.radians(lat)), np.cos(np.radians(lat))], axis=1)
    half1 = _half(lon)
    out = np.empty((lat.size, *area.shape))
    place_lat, place_lon = _places(area)
    r2, z2 = _meridian(place_lat)
    half2 = _half(place_lon)

    def work(index: int, rows: slice) -> None:
        if isinstance(area, Grid):
            difference = np.radians(place_lon - lon[index]) / 2
            azimuth_on_rows(site[index], r2[rows], z2[rows], np.sin(difference), np.cos(difference), out[index, rows])
        else:
            azimuth_to_points(site[index], half1[:, index], r2[rows], z2[rows], half2[:, rows], out[index, rows])

    _share(area, lat.size, executor, work)
    return out


def _lengths(
    area: Grid | Points,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    executor: Executor | None,
    finish: Callable[[Floats, int, slice], Floats],
) -> Floats:
    """Ground distances, block by block, and what `finish` makes of each block of a site."""
    lat, lon = _sites(lat_deg, lon_deg)
    r1, z1 = _meridian(lat)
    half1 = _half(lon)
    out = np.empty((lat.size, *area.shape))
    place_lat, place_lon = _places(area)
    r2, z2 = _meridian(place_lat)
    half2 = _half(place_lon)

    def work(index: int, rows: slice) -> None:
        block = out[index, rows]
        if isinstance(area, Grid):
            sine = np.sin(np.radians(place_lon - lon[index]) / 2)
            ground_on_rows(r1[index], z1[index], r2[rows], z2[rows], sine, block)
        else:
            ground_to_points(r1[index], z1[index], half1[:, index], r2[rows], z2[rows], half2[:, rows], block)
        if np.any(far := block > LONGEST_SERIES_M):
            lats = place_lat[rows, None] if isinstance(area, Grid) else place_lat[rows]
            lons = place_lon if isinstance(area, Grid) else place_lon[rows]
            far_lat, far_lon = (np.broadcast_to(angles, block.shape)[far] for angles in (lats, lons))
            block[far] = inverse(lat[index], lon[index], far_lat, far_lon)[0]
        out[index, rows] = finish(block, index, rows)

    _share(area, lat.size, executor, work)
    return out


def _slant(
    area: Grid | Points, lat_deg: ArrayLike, antenna_asl_m: ArrayLike, receiver_asl_m: ArrayLike, *, factor: float
) -> Callable[[Floats, int, slice], Floats]:
    """What makes ``factor * sqrt(s^2 + dh^2)`` of a block of ground distances, in place."""
    antennas = np.broadcast_to(np.asarray(antenna_asl_m, dtype=np.float64), np.atleast_1d(np.asarray(lat_deg)).shape)
    receivers = np.broadcast_to(np.asarray(receiver_asl_m, dtype=np.float64), area.shape)

    def finish(block: Floats, index: int, rows: slice) -> Floats:
        difference = receivers[rows] - antennas[index]
        np.multiply(block, block, out=block)
        block += np.multiply(difference, difference, out=difference)
        np.sqrt(block, out=block)
        block *= factor
        return block

    return finish


def _share(area: Grid | Points, sites_n: int, executor: Executor | None, work: Callable[[int, slice], None]) -> None:
    """Do the work for every site and block of rows, on threads where there are any."""
    step = max(1, BLOCK_N // area.shape[1]) if isinstance(area, Grid) else BLOCK_N
    tasks = [(index, slice(at, at + step)) for index in range(sites_n) for at in range(0, area.shape[0], step)]
    if executor is None:
        for index, rows in tasks:
            work(index, rows)
    else:
        for done in [executor.submit(work, index, rows) for index, rows in tasks]:
            done.result()


def _sites(lat_deg: ArrayLike, lon_deg: ArrayLike) -> tuple[Floats, Floats]:
    """The sites as arrays of one length."""
    lat, lon = np.broadcast_arrays(*(np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (lat_deg, lon_deg)))
    _refuse_off_globe(lat, lon, whose="a site's")
    return lat, lon


def _places(area: Grid | Points) -> tuple[Floats, Floats]:
    """Latitudes and longitudes of an area: of rows and columns, or of points."""
    _refuse_off_globe(area.lat_deg, area.lon_deg, whose="a point's")
    return area.lat_deg, area.lon_deg


def _refuse_off_globe(lat_deg: Floats, lon_deg: Floats, *, whose: str) -> None:
    """Say no to coordinates that are out of range or not numbers."""
    for name, angles, limit in (("lat_deg", lat_deg, 90.0), ("lon_deg", lon_deg, 360.0)):
        if not np.all(good := np.abs(angles) <= limit):
            raise ValueError(
                f"{whose} {name} must be from {-limit:g} to {limit:g} degrees, got {angles[~good].flat[0]}"
            )


def _meridian(lat_deg: Floats) -> tuple[Floats, Floats]:
    """Distance from the axis and height over the equator plane of places on the ellipsoid. [m]"""
    phi = np.radians(lat_deg)
    prime_m = WGS84_A_M / np.sqrt(1.0 - WGS84_E2_RATIO * np.sin(phi) ** 2)
    return prime_m * np.cos(phi), prime_m * (1.0 - WGS84_E2_RATIO) * np.sin(phi)


def _half(lon_deg: Floats) -> Floats:
    """Sine and cosine of half the longitudes, shape (2, M)."""
    half = np.radians(lon_deg) / 2
    return np.stack([np.sin(half), np.cos(half)])
