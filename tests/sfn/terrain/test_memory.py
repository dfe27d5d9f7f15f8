"""What is remembered of terrain files: the same heights as read anew, nothing of a changed file, never too much."""

import pickle
import shutil
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.terrain.dem import BLOCK_SAMPLES, terrain_from_folder, window
from sfn.terrain.digest import RACY_S
from sfn.terrain.memory import Memory

STEP_DEG = 1 / 3600
FAR = {"south_deg": 50.15, "west_deg": 7.2, "north_deg": 50.65, "east_deg": 7.75}


def written(path: Path, heights: np.ndarray, *, west: float, north: float, step_deg: float = STEP_DEG) -> None:
    """A GeoTIFF of heights."""
    with rasterio.open(
        path, "w", driver="GTiff", width=heights.shape[1], height=heights.shape[0], count=1, dtype="int16",
        crs="EPSG:4326", transform=from_origin(west, north, step_deg, step_deg), nodata=-32768,
    ) as out:  # fmt: skip
        out.write(heights.astype(np.int16), 1)


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of two fine tiles side by side, with a void, and a coarser one around; old enough to be remembered."""
    folder, chance = tmp_path_factory.mktemp("dem"), np.random.default_rng(1)
    fine = chance.integers(0, 900, (1800, 1800))
    fine[700:720, 900:930] = -32768
    written(folder / "a.tif", fine, west=7.0, north=50.7)
    written(folder / "b.tif", fine[:, ::-1], west=7.5, north=50.7)
    written(folder / "c.tif", chance.integers(0, 900, (120, 160)), west=6.8, north=51.0, step_deg=1 / 120)
    time.sleep(RACY_S + 0.2)
    return folder


@pytest.mark.parametrize("blended", [True, False])
@pytest.mark.parametrize("bounds", [
    FAR,
    {"south_deg": 50.4, "west_deg": 7.49, "north_deg": 50.41, "east_deg": 7.51},
    {"south_deg": 50.1, "west_deg": 6.9, "north_deg": 50.35, "east_deg": 7.1},
])  # fmt: skip
def test_remembered_heights_are_those_of_the_files(settled: Path, bounds: dict[str, float], blended: bool) -> None:
    """Across blocks, seams, voids and the edge of a tile: read at once, read by blocks, and out of memory, all alike."""
    memory = Memory()
    plain = window(terrain_from_folder(settled, blended=blended), **bounds)
    terrain = terrain_from_folder(settled, memory=memory, blended=blended)
    first, again = window(terrain, **bounds), window(terrain, **bounds)

    assert (plain.north_deg, plain.west_deg) == (first.north_deg, first.west_deg)
    assert np.array_equal(np.isnan(plain.height_m), np.isnan(first.height_m))
    assert np.allclose(plain.height_m, first.height_m, rtol=0, atol=1e-3, equal_nan=True)
    assert np.array_equal(first.height_m, again.height_m, equal_nan=True)


def test_what_is_remembered_is_not_read_again(settled: Path, tmp_path: Path) -> None:
    """With the files gone, a place that was read before still has its heights; opened anew it is refused."""
    folder = tmp_path / "dem"
    shutil.copytree(settled, folder)
    time.sleep(RACY_S + 0.2)
    terrain = terrain_from_folder(folder, memory=Memory())
    before = window(terrain, **FAR)
    for path in folder.iterdir():
        path.unlink()

    assert np.array_equal(before.height_m, window(terrain, **FAR).height_m, equal_nan=True)


def test_a_changed_file_is_seen_at_once(settled: Path, tmp_path: Path) -> None:
    """A file written anew gives its new heights, also where the old ones are remembered."""
    folder, memory = tmp_path / "dem", Memory()
    folder.mkdir()
    shutil.copy(settled / "a.tif", folder / "a.tif")
    time.sleep(RACY_S + 0.2)
    inside = {"south_deg": 50.3, "west_deg": 7.1, "north_deg": 50.4, "east_deg": 7.2}
    old = window(terrain_from_folder(folder, memory=memory), **inside)
    written(folder / "a.tif", np.full((1800, 1800), 77), west=7.0, north=50.7)
    new = window(terrain_from_folder(folder, memory=memory), **inside)

    assert not (old.height_m == 77.0).all()
    assert (new.height_m == 77.0).all()


def test_a_fresh_file_is_not_remembered(settled: Path, tmp_path: Path) -> None:
    """What was written just now may be written again under the same stamp: neither its place nor its heights are kept."""
    shutil.copy(settled / "a.tif", tmp_path / "a.tif")
    memory = Memory()
    terrain = terrain_from_folder(tmp_path, memory=memory)
    window(terrain, south_deg=50.3, west_deg=7.1, north_deg=50.4, east_deg=7.2)

    assert memory.tile(tmp_path / "a.tif") is None
    assert {} == dict(memory._blocks)


def test_it_is_bounded_and_begins_empty_in_another_process(settled: Path) -> None:
    """The least used block goes first; a window too large for the bound is read as it was; a pickle holds no heights."""
    block = 4 * BLOCK_SAMPLES**2
    memory = Memory(most_bytes=2 * block)
    heights = np.zeros((BLOCK_SAMPLES, BLOCK_SAMPLES), dtype=np.float32)
    for key in ("a", "b"):
        memory.keep_block(key, heights)
    assert memory.block("a") is not None
    memory.keep_block("c", heights)
    assert [True, False, True] == [memory.block(key) is not None for key in "abc"]

    terrain = terrain_from_folder(settled, memory=memory)
    assert np.allclose(
        window(terrain, **FAR).height_m, window(terrain_from_folder(settled), **FAR).height_m, rtol=0, equal_nan=True
    )
    again = pickle.loads(pickle.dumps(terrain))
    assert terrain == again
    assert {} == dict(again.memory._blocks)


def test_reading_by_blocks_is_told_and_can_be_ended(settled: Path) -> None:
    """Whoever asked is called at least once a block, remembered or not; what the call raises ends the reading."""
    terrain, told = terrain_from_folder(settled, memory=Memory()), []
    for _ in range(2):
        told.append(0)

        def look() -> None:
            """One more block."""
            told[-1] += 1

        window(terrain, **FAR, look=look)
    # 0.5 by 0.55 degrees at one arc-second touch two blocks of 1024 samples each way at least.
    assert min(told) >= 4

    def end() -> None:
        """The second call asks for an end."""
        told.append(0)
        if len(told) >= 4:
            raise InterruptedError

    with pytest.raises(InterruptedError):
        window(terrain_from_folder(settled, memory=Memory()), **FAR, look=end)
    assert len(told) == 4
