"""The ground by the names of its folders: opened elsewhere it is the same, or somebody is told."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.errors import PlanError
from sfn.terrain.dem import terrain_from_folder, terrain_from_grid, window
from sfn.terrain.ground import Ground
from sfn.terrain.named import named, opened
from sfn.terrain.ridge import ridge


def written(folder: Path, height_m: float) -> Path:
    """A small terrain file in a folder of its own."""
    folder.mkdir(parents=True)
    with rasterio.open(
        folder / "t.tif", "w", driver="GTiff", width=40, height=30, count=1, dtype="float32", crs="EPSG:4326",
        transform=from_origin(8.0, 48.0, 1 / 1200, 1 / 1200),
    ) as file:  # fmt: skip
        file.write(np.full((30, 40), height_m, dtype=np.float32), 1)
    return folder


def test_the_same_files_elsewhere_are_the_same_ground(tmp_path: Path) -> None:
    """Folders under another root, with classes and what else the document says of them; the ridge needs no files."""
    terrain = terrain_from_folder(written(tmp_path / "a" / "dem", 321.0))
    cover = terrain_from_folder(written(tmp_path / "a" / "land" / "cover", 2.0), blended=False)
    ground = Ground(terrain=terrain, cover=cover, cover_classes=((2, 15.0),), clutter=((2, 12.0),))
    told = named(ground, folder=tmp_path / "a")
    assert told is not None
    assert told.folders == ("dem", "land/cover", None)
    assert told.rest.terrain is None
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    found = opened(told, folder=tmp_path / "b")
    assert (found.digest, found.cover_classes, found.clutter) == (ground.digest, ((2, 15.0),), ((2, 12.0),))
    assert found.terrain is not None
    place = {"south_deg": 47.985, "west_deg": 8.01, "north_deg": 47.99, "east_deg": 8.02}
    assert np.nanmax(window(found.terrain, **place).height_m) == 321.0
    of_ridge = named(Ground(terrain=ridge()), folder=tmp_path)
    assert of_ridge is not None
    assert opened(of_ridge, folder=tmp_path / "nowhere").digest == Ground(terrain=ridge()).digest


def test_other_files_or_none_are_told(tmp_path: Path) -> None:
    """By the folder's name and what would be right."""
    told = named(Ground(terrain=terrain_from_folder(written(tmp_path / "a" / "dem", 321.0))), folder=tmp_path / "a")
    assert told is not None
    written(tmp_path / "b" / "dem", 322.0)
    for root, code in (("b", "terrain-differs"), ("c", "folder-missing")):
        with pytest.raises(PlanError) as refused:
            opened(told, folder=tmp_path / root)
        assert [one.code for one in refused.value.problems] == [code]
        assert "dem" in refused.value.problems[0].what


def test_what_lies_elsewhere_or_in_memory_has_no_name(tmp_path: Path) -> None:
    """It is computed where it is."""
    outside = Ground(terrain=terrain_from_folder(written(tmp_path / "outside", 5.0)))
    assert named(outside, folder=tmp_path / "a") is None
    grid = ridge().grids[0]
    other = replace(grid, height_m=grid.height_m + 1.0)
    for ground in (
        Ground(terrain=terrain_from_grid(other, name="ridge")),
        Ground(terrain=terrain_from_grid(grid, name="ridge", blended=False)),
        Ground(terrain=ridge(), zones=terrain_from_grid(grid, name="zones", blended=False)),
        Ground(terrain=ridge(), cover=ridge()),
    ):
        assert named(ground, folder=tmp_path) is None
