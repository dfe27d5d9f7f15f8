"""Ground cover and zones: tables are complete or refused, edges stay edges."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.errors import PlanError
from sfn.terrain.cover import class_heights, cover_heights, zone_grid
from sfn.terrain.dem import heights, terrain_from_folder, window
from sfn.terrain.heights import HeightGrid


def classes(*rows: list[float]) -> HeightGrid:
    """A small grid of class numbers."""
    return HeightGrid(np.array(rows, dtype=np.float32), 36.3, -84.2, 0.01, 0.01)


def test_classes_become_heights_by_the_table() -> None:
    """Each class has its height; where there is no class there is no height."""
    found = class_heights(classes([10, 20], [np.nan, 10]), height_m={10: 15.0, 20: 0.0, 30: 8.0})

    assert [15.0, 0.0, 15.0] == [found.height_m[0, 0], found.height_m[0, 1], found.height_m[1, 1]]
    assert np.isnan(found.height_m[1, 0])


def test_a_class_without_a_height_is_named() -> None:
    """Nothing is silently bare: every class that occurs and is not in the table is named."""
    with pytest.raises(PlanError) as caught:
        class_heights(classes([10, 20, 77]), height_m={10: 15.0})

    assert ["class 20 occurs and has no height", "class 77 occurs and has no height"] == [
        p.what for p in caught.value.problems
    ]


def test_a_height_out_of_range_is_named() -> None:
    """A tree of 900 m is a typing error."""
    with pytest.raises(PlanError, match="height of class 10 is 900"):
        class_heights(classes([10]), height_m={10: 900.0})


def test_zones_become_the_values_that_the_model_counts() -> None:
    """Inland 0, coast 1, sea 2."""
    found = zone_grid(classes([1, 2, 3]), zone={1: "sea", 2: "coast", 3: "inland"})

    assert [2.0, 1.0, 0.0] == list(found.height_m[0])


def test_an_unknown_zone_is_refused() -> None:
    """A zone that the model does not know is named."""
    with pytest.raises(PlanError, match="zone 'lake' is not known; inland, coast or sea"):
        zone_grid(classes([1]), zone={1: "lake"})


def test_heights_above_the_sea_are_not_cover() -> None:
    """A surface model given as cover is questioned by its median."""
    with pytest.raises(PlanError, match="the median is 612 m"):
        cover_heights(classes([612, 612, 612]))


def test_cover_keeps_its_edges(tmp_path: Path) -> None:
    """A raster of classes is never blended: between 10 and 90 there is no 50."""
    data = np.full((40, 40), 10, dtype=np.uint8)
    data[:, 20:] = 90
    with rasterio.open(
        tmp_path / "classes.tif", "w", driver="GTiff", width=40, height=40, count=1, dtype="uint8", crs="EPSG:4326",
        transform=from_origin(-84.2, 36.3, 0.001, 0.001),
    ) as out:  # fmt: skip
        out.write(data, 1)
    terrain = terrain_from_folder(tmp_path, blended=False)
    along = np.linspace(-84.19, -84.17, 101)
    whole = window(terrain, south_deg=36.27, west_deg=-84.19, north_deg=36.29, east_deg=-84.17, most_samples=300)

    assert {10.0, 90.0} == set(heights(terrain, 36.28, along).tolist())
    assert {10.0, 90.0} == set(np.unique(whole.height_m).tolist())
