"""People of rasters in projected systems: their sum is kept on the map, wherever its cells fall."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
import rasterio.warp
from rasterio.transform import from_origin

from sfn.geodesy.grid import grid_for
from sfn.reception.listeners import from_raster

MIDDLE = (36.3, -84.2)
ROWS, COLUMNS = 240, 300


@pytest.mark.parametrize(("system", "cell_m"), [("EPSG:32616", 100.0), ("ESRI:54009", 100.0), ("ESRI:54009", 1000.0)])
@pytest.mark.parametrize("pixel_m", [150.0, 700.0, 3000.0])
def test_the_sum_of_people_is_kept(system: str, cell_m: float, pixel_m: float, tmp_path: Path) -> None:
    """UTM 16 and Mollweide, cells larger and smaller than the map's pixels, a map that holds all of them: to 0.1 %."""
    x, y = (at[0] for at in rasterio.warp.transform("EPSG:4326", system, [MIDDLE[1]], [MIDDLE[0]]))
    people = np.random.default_rng(5).uniform(0.0, 40.0, (ROWS, COLUMNS)) * (cell_m / 100.0)
    people[::7] = 0.0
    place = from_origin(x - COLUMNS * cell_m / 2, y + ROWS * cell_m / 2, cell_m, cell_m)
    path = tmp_path / "people.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=COLUMNS, height=ROWS, count=1, dtype="float32", crs=system, transform=place,
        nodata=-200.0,
    ) as out:  # fmt: skip
        out.write(people.astype(np.float32), 1)
    side = 0.35 * cell_m / 100.0
    grid = grid_for(
        (MIDDLE[0] - side, MIDDLE[1] - side, MIDDLE[0] + side, MIDDLE[1] + side), pixel_m=pixel_m * cell_m / 100.0
    )
    counted = from_raster(path, grid)
    assert counted.sum() == pytest.approx(people.sum(), rel=1e-3)
    # The middle of all people stays where it was, to half a cell of the coarser raster.
    lat = (counted.reshape(grid.shape).sum(axis=1) * grid.lat_deg).sum() / counted.sum()
    assert lat == pytest.approx(MIDDLE[0], abs=0.02 * cell_m / 100.0)
