"""Codes of classes are no heights of the ground, and heights above the sea are no ground cover: files by rasterio."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.errors import PlanError
from sfn.plan import CoverSource, TerrainSource
from sfn.terrain.dem import terrain_from_folder
from sfn.terrain.ground import open_ground
from sfn.terrain.told import Told, keep_told
from tests.sfn.networks import example

DRAWN = np.random.default_rng(4)
ROWS, COLUMNS = np.mgrid[0:120, 0:150]
HILLS = 300.0 + 80.0 * np.sin(ROWS / 15.0) + 60.0 * np.cos(COLUMNS / 20.0)
# The codes of ESA WorldCover 2021 (its product user manual), in patches of 10 samples a side.
PATCHES = np.kron(DRAWN.choice([10, 20, 30, 40, 50, 80], size=(12, 15)), np.ones((10, 10)))
CANOPY = np.clip(20.0 + 18.0 * np.sin(ROWS / 9.0) * np.cos(COLUMNS / 11.0), 0.0, 40.0)
COLOURS = {10: (0, 100, 0, 255), 30: (255, 255, 76, 255), 80: (0, 100, 200, 255)}


def written(folder: Path, values: np.ndarray, dtype: str, **said: Any) -> Path:
    """One file in a folder of its own; `said` may have `unit`, `colours`."""
    folder.mkdir(parents=True, exist_ok=True)
    with rasterio.open(
        folder / "a.tif", "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=1, dtype=dtype,
        crs="EPSG:4326", transform=from_origin(-84.4, 36.4, 0.001, 0.001),
    ) as out:  # fmt: skip
        out.write(np.round(values).astype(dtype) if dtype != "float32" else values.astype(dtype), 1)
        if said.get("unit"):
            out.units = (said["unit"],)
        if said.get("colours"):
            out.write_colormap(1, said["colours"])
    return folder


def refusal(act: Callable[[], object]) -> str:
    """The words in which something is refused; empty where it is not."""
    try:
        act()
    except PlanError as refused:
        return str(refused)
    return ""


@pytest.mark.parametrize(
    ("values", "dtype", "said", "why"),
    [
        (PATCHES, "uint8", {}, "only 6 different whole numbers occur (10, 20, 30, 40, 50, 80), with gaps between them"),
        (PATCHES, "uint8", {"colours": COLOURS}, "a table of colours"),
        (HILLS - 200.0, "uint8", {"colours": {n: (n, 255 - n, 0, 255) for n in range(256)}}, "a table of colours"),
        (np.where(COLUMNS > 70, 2.0, 0.0), "uint8", {}, "only 2 different whole numbers"),
        (HILLS - 200.0, "uint8", {}, ""),
        (HILLS - 200.0, "uint8", {"colours": {n: (n, n, n, 255) for n in range(256)}}, ""),
        (HILLS, "int16", {}, ""),
        (HILLS, "float32", {}, ""),
        (PATCHES, "uint8", {"unit": "m"}, ""),
        (PATCHES, "int16", {}, ""),
        (np.full((120, 150), 30.0), "uint8", {}, ""),
    ],
)
def test_classes_are_refused_as_heights_of_the_ground(
    tmp_path: Path, values: np.ndarray, dtype: str, said: dict[str, Any], why: str
) -> None:
    """Where the file proves it; as classes they are read all the same. A network that names them is refused too."""
    folder = written(tmp_path / "a", values, dtype, **said)
    words = refusal(lambda: terrain_from_folder(folder))
    network = example(lambda tree: tree.update(terrain={"folder": "a"}))

    assert (why in words) if why else not words
    assert ("holds classes, not heights of the ground" in words) == bool(why)
    assert refusal(lambda: open_ground(network, folder=tmp_path)) == words
    assert not refusal(lambda: terrain_from_folder(folder, blended=False))


def test_what_is_doubtful_is_kept_with_its_doubt(tmp_path: Path) -> None:
    """16 bits may be heights in steps, and 8 bits that somebody said are metres: both say what is odd."""
    (wide,) = terrain_from_folder(written(tmp_path / "a", PATCHES, "int16")).tiles
    folder = written(tmp_path / "b", PATCHES, "uint8")
    keep_told(folder, {"a.tif": Told(unit="m")})
    (said,) = terrain_from_folder(folder).tiles
    (hills,) = terrain_from_folder(written(tmp_path / "c", HILLS, "int16")).tiles

    assert "only 6 different whole numbers" in wide.meaning.perhaps
    assert "only 6 different whole numbers" in said.meaning.perhaps
    assert not hills.meaning.perhaps


def test_what_could_be_classes_at_all(tmp_path: Path) -> None:
    """A small piece of CORINE's classes (111 to 523) says nothing for sure and may be chosen; heights of hills may not."""
    corine = DRAWN.choice([111, 112, 211, 231, 311, 312, 324, 512, 523], size=(20, 30))
    (small,) = terrain_from_folder(written(tmp_path / "a", corine, "int16"), blended=False).tiles
    many = np.kron(100 + np.arange(44).reshape(4, 11) * 9, np.ones((30, 12)))
    (whole,) = terrain_from_folder(written(tmp_path / "b", many, "int16"), blended=False).tiles
    (hills,) = terrain_from_folder(written(tmp_path / "c", HILLS, "int16"), blended=False).tiles

    assert (small.meaning.surely, small.meaning.perhaps, small.meaning.could) == ("", "", True)
    assert "only 44 different whole numbers" in whole.meaning.perhaps
    assert not hills.meaning.could


@pytest.mark.parametrize(
    ("values", "dtype", "surface", "classes", "says"),
    [
        (HILLS, "float32", False, False, "heights above the sea, not above the ground"),
        (HILLS - 280.0, "float32", True, False, "heights of treetops and roofs above the sea"),
        (PATCHES, "uint8", False, False, "holds classes, not heights above ground"),
        (PATCHES, "uint8", False, True, ""),
        (CANOPY, "uint8", False, False, ""),
        (CANOPY, "float32", False, False, ""),
    ],
)
def test_what_cannot_stand_on_the_ground_is_refused(
    tmp_path: Path, values: np.ndarray, dtype: str, surface: bool, classes: bool, says: str
) -> None:
    """Heights above the sea, and classes taken as metres; a canopy in whole metres is none of these."""
    folder = written(tmp_path / "c", values, dtype)
    keep_told(folder, {"a.tif": Told(surface=surface)})
    table = [{"number": n, "height_m": 0.0} for n in (10, 20, 30, 40, 50, 80)]
    cover = {"folder": "c"} | ({"classes": table} if classes else {})
    network = example(lambda tree: tree.update(cover=cover))
    words = refusal(lambda: open_ground(network, folder=tmp_path))

    assert isinstance(network.cover, CoverSource)
    assert (says in words) if says else not words


def test_one_and_the_same_files_are_not_ground_and_cover(tmp_path: Path) -> None:
    """Low country has heights that a wood might have: the same files give it away."""
    written(tmp_path / "low", HILLS - 280.0, "float32")
    network = example(lambda tree: tree.update(terrain={"folder": "low"}, cover={"folder": "low"}))

    assert isinstance(network.terrain, TerrainSource)
    assert "low has the very files that the terrain is" in refusal(lambda: open_ground(network, folder=tmp_path))
