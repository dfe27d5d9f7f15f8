"""Rasters as files: PNG for the screen, GeoTIFF with unit and revision for other programs."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid

WEB_MERCATOR = "EPSG:3857"


def png(rgba: NDArray[np.uint8]) -> bytes:
    """RGBA pixels, shape (rows, columns, 4), as a PNG file."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(rgba).save(out, format="PNG", compress_level=3)
    return out.getvalue()


def geotiff(values: NDArray[np.float32], grid: Grid, *, name: str, unit: str, tags: Mapping[str, str]) -> bytes:
    """One layer as a GeoTIFF in Web Mercator, float32, NaN where not covered.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
    grid : Grid
    name, unit : str
        Of the layer; stand as the band's description and unit.
    tags : mapping of str
        Network, revision, checksum and what else tells a stale file from a current one.
    """
    from rasterio.io import MemoryFile
    from rasterio.transform import Affine

    profile: dict[str, Any] = {
        "driver": "GTiff",
        "height": grid.rows_n,
        "width": grid.columns_n,
        "count": 1,
        "dtype": "float32",
        "crs": WEB_MERCATOR,
        "transform": Affine(*grid.transform),
        "nodata": float("nan"),
        "compress": "deflate",
    }
    with MemoryFile() as memory:
        with memory.open(**profile) as file:
            file.write(values.astype(np.float32), 1)
            file.set_band_description(1, name)
            file.set_band_unit(1, unit)
            file.update_tags(**tags, unit=unit)
        return bytes(memory.getbuffer())
