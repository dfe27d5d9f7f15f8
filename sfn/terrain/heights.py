"""A regular grid of heights in latitude and longitude, and the height between its samples.

| field | meaning | unit |
|---|---|---|
| `north_deg`, `west_deg` | centre of the first sample, row 0 and column 0 | degrees |
| `step_lat_deg`, `step_lon_deg` | spacing, both positive; rows run southwards | degrees |
| NaN | not covered, or a void in the data | |
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.terrain.kernels import bilinear, nearest

METRES_PER_DEGREE_M = 111_195.0


@dataclass(frozen=True, slots=True)
class HeightGrid:
    """Heights on a regular grid in WGS84 latitude and longitude; plain data that pickles.

    Parameters
    ----------
    height_m : ndarray of float32, shape (rows, columns)
        Row 0 is the northernmost. NaN where nothing is known. [m]
    north_deg, west_deg : float
        Centre of sample [0, 0]. `west_deg` + columns may run past 180. [degrees]
    step_lat_deg, step_lon_deg : float
        Spacing of rows (southwards) and columns (eastwards). [degrees]
    averaged_n : int
        Samples of the files along each side of one of these: 1 as the files have them, more where it was made
        coarser (means of heights, the middle one of classes).
    finer_n : int
        Samples along each side to one of the files, where it was made finer so that little is lost between samples.
    finest_n : int
        What `finer_n` is over an area small enough.
    """

    height_m: NDArray[np.float32]
    north_deg: float
    west_deg: float
    step_lat_deg: float
    step_lon_deg: float
    averaged_n: int = 1
    finer_n: int = 1
    finest_n: int = 1

    @property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """South, west, north and east edge of the outermost samples' own cells. [degrees]"""
        rows, columns = self.height_m.shape
        north = self.north_deg + self.step_lat_deg / 2
        west = self.west_deg - self.step_lon_deg / 2
        return (north - rows * self.step_lat_deg, west, north, west + columns * self.step_lon_deg)

    def step_m(self, lat_deg: float) -> float:
        """The finer of the two spacings, as the files have it, on the ground at a latitude. [m]"""
        return (
            self.finer_n
            * METRES_PER_DEGREE_M
            * min(self.step_lat_deg, self.step_lon_deg * math.cos(math.radians(lat_deg)))
        )

    def rows(self, lat_deg: ArrayLike) -> NDArray[np.float64]:
        """Fractional row of a latitude, 0 at the northernmost samples."""
        return np.asarray((self.north_deg - np.asarray(lat_deg, dtype=np.float64)) / self.step_lat_deg)

    def columns(self, lon_deg: ArrayLike) -> NDArray[np.float64]:
        """Fractional column of a longitude, whichever way round the earth it was written."""
        edge_deg = self.west_deg - self.step_lon_deg / 2
        turned = np.mod(np.asarray(lon_deg, dtype=np.float64) - edge_deg, 360.0)
        return np.asarray(turned / self.step_lon_deg - 0.5)


def coarser_n(
    per_degree: tuple[float, float], bounds_deg: tuple[float, float, float, float], *, most_samples: int
) -> int:
    """By what whole factor a window of samples must be coarser to stay within a bound; 1: not at all.

    Parameters
    ----------
    per_degree : tuple of float
        Samples to a degree of latitude, and of longitude.
    bounds_deg : tuple of float
        South, west, north and east. [degrees]
    most_samples : int
    """
    south, west, north, east = bounds_deg
    size = ((north - south) * per_degree[0] + 3) * ((east - west) * per_degree[1] + 3)
    return max(1, int(np.ceil(np.sqrt(size / most_samples))))


def sample(grid: HeightGrid, lat_deg: ArrayLike, lon_deg: ArrayLike) -> NDArray[np.float64]:
    """Height at points, bilinear between the four samples around each.

    Parameters
    ----------
    grid : HeightGrid
    lat_deg, lon_deg : array_like, one shape
        Points on WGS84. [degrees]

    Returns
    -------
    height_m : ndarray, the points' shape
        [m] NaN outside the grid (half a step beyond the outermost samples still counts as inside) and
        wherever one of the samples that bear on the point is void.
    """
    lat, lon = np.broadcast_arrays(np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64))
    row, column = grid.rows(lat).ravel(), grid.columns(lon).ravel()
    return np.asarray(bilinear(grid.height_m, row, column)).reshape(lat.shape)


def sample_nearest(grid: HeightGrid, lat_deg: ArrayLike, lon_deg: ArrayLike) -> NDArray[np.float64]:
    """Value of the nearest sample at points: for classes and ground cover, which must not be blended.

    Returns
    -------
    value : ndarray, the points' shape
        NaN outside the grid and on voids.
    """
    lat, lon = np.broadcast_arrays(np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64))
    row, column = grid.rows(lat).ravel(), grid.columns(lon).ravel()
    return np.asarray(nearest(grid.height_m, row, column)).reshape(lat.shape)
