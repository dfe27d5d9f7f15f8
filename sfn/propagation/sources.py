"""Rasters as the sweep's kernels take them, and how far its receivers lie."""

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.line import inverse
from sfn.propagation.link import LatLonRaster

Floats = NDArray[np.float64]
LATITUDE_MARGIN = 1.02


def source(raster: LatLonRaster | None, lat_deg: float, lon_deg: float) -> tuple[NDArray[np.float32], Floats]:
    """Values, the site's row and column, and rows and columns a degree; nothing there: an empty array."""
    if raster is None:
        return np.empty((0, 0), dtype=np.float32), np.zeros(4)
    middle_deg = raster.lon_deg + 0.5 * raster.lon_step_deg * (raster.values.shape[1] - 1)
    east_deg = (lon_deg - middle_deg + 180.0) % 360.0 - 180.0 + middle_deg - raster.lon_deg
    at = np.array(
        [
            (lat_deg - raster.lat_deg) / raster.lat_step_deg,
            east_deg / raster.lon_step_deg,
            1.0 / raster.lat_step_deg,
            1.0 / raster.lon_step_deg,
        ]
    )
    return np.ascontiguousarray(raster.values, dtype=np.float32), at


def reach_km_of(lat_deg: float, lon_deg: float, lat: Floats, lon: Floats) -> float:
    """A little more than the distance to the farthest corner of the receivers' bounds. [km]"""
    if lat.size == 0 or np.isnan(lat).all():
        return 0.0
    south, north, west, east = (float(v) for v in (np.nanmin(lat), np.nanmax(lat), np.nanmin(lon), np.nanmax(lon)))
    t = np.linspace(0.0, 1.0, 33)
    lats = np.concatenate([south + t * (north - south)] * 2 + [np.full(33, south), np.full(33, north)])
    lons = np.concatenate([np.full(33, west), np.full(33, east)] + [west + t * (east - west)] * 2)
    return float(LATITUDE_MARGIN * np.max(inverse(lat_deg, lon_deg, lats, lons)[0]) / 1000.0)
