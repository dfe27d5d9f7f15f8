"""Where the seas of the earth lie, coarsely: enough to ask for zones where a sea is near, not to draw them.

`sea_cells.npz` holds one bit a cell of a tenth of a degree: whether at least half of it is sea in the elevation model
GLOBE (U.S. NOAA, 1999, in the public domain), whose sea is void; taken from the mask of the package global-land-mask
1.0.0 (MIT). Lakes count as land there, however large.
"""

from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

CELL_DEG = 0.1
# P.1812, 3.3: what lies within this of the sea, and low, is coastal land.
COAST_KM = 50.0
KM_PER_DEGREE = 111.195


@lru_cache(maxsize=1)
def _cells() -> NDArray[np.bool_]:
    """Sea by cell, row 0 at the north pole, column 0 at 180 degrees west."""
    with np.load(Path(__file__).with_name("sea_cells.npz"), allow_pickle=False) as held:
        return np.unpackbits(held["cells"], axis=1).astype(np.bool_)


def at_sea(lat_deg: NDArray[np.float64], lon_deg: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether places lie in cells of sea, shape of both.

    Parameters
    ----------
    lat_deg, lon_deg : ndarray, one shape
        [degrees]

    Examples
    --------
    >>> at_sea(np.array([48.0, 54.5]), np.array([11.0, 3.0])).tolist()
    [False, True]
    """
    cells = _cells()
    row = np.clip(((90.0 - lat_deg) / CELL_DEG).astype(np.int64), 0, cells.shape[0] - 1)
    return np.asarray(cells[row, ((lon_deg + 180.0) / CELL_DEG).astype(np.int64) % cells.shape[1]])


def land_ratio(bounds_deg: tuple[float, float, float, float]) -> float:
    """Which part of the cells in a rectangle is no sea, 0 to 1.

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north and east. [degrees]

    Examples
    --------
    >>> land_ratio((47.0, 10.0, 48.0, 11.0)), land_ratio((54.0, 3.0, 55.0, 4.0))
    (1.0, 0.0)
    """
    cells = _cells()
    south, west, north, east = bounds_deg
    rows = np.arange(int((90.0 - north) / CELL_DEG), max(int((90.0 - south) / CELL_DEG), 1))
    columns = np.arange(round((west + 180.0) / CELL_DEG), round((east + 180.0) / CELL_DEG))
    looked = cells[rows.clip(0, cells.shape[0] - 1)[:, None], columns % cells.shape[1]]
    return float(1.0 - looked.mean())


def sea_km(lat_deg: float, lon_deg: float) -> float:
    """Distance to the nearest cell that is sea, to its near edge; 0 in one, infinite where none lies within 60 km.

    Parameters
    ----------
    lat_deg, lon_deg : float
        [degrees]

    Returns
    -------
    distance_km : float
        To 10 km or so. [km]

    Examples
    --------
    >>> sea_km(48.0, 11.0)
    inf
    >>> sea_km(54.5, 3.0)
    0.0
    """
    cells = _cells()
    rows, columns = cells.shape
    reach_km = COAST_KM + 10.0
    side = int(np.ceil(reach_km / KM_PER_DEGREE / CELL_DEG)) + 1
    narrow = max(float(np.cos(np.radians(lat_deg))), 0.02)
    row, column = int((90.0 - lat_deg) / CELL_DEG), int((lon_deg + 180.0) / CELL_DEG)
    r = np.arange(max(row - side, 0), min(row + side + 1, rows))
    c = np.arange(column - int(side / narrow) - 1, column + int(side / narrow) + 2)
    north = 90.0 - CELL_DEG * (r[:, None] + 0.5)
    east = -180.0 + CELL_DEG * (c[None, :] + 0.5)
    up = np.maximum(np.abs(north - lat_deg) - CELL_DEG / 2, 0.0)
    along = np.maximum(np.abs(east - lon_deg) - CELL_DEG / 2, 0.0) * narrow
    apart = KM_PER_DEGREE * np.hypot(up, along)
    at_sea = apart[cells[r[:, None], c[None, :] % columns]]
    nearest = float(at_sea.min(initial=np.inf))
    return nearest if nearest <= reach_km else float("inf")
