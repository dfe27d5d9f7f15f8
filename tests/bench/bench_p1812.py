"""The sweep beside its references, in one run: speed as ratios, accuracy against every pixel's own exact path.

Terrain: the ridge country inside matplotlib, mirrored where it ends, mast 150 m on its summit, 600 MHz, receivers 10 m.

    python tests/bench/bench_p1812.py [speed] [accuracy] [many]
"""

import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import direct, inverse
from sfn.propagation.horizons import centre_latitude
from sfn.propagation.link import LatLonRaster, Link, Terrain
from sfn.propagation.p1812 import path_loss
from sfn.propagation.sweep import losses_around

# The file's own bounds are wrong; these are checked against towns and the county line.
NORTH_DEG, WEST_DEG, STEP_DEG = 36.44625, -84.41375, 1 / 1200
SUMMIT_DEG = (36.198, -84.231)
KM_PER_DEG = 111.2


def ridge():
    """Ridge terrain, tiled by mirroring, and the summit with its height."""
    from matplotlib.cbook import get_sample_data

    with get_sample_data("jacksboro_fault_dem.npz") as file:
        one = file["elevation"].astype(np.float32)
    mirrored = np.block([[one, one[:, ::-1]], [one[::-1], one[::-1, ::-1]]])
    rows, columns = mirrored.shape
    raster = LatLonRaster(
        np.tile(mirrored, (3, 3)), NORTH_DEG - STEP_DEG / 2 + rows * STEP_DEG,
        WEST_DEG + STEP_DEG / 2 - columns * STEP_DEG, -STEP_DEG, STEP_DEG,
    )  # fmt: skip
    row = round((raster.lat_deg - SUMMIT_DEG[0]) / STEP_DEG)
    column = round((SUMMIT_DEG[1] - raster.lon_deg) / STEP_DEG)
    near = raster.values[row - 6 : row + 7, column - 6 : column + 7]
    i, j = np.unravel_index(near.argmax(), near.shape)
    lat, lon = raster.lat_deg - (row - 6 + i) * STEP_DEG, raster.lon_deg + (column - 6 + j) * STEP_DEG
    return raster, float(lat), float(lon), float(near.max())


def bilinear(raster, lat, lon):
    """Heights of the raster at places, in numpy: the reference's own sampler."""
    row, column = (lat - raster.lat_deg) / raster.lat_step_deg, (lon - raster.lon_deg) / raster.lon_step_deg
    i, j = row.astype(int), column.astype(int)
    a, b, v = row - i, column - j, raster.values.astype(np.float64)
    top = v[i, j] * (1 - b) + v[i, j + 1] * b
    return top * (1 - a) + (v[i + 1, j] * (1 - b) + v[i + 1, j + 1] * b) * a


def pixels(lat, lon, *, radius_km, pixel_m):
    """Centres of a pixel grid round the site."""
    up, side = radius_km / KM_PER_DEG, radius_km / KM_PER_DEG / np.cos(np.radians(lat))
    return grid_for((lat - up, lon - side, lat + up, lon + side), pixel_m=pixel_m).points_deg


def exact_losses(raster, lat, lon, link, rx_lat, rx_lon, *, step_m):
    """The exact path of every receiver along its own geodesic: one row a percentage of time."""
    ground, azimuth, _ = inverse(lat, lon, rx_lat, rx_lon)
    own = bilinear(raster, rx_lat, rx_lon)
    out = np.empty((len(link.time_pct), rx_lat.size))
    for j in range(rx_lat.size):
        points = max(int((ground[j] - 0.5 * step_m) / step_m), 0) + 1
        along = np.append(np.arange(points) * step_m, ground[j])
        heights = bilinear(raster, *direct(lat, lon, azimuth_deg=azimuth[j], ground_m=along))
        heights[0], heights[-1] = link.tx_ground_m, own[j]
        middle = centre_latitude(lat, lon, rx_lat[j], rx_lon[j], distance_km=ground[j] / 1000.0)
        for k, time_pct in enumerate(link.time_pct):
            out[k, j] = path_loss(
                along / 1000.0, heights, frequency_mhz=link.frequency_mhz, tx_height_m=link.tx_height_m,
                rx_height_m=link.rx_height_m, polarisation=link.polarisation, time_pct=time_pct, latitude_deg=middle,
            ).loss_db  # fmt: skip
    return out


def best(function, *, runs=3):
    """Least time of some runs, after one that compiles, and the last answer. [s]"""
    function()
    times = []
    for _ in range(runs):
        begun = time.process_time()
        answer = function()
        times.append(time.process_time() - begun)
    return min(times), answer


