"""One height per place: a map over the whole area, a path read along itself, and many windows see the same ground.

The expected heights are the samples that were written into the files, blended by hand between four of them.
"""

from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter

from sfn.field.path import path_ground, path_levels
from sfn.field.raster import level_raster
from sfn.field.rasters import CacheFolder, level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for
from sfn.propagation.link import SweepCancelled
from sfn.terrain.dem import terrain_from_folder
from sfn.terrain.ground import Ground, averaged_says, ground_window

PER_DEGREE = 1200
NORTH, WEST, ROWS, COLUMNS = 47.5, 9.0, 900, 1200


@pytest.fixture(scope="module")
def data() -> np.ndarray:
    """Rough ground of ridges, with a narrow void of 300 m x 8 km and a wide one."""
    chance = np.random.default_rng(11)
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    # Rough over a few samples, as ground is: the next radial's is nearly the same.
    rough = gaussian_filter(chance.standard_normal((ROWS, COLUMNS)), 3.0)
    made = 500.0 + 200.0 * np.sin(x / 23.0) * np.cos(y / 31.0) + 400.0 * rough
    made[400:500, 600:604] = np.nan
    made[700:780, 100:200] = np.nan
    return made.astype(np.float32)


@pytest.fixture(scope="module")
def ground(data: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> Ground:
    """The same as four files."""
    folder = tmp_path_factory.mktemp("dem")
    for n, (row, column) in enumerate([(0, 0), (0, 600), (450, 0), (450, 600)]):
        part = data[row : row + 450, column : column + 600]
        with rasterio.open(
            folder / f"{n}.tif", "w", driver="GTiff", width=600, height=450, count=1, dtype="float32", crs="EPSG:4326",
            transform=from_origin(WEST + column / PER_DEGREE, NORTH - row / PER_DEGREE, 1 / PER_DEGREE, 1 / PER_DEGREE),
        ) as out:  # fmt: skip
            out.write(part, 1)
    return Ground(terrain=terrain_from_folder(folder))


SITE = Transmitter(
    id="a",
    lat_deg=47.4,
    lon_deg=9.1,
    ground_m=900.0,
    antenna_m=60.0,
    erp_h_kw=1.0,
    erp_v_kw=0.0,
    frequency_mhz=100.0,
    delta_n=45.0,
    surface_refractivity_n0=325.0,
)


def by_hand(data: np.ndarray, lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    """Blended between the four samples around each place."""
    row, column = (NORTH - lat) * PER_DEGREE - 0.5, (lon - WEST) * PER_DEGREE - 0.5
    i, j = np.floor(row).astype(int), np.floor(column).astype(int)
    u, v = row - i, column - j
    top = (1 - v) * data[i, j] + v * data[i, j + 1]
    low = (1 - v) * data[i + 1, j] + v * data[i + 1, j + 1]
    return (1 - u) * top + u * low


def test_a_path_read_along_itself_has_the_heights_of_the_files(ground: Ground, data: np.ndarray) -> None:
    """Over 70 km and the seams of four files: within a millimetre of the samples blended by hand."""
    found = path_ground(SITE, 46.85, 9.9, ground=ground)
    expected = by_hand(data, found.lat_deg, found.lon_deg)
    known = np.isfinite(expected)
    known[0] = False  # the site's own

    assert known.sum() > 1500
    assert np.abs(found.ground_m - expected)[known].max() < 2e-3


@pytest.mark.parametrize("at", [(47.1, 9.9), (46.85, 9.9), (47.35, 9.9), (46.9, 9.05)])
def test_a_path_in_pieces_is_the_path_over_one_window(ground: Ground, at: tuple[float, float]) -> None:
    """Also over a narrow void, which is filled alike and marked, and over a wide one, where there is no answer."""
    whole = ground_window(ground, south_deg=46.76, west_deg=9.01, north_deg=47.49, east_deg=9.99)
    pieces = path_levels(SITE, *at, ground=ground, rx_height_m=10.0)
    window = path_levels(SITE, *at, ground=whole, rx_height_m=10.0)

    assert np.allclose(window.ground.ground_m, pieces.ground.ground_m, rtol=0, atol=1e-3, equal_nan=True)
    assert (window.ground.covered, window.ground.gap_from_m) == (pieces.ground.covered, pieces.ground.gap_from_m)
    assert window.level_dbuvm == pytest.approx(pieces.level_dbuvm, abs=1e-3, nan_ok=True)


def test_the_map_is_the_path_at_random_pixels(ground: Ground) -> None:
    """Pixels of a map over the whole area against exact paths: 0.3 dB rms, all within 1.5 dB."""
    grid = grid_for((46.8, 9.2, 47.4, 9.9), pixel_m=500.0)
    made = level_raster(SITE, grid, ground=ground, rx_height_m=10.0)
    # Read once; that a path reads the same along itself is held above.
    whole = ground_window(ground, south_deg=46.76, west_deg=9.01, north_deg=47.49, east_deg=9.99)
    chance = np.random.default_rng(5)
    apart = []
    for row, column in zip(chance.integers(0, grid.rows_n, 40), chance.integers(0, grid.columns_n, 40), strict=True):
        exact = path_levels(
            SITE, grid.lat_deg[row], grid.lon_deg[column], ground=whole, rx_height_m=10.0, time_pct=(50.0,)
        ).level_dbuvm[0]
        assert np.isnan(exact) == np.isnan(made.level_dbuvm[row, column])
        apart.append(made.level_dbuvm[row, column] - exact)
    apart_db = np.array(apart)[np.isfinite(apart)]

    assert apart_db.size > 25
    assert float(np.sqrt(np.mean(apart_db**2))) < 0.3
    assert np.abs(apart_db).max() < 1.5
    assert made.averaged == (1, 1, 1)


def test_what_is_averaged_is_said_and_kept(ground: Ground, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the bound on samples bites, the raster says by how much, from the cache too; and there are words for it."""
    monkeypatch.setattr("sfn.field.rasters.ground_window", partial(ground_window, most_samples=20_000))
    grid = grid_for((47.0, 9.2, 47.3, 9.5), pixel_m=2000.0)
    cache = CacheFolder(tmp_path, 10**7)
    said = []
    for _ in range(2):
        with ThreadPoolExecutor(1) as executor:
            said += [
                made.averaged
                for _, made in level_rasters(
                    [SITE], grid, ground=ground, rx_height_m=10.0, executor=executor, cache=cache
                )
            ]

    assert said[0] == said[1] >= (3, 1, 1)
    assert f"mean of {said[0][0]} x {said[0][0]} samples" in averaged_says(*said[0])
    assert "every 4th sample" in averaged_says(1, 4)
    assert averaged_says(1, 1) == ""


def test_a_cancel_is_heard_while_the_ground_is_read(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before each block of a file it is asked, and progress told; once it is said no further block is read."""
    monkeypatch.setattr("sfn.terrain.laid.LAID_SAMPLES", 100)
    grid = grid_for((46.8, 9.1, 47.4, 9.9), pixel_m=2000.0)
    told: list[tuple[str, int]] = []
    with ThreadPoolExecutor(1) as executor, pytest.raises(SweepCancelled):
        for _ in level_rasters(
            [SITE], grid, ground=ground, rx_height_m=10.0, executor=executor,
            progress=lambda site, done, total: told.append((site, done)), cancelled=lambda: len(told) >= 5,
        ):  # fmt: skip
            pass

    assert [("a", 0)] * 5 == told
