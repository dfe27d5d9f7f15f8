"""Whether a raster of people ends within a map: beyond its edge nobody is counted, and that must be said."""

from pathlib import Path

import rasterio
import rasterio.warp

from sfn.geodesy.grid import Grid


def edge_says(path: Path, grid: Grid) -> str:
    """That a raster ends within a map, as the end of a sentence; empty where the map lies within it.

    Parameters
    ----------
    path : Path
        A GeoTIFF with a coordinate system.
    grid : Grid
        The map. Up to a cell beyond the raster's edge counts as within.
    """
    south, west, north, east = grid.bounds_deg
    with rasterio.open(path, driver="GTiff") as source:
        box = rasterio.warp.transform_bounds("EPSG:4326", source.crs, west, south, east, north, densify_pts=21)
        left, bottom, right, top = source.bounds
        cell = max(abs(source.transform.a), abs(source.transform.e))
    beyond = max(left - box[0], bottom - box[1], box[2] - right, box[3] - top) > cell
    return "; the file ends within the map, and beyond its edge nobody is counted" if beyond else ""
