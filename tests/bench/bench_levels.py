"""Twenty sites over a million pixels each, end to end, with the terrain loaded; and the same found on disk.

Run: python tests/bench/bench_levels.py [sites] [--half]   (--half: profile step of half a terrain sample)

Terrain is the ridge, mirrored so that it goes on seamlessly for 100 km. Reference in the same run: one path
after another by the exact model.
"""

import resource
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from sfn.field.path import path_levels
from sfn.field.raster import level_raster
from sfn.field.rasters import CacheFolder, level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for
from sfn.terrain.dem import heights, terrain_from_grid
from sfn.terrain.ground import Ground, ground_window
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

SITES = next((int(a) for a in sys.argv[1:] if a.isdigit()), 20)


def mirrored() -> Ground:
    """The ridge, mirrored at its edges, 1.2 x 1.4 degrees."""
    tile = ridge().grids[0].height_m
    block = np.block([[tile, tile[:, ::-1]], [tile[::-1], tile[::-1, ::-1]]])
    whole = HeightGrid(np.ascontiguousarray(np.tile(block, (2, 2))), 36.9, -84.9, 1 / 1200, 1 / 1200)
    return Ground(terrain=terrain_from_grid(whole, name="mirrored ridge"))


def main() -> None:
    """Measure and print."""
    ground = mirrored()
    south, west, north, east = ground.terrain.bounds_deg
    grid = grid_for((south + 0.1, west + 0.1, north - 0.1, east - 0.1), pixel_m=102.0)
    chance = np.random.default_rng(1)
    lat = chance.uniform(south + 0.3, north - 0.3, SITES)
    lon = chance.uniform(west + 0.3, east - 0.3, SITES)
    sites = [
        Transmitter(f"s{n}", lat[n], lon[n], float(h), 100.0, 10.0, 0.0, 600.0, 45.0, 325.0)
        for n, h in enumerate(heights(ground.terrain, lat, lon))
    ]
    step_m = ground.terrain.grids[0].step_m(36.3) * (0.5 if "--half" in sys.argv else 1.0)
    window = ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)

    began = time.perf_counter()
    small = grid_for((south + 0.5, west + 0.5, south + 0.6, west + 0.6), pixel_m=500.0)
    level_raster(sites[0], small, ground=window, rx_height_m=10.0, step_m=step_m)
    print(f"first raster, compilation or its cache included: {time.perf_counter() - began:.2f} s")

    began = time.perf_counter()
    level_raster(sites[0], grid, ground=window, rx_height_m=10.0, step_m=step_m)
    one_s = time.perf_counter() - began
    # On a machine that does other work the processor's seconds are the honest ones.
    print(f"one site, {grid.pixels_n:,} pixels, step {step_m:.0f} m, one thread: {one_s:.2f} s")

    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(2) as executor:
        cache = CacheFolder(Path(folder), 10**9)
        for what in ("computed", "found on disk"):
            began, spent = time.perf_counter(), time.process_time()
            count = sum(
                1
                for _ in level_rasters(
                    sites, grid, ground=ground, rx_height_m=10.0, step_m=step_m, executor=executor, cache=cache
                )
            )
            took_s = time.perf_counter() - began
            spent_s = time.process_time() - spent
            print(
                f"{count} sites {what}: {took_s:.2f} s ({1000 * took_s / count:.0f} ms a site); "
                f"{spent_s:.2f} s of processor, {1000 * spent_s / count:.0f} ms a site"
            )

    began = time.perf_counter()
    for row in range(0, grid.rows_n, grid.rows_n // 20):
        path_levels(sites[0], grid.lat_deg[row], grid.lon_deg[500], ground=window, rx_height_m=10.0, step_m=step_m)
    path_s = (time.perf_counter() - began) / len(range(0, grid.rows_n, grid.rows_n // 20))
    print(f"raster beside exact paths one by one: {path_s * grid.pixels_n / one_s:,.0f} times as fast")
    print(f"memory at most: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB")


if __name__ == "__main__":
    main()
