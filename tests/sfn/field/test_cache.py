"""Rasters on disk: found when nothing changed, gone when anything did, whole whatever happens."""

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sfn.antenna import Pattern
from sfn.field.cache import SUFFIX, kept_bytes, load, raster_key, store
from sfn.field.raster import LevelRaster
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for

ROOT = Path(__file__).parents[3]
NORTH = Transmitter(
    id="north", lat_deg=36.37, lon_deg=-84.25, ground_m=850.0, antenna_m=60.0, erp_h_kw=3.0, erp_v_kw=3.0,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip
GRID = grid_for((36.2, -84.3, 36.3, -84.2), pixel_m=500.0)
ALL = {"ground_digest": "d", "rx_height_m": 1.5, "receiver_polarisation": None, "step_m": None}


def raster(value: float, size: int = 40) -> LevelRaster:
    """A raster of one value."""
    level = np.full((size, size), value, dtype=np.float32)
    return LevelRaster(level, level + 3, level * 0, level * 0, level * 0, level > 0, level > 0, True)


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """Every array and the flag come back, to the bit."""
    kept = raster(41.5)
    assert store(tmp_path / "new", "k", kept, most_bytes=10**7)
    found = load(tmp_path / "new", "k")

    assert found is not None
    assert found.smooth
    assert all(np.array_equal(a, found.arrays()[name]) for name, a in kept.arrays().items())
    assert load(tmp_path / "new", "other") is None


PATTERN = Pattern(90.0, 0.0, 0.0, ((0.0, 0.0), (180.0, 20.0)), None, None, None)


@pytest.mark.parametrize(
    "change",
    [
        {"lat_deg": 36.3700001}, {"ground_m": 851.0}, {"antenna_m": 61.0}, {"erp_h_kw": 3.1}, {"erp_v_kw": 2.9},
        {"frequency_mhz": 98.4}, {"delta_n": 46.0}, {"surface_refractivity_n0": 326.0}, {"pattern": PATTERN},
    ],
)  # fmt: skip
def test_any_change_of_the_site_makes_another_key(change: dict[str, object]) -> None:
    """Position, heights, power, frequency, refractivities and antenna are all in the key."""
    assert raster_key(NORTH, GRID, **ALL) != raster_key(replace(NORTH, **change), GRID, **ALL)


@pytest.mark.parametrize(
    "change",
    [{"ground_digest": "e"}, {"rx_height_m": 10.0}, {"receiver_polarisation": "v"}, {"step_m": 45.0}],
)
def test_any_change_of_ground_or_receiver_makes_another_key(change: dict[str, object]) -> None:
    """Terrain content, receiving height, plane and step are in the key, and so is the grid."""
    assert raster_key(NORTH, GRID, **ALL) != raster_key(NORTH, GRID, **(ALL | change))
    assert raster_key(NORTH, GRID, **ALL) != raster_key(
        NORTH, grid_for((36.2, -84.3, 36.3, -84.2), pixel_m=400.0), **ALL
    )


def test_the_key_is_the_same_in_another_process() -> None:
    """A key does not depend on the process that made it."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from tests.sfn.field.test_cache import *;"
        "print(raster_key(NORTH, GRID, **ALL))"
    )
    told = subprocess.run([sys.executable, "-c", code, str(ROOT)], capture_output=True, text=True, check=True, cwd=ROOT)

    assert raster_key(NORTH, GRID, **ALL) == told.stdout.strip()


def test_the_least_recently_used_goes_first(tmp_path: Path) -> None:
    """With room for two, reading the older one saves it and the other goes."""
    one = raster(1.0)
    store(tmp_path, "a", one, most_bytes=10**7)
    size = kept_bytes(tmp_path)
    store(tmp_path, "b", one, most_bytes=10**7)
    for age, name in ((200, "a"), (100, "b")):
        os.utime(tmp_path / f"{name}{SUFFIX}", (time.time() - age,) * 2)
    load(tmp_path, "a")
    store(tmp_path, "c", one, most_bytes=2 * size + 100)

    assert ["a", "c"] == sorted(p.stem for p in tmp_path.glob(f"*{SUFFIX}"))


def test_one_that_is_too_large_is_not_kept(tmp_path: Path) -> None:
    """A raster larger than the whole bound does not empty the folder."""
    store(tmp_path, "a", raster(1.0, 10), most_bytes=50_000)

    assert not store(tmp_path, "b", raster(1.0, 400), most_bytes=50_000)
    assert ["a"] == [p.stem for p in tmp_path.iterdir()]


@pytest.mark.parametrize("cut", [0, 10, 0.5, -1])
def test_a_damaged_file_is_a_miss_and_removed(tmp_path: Path, cut: float) -> None:
    """An empty, short or half file, as a power failure leaves it, is never taken for a raster."""
    store(tmp_path, "a", raster(1.0), most_bytes=10**7)
    path = tmp_path / f"a{SUFFIX}"
    whole = path.read_bytes()
    path.write_bytes(whole[: int(cut * len(whole)) if 0 < cut < 1 else int(cut)])

    assert load(tmp_path, "a") is None
    assert not path.exists()


def test_flipped_bits_are_noticed(tmp_path: Path) -> None:
    """A byte changed inside an array is found by its checksum."""
    store(tmp_path, "a", raster(1.0), most_bytes=10**7)
    path = tmp_path / f"a{SUFFIX}"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(bytes(data))

    assert load(tmp_path, "a") is None


def test_a_folder_that_cannot_be_written_is_no_disaster(tmp_path: Path) -> None:
    """Where the folder's place is taken by a file nothing is kept and nothing raised."""
    (tmp_path / "file").write_text("")

    assert not store(tmp_path / "file", "a", raster(1.0), most_bytes=10**7)


WRITER = """
import sys, random
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from tests.sfn.field.test_cache import raster
from sfn.field.cache import load, store
folder, seed = Path(sys.argv[1]), int(sys.argv[3])
chance = random.Random(seed)
print("ready", flush=True)
for n in range(int(sys.argv[4])):
    key = chance.randrange(12)
    found = load(folder, f"{key:02d}")
    assert found is None or float(found.level_dbuvm.min()) == float(found.level_dbuvm.max()) == key, key
    store(folder, f"{key:02d}", raster(float(key), 200), most_bytes=3_000_000)
print("done", flush=True)
"""


def writer(folder: Path, seed: int, rounds: int) -> subprocess.Popen[str]:
    """A process that reads and keeps rasters as fast as it can."""
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), str(ROOT), str(seed), str(rounds)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip


