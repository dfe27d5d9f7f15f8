"""What values a raster holds: classes with their shares, or heights."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.terrain.census import census
from sfn.terrain.dem import Terrain, terrain_from_files, terrain_from_grid
from sfn.terrain.heights import HeightGrid


def written(path: Path, values: np.ndarray, *, west: float = 7.0, nodata: float | None = None) -> Path:
    """A GeoTIFF of values."""
    rows, columns = values.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype=values.dtype, crs="EPSG:4326",
        transform=from_origin(west, 51.0, 0.01, 0.01), nodata=nodata,
    ) as out:  # fmt: skip
        out.write(values, 1)
    return path


def source(*paths: Path) -> Terrain:
    """Files as a source of classes."""
    return terrain_from_files(paths, name="made", blended=False)


def test_every_class_is_found_with_its_share(tmp_path: Path) -> None:
    """Shares count known samples of all files together; a void is no class."""
    a = written(tmp_path / "a.tif", np.array([[11, 11, 41, 0]], dtype=np.uint8), nodata=0)
    b = written(tmp_path / "b.tif", np.array([[41, 95]], dtype=np.uint8), west=8.0)
    found = census(source(a, b))

    assert ((11, 40.0), (41, 40.0), (95, 20.0)) == found.shares
    assert (11, 41, 95) == found.classes
    assert (11.0, 95.0, False) == (found.least, found.greatest, found.stepped)


@pytest.mark.parametrize(
    "values",
    [np.linspace(0, 30, 400, dtype=np.float32).reshape(20, 20), np.arange(400, dtype=np.int16).reshape(20, 20)],
)
def test_heights_are_no_classes(tmp_path: Path, values: np.ndarray) -> None:
    """Broken numbers, or hundreds of them, are heights; their range is told."""
    found = census(source(written(tmp_path / "a.tif", values)))

    assert () == found.shares
    assert (float(values.min()), float(values.max())) == (found.least, found.greatest)


def test_a_large_raster_is_looked_at_in_steps(tmp_path: Path) -> None:
    """Above the bound only every second sample counts, and that is said."""
    values = np.tile(np.array([[1, 1, 2, 2], [1, 1, 2, 2]], dtype=np.uint8), (50, 50))
    found = census(source(written(tmp_path / "a.tif", values)), most_samples=6000)

    assert found.stepped
    assert ((1, 50.0), (2, 50.0)) == found.shares


def test_nothing_known_is_said() -> None:
    """A grid of voids has no values."""
    nothing = terrain_from_grid(HeightGrid(np.full((3, 3), np.nan, dtype=np.float32), 51.0, 7.0, 0.1, 0.1), name="void")

    assert ((), None, None) == (census(nothing).shares, census(nothing).least, census(nothing).greatest)