def speed(raster, lat, lon, link):
    """Receivers a second on one core, 1 % and 50 % together, beside a path a pixel, and pycraf where installed."""
    for step_m in (90.0, 45.0):
        rx_lat, rx_lon = pixels(lat, lon, radius_km=50.0, pixel_m=90.0)
        seconds, swept = best(
            lambda rx_lat=rx_lat, rx_lon=rx_lon, step_m=step_m: losses_around(
                lat, lon, rx_lat_deg=rx_lat, rx_lon_deg=rx_lon, link=link, terrain=Terrain(raster), step_m=step_m,
                pixel_m=90.0, radius_km=50.0,
            )
        )  # fmt: skip
        count = int(np.isfinite(swept.loss_db[0]).sum())
        rate = count / seconds
        print(
            f"sweep, 50 km, 90 m pixels, {step_m:g} m steps: {count} receivers in {seconds:.2f} s: {rate / 1e6:.2f} M/s"
        )
        if step_m == 90.0:
            per_sweep = rate
    chosen = np.random.default_rng(1).permutation(np.flatnonzero(np.isfinite(swept.loss_db[0].ravel())))[:300]
    begun = time.process_time()
    exact_losses(raster, lat, lon, link, rx_lat.ravel()[chosen], rx_lon.ravel()[chosen], step_m=90.0)
    per_path = 300 / (time.process_time() - begun)
    print(
        f"exact path a pixel, the brute-force form: {per_path:.0f} /s; the sweep is {per_sweep / per_path:.0f} times that"
    )
    beside_pycraf(per_sweep)


def beside_pycraf(per_sweep):
    """Ratio to a path a pixel of pycraf's compiled P.452 (the sibling model) over a profile of the same length and step."""
    try:
        from astropy import units as u
        from pycraf import pathprof
    except ImportError:
        print("pycraf is not installed: no ratio to it")
        return
    d = np.linspace(0.0, 33.3, 371)  # the mean distance inside 50 km, 90 m steps
    profile = {"hprof_dists": d * u.km, "hprof_heights": 300.0 * (1.0 + np.sin(d)) * u.m}
    begun = time.process_time()
    for time_pct in [50.0, 1.0] * 100:
        path = pathprof.PathProp(
            600 * u.MHz, 290 * u.K, 1013 * u.hPa, 7 * u.deg, 50 * u.deg, 7 * u.deg, 50.3 * u.deg, 150 * u.m, 10 * u.m,
            0.09 * u.km, time_pct * u.percent, hprof_bearing=0 * u.deg, hprof_backbearing=180 * u.deg,
            delta_N=45 / u.km, N0=325 * u.dimensionless_unscaled, **profile,
        )  # fmt: skip
        pathprof.loss_complete(path)
    per_path = 100 / (time.process_time() - begun)
    print(
        f"pycraf, one path at both percentages: {per_path:.0f} /s; the sweep is {per_sweep / per_path:.0f} times that"
    )


def accuracy(raster, lat, lon, link):
    """Raster beside every pixel's own exact path: radius 15 km, 90 m pixels, at both steps."""
    rx_lat, rx_lon = pixels(lat, lon, radius_km=15.0, pixel_m=90.0)
    inside = inverse(lat, lon, rx_lat, rx_lon)[0] < 15_000.0
    rx_lat, rx_lon = rx_lat[inside], rx_lon[inside]
    chosen = np.random.default_rng(2).permutation(rx_lat.size)[:2000]
    rx_lat, rx_lon = rx_lat[chosen], rx_lon[chosen]
    for step_m in (90.0, 45.0):
        swept = losses_around(
            lat, lon, rx_lat_deg=rx_lat, rx_lon_deg=rx_lon, link=link, terrain=Terrain(raster), step_m=step_m,
            pixel_m=90.0, radius_km=15.1,
        )  # fmt: skip
        exact = exact_losses(raster, lat, lon, link, rx_lat, rx_lon, step_m=step_m)
        for k, time_pct in enumerate(link.time_pct):
            off = np.abs(swept.loss_db[k] - exact[k])
            print(
                f"against exact paths, {step_m:g} m steps, {time_pct:g} % of time, {off.size} pixels: "
                f"rms {np.sqrt(np.mean(off**2)):.3f} dB, {np.mean(off <= 1.5) * 100:.2f} % within 1.5 dB, "
                f"p99 {np.quantile(off, 0.99):.2f}, greatest {off.max():.1f}"
            )


def many(raster, lat, lon, link):
    """Twenty sites over a million pixels of 100 m on two cores, a site a thread."""
    rx_lat, rx_lon = pixels(lat, lon, radius_km=50.0, pixel_m=100.0)
    places = np.random.default_rng(3).uniform(-0.3, 0.3, (20, 2)) + np.array([lat, lon])

    def site(place, step_m):
        return losses_around(
            *place, rx_lat_deg=rx_lat, rx_lon_deg=rx_lon, link=link, terrain=Terrain(raster), step_m=step_m, pixel_m=100.0
        ).loss_db.astype(np.float32)  # fmt: skip

    for step_m in (90.0, 45.0):
        begun = time.perf_counter()
        with ThreadPoolExecutor(2) as threads:
            list(threads.map(lambda place, step_m=step_m: site(place, step_m), places))
        seconds = time.perf_counter() - begun
        print(
            f"20 sites x {rx_lat.size / 1e6:.2f} M pixels, {step_m:g} m steps, 2 threads of {os.cpu_count()} cores: "
            f"{seconds:.1f} s"
        )


def main():
    """Run the parts that were asked for, or all."""
    raster, lat, lon, ground_m = ridge()
    link = Link(ground_m, 150.0, 10.0, 600.0, "H")
    for part in (speed, accuracy, many):
        if len(sys.argv) == 1 or part.__name__ in sys.argv[1:]:
            part(raster, lat, lon, link)


if __name__ == "__main__":
    main()