def test_two_processes_share_a_folder(tmp_path: Path) -> None:
    """Two processes that read, keep and remove in one folder never see half a raster, and the bound holds."""
    both = [writer(tmp_path, seed, 60) for seed in (1, 2)]
    told = [process.communicate(timeout=60) for process in both]

    assert ["ready\ndone\n"] * 2 == [out for out, _ in told], told
    assert 3_000_000 >= kept_bytes(tmp_path)


def test_a_kill_leaves_no_half_raster(tmp_path: Path) -> None:
    """After kill -9 in the middle of writing, every raster that is there is whole, and parts are swept away."""
    chance = random.Random(7)
    for seed in range(2):
        process = writer(tmp_path, seed, 10**6)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(0.05 + 0.2 * chance.random())
        process.send_signal(signal.SIGKILL)
        process.communicate()
        for path in list(tmp_path.glob(f"*{SUFFIX}")):
            found = load(tmp_path, path.stem)
            assert found is not None
            assert float(path.stem) == float(found.level_dbuvm[0, 0]) == float(found.level_dbuvm[-1, -1])
    left = tmp_path / "99.1.1.part"
    left.write_bytes(b"half")
    os.utime(left, (time.time() - 1000,) * 2)
    store(tmp_path, "00", raster(0.0), most_bytes=3_000_000)

    assert not left.exists()


def test_a_renamed_or_changed_raster_is_none(tmp_path: Path) -> None:
    """Under another key, and with any one bit flipped: never wrong data, it is computed again."""
    made = raster(41.5)
    store(tmp_path, "k", made, most_bytes=10**7)
    content = (tmp_path / f"k{SUFFIX}").read_bytes()
    (tmp_path / f"other{SUFFIX}").write_bytes(content)
    assert load(tmp_path, "other") is None
    assert not (tmp_path / f"other{SUFFIX}").exists()
    drawn = random.Random(1)
    for _ in range(400):
        at, bit = drawn.randrange(len(content)), drawn.randrange(8)
        flipped = bytearray(content)
        flipped[at] ^= 1 << bit
        (tmp_path / f"k{SUFFIX}").write_bytes(flipped)
        assert load(tmp_path, "k") is None
    (tmp_path / f"k{SUFFIX}").write_bytes(content)
    assert load(tmp_path, "k") is not None
