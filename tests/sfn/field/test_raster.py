"""Rasters equal the exact paths, come as sites finish, are kept, cancelled and told truthfully."""

import json
import threading
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.antenna import Pattern
from sfn.field.around import rectangle
from sfn.field.levels import levels_at
from sfn.field.path import path_ground, path_levels
from sfn.field.raster import LevelRaster, level_raster
from sfn.field.rasters import CacheFolder, level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.line import direct, inverse
from sfn.propagation.link import SweepCancelled
from sfn.terrain.dem import terrain_from_folder, terrain_from_grid
from sfn.terrain.ground import Ground, ground_window
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

SUMMIT = Transmitter(
    id="summit", lat_deg=36.19833, lon_deg=-84.23083, ground_m=1076.0, antenna_m=60.0, erp_h_kw=3.0, erp_v_kw=0.5,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip
NORTH = replace(SUMMIT, id="north", lat_deg=36.40, lon_deg=-84.25, ground_m=700.0)
RIDGE = Ground(terrain=ridge())
GRID = grid_for((36.20, -84.38, 36.40, -84.12), pixel_m=400.0)
CAR = {"rx_height_m": 1.5}


@pytest.fixture(scope="module")
def raster() -> LevelRaster:
    """The summit's raster over the ridge terrain."""
    return level_raster(SUMMIT, GRID, ground=RIDGE, **CAR)


def test_pixels_have_the_levels_of_their_own_exact_paths(raster: LevelRaster) -> None:
    """Fifty pixels against their own paths: 0.3 dB rms at most, at both percentages, however coarse the pixels."""
    chance = np.random.default_rng(3)
    rows, columns = chance.integers(0, GRID.rows_n, 50), chance.integers(0, GRID.columns_n, 50)
    window = ground_window(RIDGE, south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    paths = [
        path_levels(SUMMIT, GRID.lat_deg[r], GRID.lon_deg[c], ground=window, **CAR)
        for r, c in zip(rows, columns, strict=True)
    ]
    fine = level_raster(SUMMIT, GRID, ground=window, **CAR)
    for name, at in (("level_dbuvm", 0), ("level_1pct_dbuvm", 1)):
        apart = getattr(fine, name)[rows, columns] - [p.level_dbuvm[at] for p in paths]

        assert float(np.sqrt(np.mean(apart**2))) < 0.3
        assert float(np.median(np.abs(apart))) < 0.1
    assert np.allclose(fine.level_dbuvm, raster.level_dbuvm, rtol=0, atol=1e-4)


def test_the_target_against_exact_paths_is_met() -> None:
    """A low site, within 15 km, pixels of 90 m: 0.3 dB rms and 99 % within 1.5 dB of the pixels' own paths."""
    site = replace(SUMMIT, lat_deg=36.30, lon_deg=-84.245, ground_m=600.0)
    grid = grid_for((36.17, -84.40, 36.43, -84.09), pixel_m=90.0)
    window = ground_window(RIDGE, south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    found = level_raster(site, grid, ground=window, **CAR)
    chance = np.random.default_rng(4)
    rows, columns = chance.integers(0, grid.rows_n, 200), chance.integers(0, grid.columns_n, 200)
    exact = [
        path_levels(site, grid.lat_deg[r], grid.lon_deg[c], ground=window, time_pct=(50.0,), **CAR).level_dbuvm[0]
        for r, c in zip(rows, columns, strict=True)
    ]
    apart = np.abs(found.level_dbuvm[rows, columns] - exact)

    assert float(np.sqrt(np.mean(apart**2))) < 0.3
    assert float(np.percentile(apart, 99)) < 1.5


def test_a_grid_of_a_few_metres_round_the_mast_has_levels() -> None:
    """Very small grids are answered like any other."""
    tiny = grid_for((36.1980, -84.2312, 36.1986, -84.2304), pixel_m=10.0)

    assert np.isfinite(level_raster(SUMMIT, tiny, ground=RIDGE, **CAR).level_dbuvm).all()


def test_distances_and_ground_are_those_of_the_pixels(raster: LevelRaster) -> None:
    """Distance of the geodesic to a centimetre, ground of the terrain to a centimetre, everything covered."""
    lat, lon = GRID.points_deg
    ground = levels_at(SUMMIT, lat[::9, ::9], lon[::9, ::9], ground=RIDGE, **CAR).rx_ground_m

    assert np.allclose(inverse(36.19833, -84.23083, lat, lon)[0], raster.ground_distance_m, rtol=0, atol=0.02)
    assert np.allclose(ground, raster.rx_ground_m[::9, ::9], rtol=0, atol=0.01)
    assert raster.covered.all()
    assert not raster.smooth
    assert np.dtype("float32") == raster.level_dbuvm.dtype
    assert (raster.level_1pct_dbuvm >= raster.level_dbuvm - 1e-3).all()


def test_off_the_terrain_nothing_is_claimed() -> None:
    """Pixels beyond the terrain have no level, no ground and are marked; those within are as before."""
    wide = grid_for((36.10, -84.30, 36.30, -84.20), pixel_m=500.0)
    found = level_raster(SUMMIT, wide, ground=RIDGE, **CAR)
    off = wide.points_deg[0] < 36.158

    assert np.isnan(found.level_dbuvm[off]).all()
    assert np.isnan(found.rx_ground_m[off]).all()
    assert not found.covered[off].any()
    assert found.covered[wide.points_deg[0] > 36.165].all()


def test_a_small_void_is_answered_and_marked() -> None:
    """Behind a void of 300 m there is a level, marked as not covered; beside it everything is covered."""
    heights = np.full((361, 361), 200.0, dtype=np.float32)
    heights[178:182, 240:244] = np.nan
    flat = Ground(terrain=terrain_from_grid(HeightGrid(heights, 36.3, -84.4, 1 / 1200, 1 / 1200), name="flat"))
    site = replace(SUMMIT, lat_deg=36.15, lon_deg=-84.25, ground_m=200.0)
    grid = grid_for((36.05, -84.35, 36.25, -84.15), pixel_m=400.0)
    found = level_raster(site, grid, ground=flat, **CAR)
    behind, beside = (grid.pixels_of(36.15, -84.16), grid.pixels_of(36.10, -84.25))

    assert np.isfinite(found.level_dbuvm).all()
    assert (False, True) == (bool(found.covered[behind]), bool(found.covered[beside]))


def test_what_lies_behind_small_voids_is_marked_as_on_the_path() -> None:
    """Forty small voids: every place that its path marks is marked, and few besides (within half a sample of one)."""
    chance = np.random.default_rng(6)
    heights = np.full((361, 361), 200.0, dtype=np.float32)
    for row, column in chance.integers(5, 350, (40, 2)):
        heights[row : row + chance.integers(1, 7), column : column + chance.integers(1, 7)] = np.nan
    rough = Ground(terrain=terrain_from_grid(HeightGrid(heights, 36.3, -84.4, 1 / 1200, 1 / 1200), name="rough"))
    window = ground_window(rough, south_deg=36.01, west_deg=-84.39, north_deg=36.29, east_deg=-84.11)
    site = replace(SUMMIT, lat_deg=36.15, lon_deg=-84.25, ground_m=200.0)
    grid = grid_for((36.05, -84.35, 36.25, -84.15), pixel_m=500.0)
    found = level_raster(site, grid, ground=window, **CAR)
    rows, columns = chance.integers(0, grid.rows_n, 150), chance.integers(0, grid.columns_n, 150)
    marked = found.covered[rows, columns]
    own = np.array(
        [
            path_ground(site, grid.lat_deg[row], grid.lon_deg[column], ground=window).covered
            for row, column in zip(rows, columns, strict=True)
        ]
    )

    assert np.isfinite(found.level_dbuvm).all()
    assert 10 < np.count_nonzero(~own) < 140
    assert np.count_nonzero(marked & ~own) <= 1
    assert np.count_nonzero(~marked & own) <= 5


def test_without_terrain_the_raster_is_smooth_and_round() -> None:
    """Over a smooth earth the level depends on distance alone, and the raster says that there was no terrain."""
    found = level_raster(SUMMIT, GRID, ground=None, **CAR)
    order = np.argsort(found.ground_distance_m, axis=None)
    level = found.level_dbuvm.ravel()[order]

    assert found.smooth
    assert found.covered.all()
    assert float(np.max(np.diff(level[found.ground_distance_m.ravel()[order] > 1000.0]))) < 0.01


def test_the_antenna_is_applied_pixel_by_pixel(raster: LevelRaster) -> None:
    """Twenty decibels off behind the antenna; below the horizon the vertical table is read at each pixel's elevation."""
    horizontal = ((0.0, 0.0), (89.0, 0.0), (91.0, 20.0), (269.0, 20.0), (271.0, 0.0))
    vertical = ((-90.0, 90.0), (0.0, 0.0), (90.0, 90.0))
    aimed = level_raster(
        replace(SUMMIT, pattern=Pattern(0.0, 0.0, 0.0, horizontal, vertical, horizontal, vertical)),
        GRID,
        ground=RIDGE,
        **CAR,
    )
    lat, lon = GRID.points_deg
    bearing = inverse(36.19833, -84.23083, lat, lon)[1]
    off = raster.level_dbuvm - aimed.level_dbuvm
    ahead = (bearing < 80) | (bearing > 280)
    down_deg = np.degrees(np.arctan2(1136.0 - raster.rx_ground_m, raster.ground_distance_m))
    sees = ahead & raster.line_of_sight & (raster.ground_distance_m > 1000)

    assert (off[~ahead & (bearing > 100) & (bearing < 260)] > 20.0).all()
    assert np.allclose(down_deg[sees], off[sees], atol=0.2)


def test_a_rectangle_holds_every_path() -> None:
    """Paths from a site to the far corners of a grid stay inside the rectangle, bulging towards the pole."""
    site = replace(SUMMIT, lat_deg=60.0, lon_deg=10.0)
    south, west, north, east = rectangle(site, (59.9, 13.0, 60.0, 14.0))
    _, azimuth, _ = inverse(60.0, 10.0, 60.0, 14.0)
    lat, lon = direct(60.0, 10.0, azimuth_deg=np.full(50, float(azimuth)), ground_m=np.linspace(0, 222_000, 50))

    assert ((lat >= south) & (lat <= north) & (lon >= west) & (lon <= east)).all()
    assert north > 60.01


def test_rasters_come_as_sites_finish_and_are_the_single_ones(raster: LevelRaster) -> None:
    """Through threads every site's raster is what a single call gives, and progress ends at all pixels."""
    told: dict[str, list[tuple[int, int]]] = {}
    with ThreadPoolExecutor(2) as executor:
        found = dict(
            level_rasters(
                [SUMMIT, NORTH], GRID, ground=RIDGE, executor=executor, **CAR,
                progress=lambda site, done, total: told.setdefault(site, []).append((done, total)),
            )
        )  # fmt: skip

    assert [0, 1] == sorted(found)
    assert np.array_equal(raster.level_dbuvm, found[0].level_dbuvm)
    assert {"summit", "north"} == set(told)
    for steps in told.values():
        assert steps == sorted(steps)
        assert (GRID.pixels_n, GRID.pixels_n) == steps[-1]


def test_another_process_gives_the_same(raster: LevelRaster) -> None:
    """The call is plain data and arrays: a process pool gives the same raster."""
    with ProcessPoolExecutor(1) as executor:
        ((_, found),) = level_rasters([SUMMIT], GRID, ground=RIDGE, executor=executor, **CAR)

    assert np.array_equal(raster.level_dbuvm, found.level_dbuvm)


class Counting(ThreadPoolExecutor):
    """Threads that count what they were given."""

    submitted = 0

    def submit(self, *args: object, **kwargs: object):
        """Count and pass on."""
        self.submitted += 1
        return super().submit(*args, **kwargs)


def computed(cache: CacheFolder, sites: list[Transmitter], ground: Ground = RIDGE, grid: Grid = GRID) -> int:
    """How many sites had to be computed."""
    with Counting(2) as executor:
        assert len(sites) == len(list(level_rasters(sites, grid, ground=ground, executor=executor, cache=cache, **CAR)))
        return executor.submitted


def test_moving_one_site_computes_one(tmp_path: Path) -> None:
    """First all are computed, then none, and after one has moved, only that one; another grid computes all."""
    cache = CacheFolder(tmp_path, 10**8)
    moved = replace(NORTH, lat_deg=36.401)

    assert 2 == computed(cache, [SUMMIT, NORTH])
    assert 0 == computed(cache, [SUMMIT, NORTH])
    assert 1 == computed(cache, [SUMMIT, moved])
    assert 0 == computed(cache, [moved, SUMMIT])
    assert 2 == computed(cache, [SUMMIT, NORTH], grid=grid_for((36.20, -84.38, 36.40, -84.12), pixel_m=500.0))


def test_a_delay_is_in_no_key() -> None:
    """Nothing of a chain or a delay reaches a transmitter, so changing one computes nothing."""
    assert not [
        name for name in Transmitter.__dataclass_fields__ if "_us" in name or "delay" in name or "chain" in name
    ]


def test_a_changed_dem_computes_again(tmp_path: Path) -> None:
    """One height changed in a terrain file makes every site that rests on it be computed again."""
    folder, cache = tmp_path / "dem", CacheFolder(tmp_path / "cache", 10**8)
    folder.mkdir()
    data = ridge().grids[0].height_m.copy()

    def ground(height_m: float) -> Ground:
        """The ridge from a file, with one height changed."""
        data[100, 100] = height_m
        with rasterio.open(
            folder / "a.tif", "w", driver="GTiff", width=403, height=344, count=1, dtype="float32", crs="EPSG:4326",
            transform=from_origin(-84.41375, 36.44625, 1 / 1200, 1 / 1200),
        ) as out:  # fmt: skip
            out.write(data, 1)
        return Ground(terrain=terrain_from_folder(folder))

    assert 1 == computed(cache, [SUMMIT], ground(500.0))
    assert 0 == computed(cache, [SUMMIT], ground(500.0))
    assert 1 == computed(cache, [SUMMIT], ground(501.0))


def test_a_file_gives_the_same_raster_as_memory(tmp_path: Path, raster: LevelRaster) -> None:
    """The same heights from a GeoTIFF give the same levels to a thousandth of a decibel."""
    with rasterio.open(
        tmp_path / "a.tif", "w", driver="GTiff", width=403, height=344, count=1, dtype="int16", crs="EPSG:4326",
        transform=from_origin(-84.41375, 36.44625, 1 / 1200, 1 / 1200),
    ) as out:  # fmt: skip
        out.write(ridge().grids[0].height_m.astype(np.int16), 1)
    found = level_raster(SUMMIT, GRID, ground=Ground(terrain=terrain_from_folder(tmp_path)), **CAR)

    assert np.allclose(raster.level_dbuvm, found.level_dbuvm, rtol=0, atol=1e-3)


def test_a_cancel_is_heard_while_a_site_is_computed() -> None:
    """A cancel during a raster of a million pixels ends it within two seconds; nothing is computed after it."""
    large = grid_for((36.17, -84.40, 36.44, -84.09), pixel_m=30.0)
    stop = threading.Event()
    with ThreadPoolExecutor(1) as executor:
        began = time.monotonic()
        with pytest.raises(SweepCancelled):
            for _ in level_rasters(
                [SUMMIT] * 50, large, ground=RIDGE, executor=executor, cancelled=stop.is_set, **CAR,
                progress=lambda site, done, total: stop.set(),
            ):  # fmt: skip
                pass

    assert time.monotonic() - began < 20.0


def test_leaving_early_stops_the_rest() -> None:
    """Closing the generator after the first site leaves no thread computing."""
    with Counting(1) as executor:
        many = level_rasters([SUMMIT, NORTH] * 40, GRID, ground=RIDGE, executor=executor, **CAR)
        next(many)
        many.close()
        began = time.monotonic()

    assert time.monotonic() - began < 5.0


def test_a_fault_in_one_site_is_raised_by_name() -> None:
    """An antenna that the model does not take is refused by name, through the executor."""
    with ThreadPoolExecutor(1) as executor, pytest.raises(ValueError, match="rx_height_m must be from 1 to 3000 m"):
        list(level_rasters([SUMMIT], GRID, ground=RIDGE, executor=executor, rx_height_m=0.5))


def test_a_raster_can_be_described_as_json(raster: LevelRaster) -> None:
    """The record's arrays have names that a script can list."""
    assert (
        '["level_dbuvm", "level_1pct_dbuvm", "ground_distance_m", "rx_ground_m", "tx_elevation_deg", "line_of_sight", "covered"]'
        == json.dumps(list(raster.arrays()))
    )
