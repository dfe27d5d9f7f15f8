"""Travel times of 20 sites over a million pixels, beside pyproj's geodesic for every pair, in one run.

Issue: at least 20 times faster at 1 ns. Run it as ``python tests/bench/bench_travel.py`` from the project's root.
"""

import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from pyproj import Geod

sys.path.insert(0, str(Path(__file__).parents[2]))

from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import path_length, travel_time
from sfn.geodesy.travel import Points, azimuths, travel_times

SITES_N = 20


def clock(work, *, repeats: int = 3):
    """Best of a few runs, and the answer. [s]"""
    best, answer = np.inf, None
    for _ in range(repeats):
        start = time.perf_counter()
        answer = work()
        best = min(best, time.perf_counter() - start)
    return best, answer


def main() -> None:
    """Print seconds and ratios."""
    rng = np.random.default_rng(1)
    grid = grid_for((47.0, 7.0, 49.0, 10.0), pixel_m=220)
    lat, lon = rng.uniform(47, 49, SITES_N), rng.uniform(7, 10, SITES_N)
    antenna_asl_m = rng.uniform(200, 1500, SITES_N)
    receiver_asl_m = rng.uniform(100, 1200, grid.shape)
    pairs_n = SITES_N * grid.pixels_n
    print(
        f"{SITES_N} sites x {grid.pixels_n:,} pixels = {pairs_n / 1e6:.1f} million pairs, {os.cpu_count()} processors"
    )

    pixel_lat, pixel_lon = (angles.ravel() for angles in grid.points_deg)
    geod = Geod(ellps="WGS84")

    def by_pyproj():
        """One site in five is enough to know the time per pair."""
        times = []
        for site in range(0, SITES_N, 5):
            here = np.full(pixel_lat.size, lon[site]), np.full(pixel_lat.size, lat[site])
            ground_m = geod.inv(*here, pixel_lon, pixel_lat)[2]
            times.append(
                travel_time(path_length(ground_m, height_difference_m=receiver_asl_m.ravel() - antenna_asl_m[site]))
            )
        return np.array(times)

    sites = {"lat_deg": lat, "lon_deg": lon}
    heights = {"antenna_asl_m": antenna_asl_m, "receiver_asl_m": receiver_asl_m}
    travel_times(grid, **sites, **heights)  # compile
    their_s, theirs = clock(by_pyproj, repeats=1)
    their_s *= 5
    print(f"pyproj, every pair (4 sites timed)    {their_s:8.3f} s   {their_s / pairs_n * 1e9:7.1f} ns a pair")
    with ThreadPoolExecutor() as threads:
        points = Points(np.ascontiguousarray(pixel_lat), np.ascontiguousarray(pixel_lon))
        flat = {**heights, "receiver_asl_m": receiver_asl_m.ravel()}
        cases = {
            "ours, one thread": lambda: travel_times(grid, **sites, **heights),
            "ours, all threads": lambda: travel_times(grid, **sites, **heights, executor=threads),
            "ours, as points": lambda: travel_times(points, **sites, **flat, executor=threads),
            "ours, azimuths": lambda: azimuths(grid, **sites, executor=threads),
        }
        for name, work in cases.items():
            our_s, ours = clock(work)
            line = f"{name:37} {our_s:8.3f} s   {our_s / pairs_n * 1e9:7.1f} ns a pair   ratio {their_s / our_s:6.1f}"
            if "azimuths" not in name:
                worst_us = np.abs(ours.reshape(SITES_N, -1)[::5] - theirs).max()
                line += f"   worst difference {worst_us * 1e6:.3f} ps"
            print(line)


if __name__ == "__main__":
    main()
