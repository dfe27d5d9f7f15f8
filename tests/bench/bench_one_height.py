"""The map beside exact paths at random pixels, over terrain at one arc-second: is there one height per place?

Terrain: fractal hills over 220 x 220 km, written as GeoTIFF tiles into a folder, and the demos' ridge country, as it is.

    python tests/bench/bench_one_height.py FOLDER [pixels]
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

from sfn.field.path import path_levels
from sfn.field.rasters import level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for
from sfn.terrain.dem import heights, terrain_from_folder
from sfn.terrain.ground import Ground
from sfn.terrain.ridge import ridge

SOUTH, WEST, SIDE_DEG = 46.0, 8.0, (2.0, 2.85)
PER_DEGREE = 3600


def fractal(rows: int, columns: int, *, seed: int) -> np.ndarray:
    """Hills whose spectrum falls as that of eroded country does, down to samples. [m]"""
    rng = np.random.default_rng(seed)
    fy, fx = np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :]
    radius = np.hypot(fy, fx)
    radius[0, 0] = 1.0
    shape = radius**-1.7 * (radius > 4.0 / max(rows, columns))
    spectrum = shape * np.exp(2j * np.pi * rng.random(shape.shape)).astype(np.complex64)
    made = np.fft.irfft2(spectrum, s=(rows, columns))
    return (600.0 + 350.0 * made / made.std()).astype(np.float32)


def written(folder: Path) -> None:
    """The terrain as four tiles, once."""
    folder.mkdir(parents=True, exist_ok=True)
    if list(folder.glob("*.tif")):
        return
    rows, columns = (round(side * PER_DEGREE) for side in SIDE_DEG)
    made = fractal(rows, columns, seed=1)
    for n, (r, c) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        part = made[r * rows // 2 : (r + 1) * rows // 2, c * columns // 2 : (c + 1) * columns // 2]
        with rasterio.open(
            folder / f"{n}.tif", "w", driver="GTiff", width=part.shape[1], height=part.shape[0], count=1,
            dtype="float32", crs="EPSG:4326", tiled=True,
            transform=from_origin(
                WEST + c * SIDE_DEG[1] / 2, SOUTH + SIDE_DEG[0] - r * SIDE_DEG[0] / 2, 1 / PER_DEGREE, 1 / PER_DEGREE
            ),
        ) as out:  # fmt: skip
            out.write(part, 1)


def compared(
    name: str,
    ground: Ground,
    site: tuple[float, float],
    bounds: tuple[float, float, float, float],
    count: int,
    pixel_m: float,
) -> None:
    """Map and exact paths of one site, told in decibels."""
    top = float(heights(ground.terrain, [site[0]], [site[1]])[0])
    mast = Transmitter(
        id="a", lat_deg=site[0], lon_deg=site[1], ground_m=top, antenna_m=100.0, erp_h_kw=1.0, erp_v_kw=0.0,
        frequency_mhz=600.0, delta_n=45.0, surface_refractivity_n0=325.0,
    )  # fmt: skip
    grid = grid_for(bounds, pixel_m=pixel_m)
    begun = time.monotonic()
    with ThreadPoolExecutor(2) as executor:
        ((_, made),) = level_rasters([mast], grid, ground=ground, rx_height_m=10.0, executor=executor)
    swept_s = time.monotonic() - begun
    rng = np.random.default_rng(3)
    rows, columns = rng.integers(0, grid.rows_n, count), rng.integers(0, grid.columns_n, count)
    begun = time.monotonic()
    apart = np.array(
        [
            np.subtract(
                (made.level_dbuvm[r, c], made.level_1pct_dbuvm[r, c]),
                path_levels(mast, float(grid.lat_deg[r]), float(grid.lon_deg[c]), ground=ground, rx_height_m=10.0).level_dbuvm,
            )
            for r, c in zip(rows, columns, strict=True)
        ]
    )  # fmt: skip
    apart = apart[np.isfinite(apart).all(axis=1)]
    for k, pct in enumerate((50, 1)):
        size = np.abs(apart[:, k])
        print(
            f"{name}: {grid.pixels_n} pixels of {pixel_m:g} m in {swept_s:.1f} s, averaged {made.averaged_n}; {len(apart)} "
            f"pixels at {pct} %: mean {apart[:, k].mean():+.3f}, rms {np.sqrt(np.mean(apart[:, k] ** 2)):.3f}, "
            f"{100 * np.mean(size <= 1.5):.1f} % within 1.5 dB, worst {size.max():.2f} dB; paths {time.monotonic() - begun:.0f} s"
        )


def main() -> None:
    """Both terrains."""
    folder, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 300
    pixel_m = float(sys.argv[3]) if len(sys.argv) > 3 else 500.0
    compared(
        "ridge country",
        Ground(terrain=ridge()),
        (36.198, -84.231),
        (36.17, -84.4, 36.44, -84.09),
        count=count,
        pixel_m=100.0,
    )
    written(folder)
    edge = 0.02
    bounds = (SOUTH + edge, WEST + edge, SOUTH + SIDE_DEG[0] - edge, WEST + SIDE_DEG[1] - edge)
    compared(
        "220 km at 1 arc-second",
        Ground(terrain=terrain_from_folder(folder)),
        (47.0, 9.4),
        bounds,
        count=count,
        pixel_m=pixel_m,
    )


if __name__ == "__main__":
    main()
