"""The ground as a picture beneath the map's layers."""

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid
from sfn.reception.coverage import Coverage
from sfn.terrain.dem import Terrain, heights
from sfn.terrain.shade import hillshade

_PAPER, _DARK = np.array([250, 247, 238]), np.array([128, 124, 112])
_MOST_ACROSS_N, _MOST_SHADED_M = 240, 400_000.0


def shaded(made: Coverage) -> NDArray[np.uint8]:
    """Hillshade of the ground of a coverage as RGBA pixels, shape (rows, columns, 4); clear where there is none."""
    return shade_of(made.rx_ground_m.reshape(made.grid.shape), step_m=made.grid.pixel_m)


def shade_of(height_m: NDArray[np.float32] | NDArray[np.float64], *, step_m: float) -> NDArray[np.uint8]:
    """Hillshade of heights on square pixels as RGBA, shape (rows, columns, 4); clear where no height is known."""
    light = hillshade(height_m, step_x_m=step_m, step_y_m=step_m, exaggeration_factor=1.5)
    share = np.clip(np.nan_to_num(light, nan=1.0), 0.0, 1.0)[..., None]
    rgb = (_DARK + (_PAPER - _DARK) * share).round().astype(np.uint8)
    alpha = np.where(np.isfinite(height_m), 255, 0).astype(np.uint8)
    return np.dstack([rgb, alpha])


def usual_shade(terrain: Terrain, grid: Grid) -> NDArray[np.uint8] | None:
    """Hillshade of the terrain under a grid before anything is computed on it; None where the grid is too wide for it.

    Parameters
    ----------
    terrain : Terrain
    grid : Grid
        The picture has its edges, and `_MOST_ACROSS_N` pixels at most along each.

    Returns
    -------
    pixels : ndarray of uint8, shape (rows, columns, 4), or None
        As `shade_of`. None beyond 400 km, where it takes long and says nothing any more.
    """
    most = max(grid.rows_n, grid.columns_n)
    if most * grid.pixel_m > _MOST_SHADED_M:
        return None
    factor = max(1.0, most / _MOST_ACROSS_N)
    rows_n, columns_n = max(2, round(grid.rows_n / factor)), max(2, round(grid.columns_n / factor))
    lat, lon = _middles(grid.lat_deg, rows_n), _middles(grid.lon_deg, columns_n)
    at_lat, at_lon = np.meshgrid(lat, lon, indexing="ij")
    height_m = heights(terrain, at_lat.ravel(), at_lon.ravel()).reshape(rows_n, columns_n)
    return shade_of(height_m, step_m=grid.pixel_m * grid.columns_n / columns_n)


def _middles(centres: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Middles of `count` even parts of a row of pixels whose centres are given."""
    at = (np.arange(count) + 0.5) * len(centres) / count - 0.5
    return np.interp(at, np.arange(len(centres)), centres)
