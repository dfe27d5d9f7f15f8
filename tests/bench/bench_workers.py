"""Levels by workers beside this process alone, as ratios; and what 50 sites x 100 million pixels would take on 64 cores.

Run: python tests/bench/bench_workers.py [sites]   (4 by default, a million pixels each; two workers of this machine)

Reference in the same run: the same rasters by one thread and by two threads of one process. Ratios say more than
seconds on a machine that does other work, and two workers cannot be twice as fast where two cores are not free.
"""

import resource
import shutil
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

from sfn.field.cache import load_part, store_part
from sfn.field.raster import RasterPart, joined, level_raster, part_of
from sfn.field.rasters import CacheFolder, level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import Grid, grid_for
from sfn.propagation.share import Share
from sfn.terrain.dem import heights, terrain_from_folder
from sfn.terrain.ground import Ground, ground_window
from sfn.terrain.ridge import ridge
from webapp.config.workers_setting import WorkersSetting
from webapp.work.workers import JobWorkers, Workers

SITES_N = next((int(a) for a in sys.argv[1:] if a.isdigit()), 4)
PARTS_N = 8
MODEL_SITES_N, MODEL_PIXELS_N, MODEL_CORES_N = 50, 100_000_000, 64


def mirrored(folder: Path) -> Ground:
    """The ridge, mirrored at its edges so that it goes on for 100 km, as a file that workers can open."""
    tile = ridge().grids[0].height_m
    block = np.block([[tile, tile[:, ::-1]], [tile[::-1], tile[::-1, ::-1]]])
    whole = np.tile(block, (2, 2))
    folder.mkdir(parents=True)
    with rasterio.open(
        folder / "mirrored.tif", "w", driver="GTiff", width=whole.shape[1], height=whole.shape[0], count=1,
        dtype="float32", crs="EPSG:4326", transform=from_origin(-84.9, 36.9, 1 / 1200, 1 / 1200),
    ) as file:  # fmt: skip
        file.write(whole, 1)
    return Ground(terrain=terrain_from_folder(folder))


def sites(ground: Ground, sites_n: int) -> list[Transmitter]:
    """Sites on that ground."""
    south, west, north, east = ground.terrain.bounds_deg
    chance = np.random.default_rng(1)
    lat = chance.uniform(south + 0.3, north - 0.3, sites_n)
    lon = chance.uniform(west + 0.3, east - 0.3, sites_n)
    return [
        Transmitter(f"s{n}", lat[n], lon[n], float(h), 100.0, 10.0, 0.0, 600.0, 45.0, 325.0)
        for n, h in enumerate(heights(ground.terrain, lat, lon))
    ]


def took(of: list[Transmitter], grid: Grid, ground: Ground, threads_n: int, cache: CacheFolder | None = None) -> float:
    """Seconds that rasters of all sites take."""
    with ThreadPoolExecutor(threads_n) as executor:
        began = time.perf_counter()
        for _ in level_rasters(of, grid, ground=ground, rx_height_m=10.0, executor=executor, cache=cache):
            pass
        return time.perf_counter() - began


@contextmanager
def by_workers(workers_n: int, data: Path) -> Iterator[CacheFolder]:
    """A folder into which so many workers compute; each has read the ground and loaded its code."""
    workers = Workers(WorkersSetting(local_n=workers_n), data)
    try:
        while workers.seen.workers_n < workers_n:
            time.sleep(0.05)
        yield CacheFolder(data / "rasters", 10**10, JobWorkers(workers, cancelled=lambda: False))
    finally:
        workers.close()


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        ground = mirrored(data / "terrain" / "mirrored")
        south, west, north, east = ground.terrain.bounds_deg
        grid = grid_for((south + 0.1, west + 0.1, north - 0.1, east - 0.1), pixel_m=102.0)
        of = sites(ground, SITES_N)
        took(of[:1], grid, ground, 1)
        one, two = took(of, grid, ground, 1), took(of, grid, ground, 2)
        print(f"{SITES_N} sites x {grid.pixels_n:,} pixels; this process: 1 thread {one:.1f} s, 2 threads {two:.1f} s "
              f"({one / two:.2f} times as fast)")  # fmt: skip
        for workers_n in (1, 2):
            with by_workers(workers_n, data) as cache:
                took(of[:workers_n], grid, ground, 1, cache)
                shutil.rmtree(cache.folder)
                whole = took(of, grid, ground, 1, cache)
                shutil.rmtree(cache.folder)
                single = took(of[:1], grid, ground, 1, cache)
                shutil.rmtree(cache.folder)
            print(f"{workers_n} workers: {whole:.1f} s, {one / whole:.2f} times as fast as 1 thread, "
                  f"{two / whole:.2f} as 2; one site in parts: {single:.2f} s, {one / SITES_N / single:.2f} times")  # fmt: skip
        model(of[0], grid, ground, data / "parts")


def model(of: Transmitter, grid: Grid, ground: Ground, folder: Path) -> None:
    """The constants, one thread, and what follows for many sites and cores."""
    south, west, north, east = ground.terrain.bounds_deg
    window = ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)

    def computed(parts_n: int) -> tuple[float, list[RasterPart]]:
        """Processor seconds a pixel of one site in so many parts, one after another."""
        began, found = time.process_time(), []
        for part_n in range(parts_n):
            share = Share(part_n, parts_n)
            found.append(part_of(level_raster(of, grid, ground=window, rx_height_m=10.0, share=share), share))
        return (time.process_time() - began) / grid.pixels_n, found

    whole_s, _ = computed(1)
    parts_s, parts = computed(PARTS_N)
    again_s = max(0.0, (parts_s - whole_s) / (PARTS_N - 1))
    tracemalloc.start()
    share = Share(0, PARTS_N)
    level_raster(of, grid, ground=window, rx_height_m=10.0, share=share)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    began = time.perf_counter()
    for n, part in enumerate(parts):
        store_part(folder, f"part{n}", part, most_bytes=10**10)
    stored_s = (time.perf_counter() - began) / grid.pixels_n
    size = sum(path.stat().st_size for path in folder.iterdir()) / grid.pixels_n
    began = time.perf_counter()
    joined([one for n in range(PARTS_N) if (one := load_part(folder, f"part{n}")) is not None], grid)
    joined_s = (time.perf_counter() - began) / grid.pixels_n
    print(
        f"one core: {1 / whole_s:,.0f} pixels/s; each further part of a site {1e9 * again_s:.0f} ns a pixel of the site"
    )
    print(f"a part of {PARTS_N}: {peak / grid.pixels_n:.0f} bytes a pixel of the site at most (numpy's own), beside the "
          f"ground; a file: {size:.0f} bytes a pixel, written {1e9 * stored_s:.0f}, read and joined "
          f"{1e9 * joined_s:.0f} ns a pixel")  # fmt: skip
    total = MODEL_SITES_N * MODEL_PIXELS_N
    each_n = -(-2 * MODEL_CORES_N // MODEL_SITES_N)
    work_s = total * (whole_s + (each_n - 1) * again_s + stored_s) / MODEL_CORES_N
    print(f"model, {MODEL_SITES_N} sites x {MODEL_PIXELS_N:,} pixels on {MODEL_CORES_N} cores, {each_n} parts a site: "
          f"{work_s:.0f} s of workers, then or beside it {total * joined_s:.0f} s of the one process that joins; "
          f"{total * size / 1e9:.0f} GB through the folder, {total * size / work_s / 1e9:.1f} GB a second")  # fmt: skip
    print(f"memory of this process at most: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB")


if __name__ == "__main__":
    main()
