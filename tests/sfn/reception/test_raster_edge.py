"""A map that is larger than its raster of people says so."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.geodesy.grid import grid_for
from sfn.reception.raster_edge import edge_says


@pytest.mark.parametrize(
    ("bounds", "ends"),
    [
        ((36.1, -84.4, 36.4, -84.1), False),
        ((36.0, -84.5, 36.5, -84.0), False),
        ((36.1, -84.4, 36.53, -84.1), True),
        ((36.1, -84.4, 36.4, -83.97), True),
        ((35.97, -84.4, 36.4, -84.1), True),
        ((36.1, -84.53, 36.4, -84.1), True),
    ],
)
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
def test_beyond_any_of_its_edges(
    tmp_path: Path, bounds: tuple[float, float, float, float], ends: bool, crs: str
) -> None:
    """A raster from 36.0 to 36.5 N, 84.5 to 84.0 W, in degrees and in metres (Web Mercator: 6378137 m a radian)."""
    radius, cells = 6_378_137.0, 100
    if crs == "EPSG:4326":
        place = from_origin(-84.5, 36.5, 0.5 / cells, 0.5 / cells)
    else:
        south, north = (radius * np.arctanh(np.sin(np.radians(lat))) for lat in (36.0, 36.5))
        wide = radius * np.radians(0.5)
        place = from_origin(radius * np.radians(-84.5), north, wide / cells, (north - south) / cells)
    path = tmp_path / "people.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=cells, height=cells, count=1, dtype="float32", crs=crs, transform=place
    ) as out:
        out.write(np.ones((cells, cells), dtype=np.float32), 1)

    says = edge_says(path, grid_for(bounds, pixel_m=500.0))
    assert says == ("; the file ends within the map, and beyond its edge nobody is counted" if ends else "")
