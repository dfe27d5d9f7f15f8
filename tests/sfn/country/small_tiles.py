"""Synthetic tiles with the published georeferencing, written from the publishers' words and not by the code under test.

- Copernicus DEM: 1 x 1 degree, samples centred on whole arc-seconds, the first column on the west meridian, the first
  row on the north parallel, shared east and south ones removed; so the corner is half a sample outside: a tile of
  N36 W085 begins at -85.00013888..., 37.00013888... (float32, EPSG:4326).
- ESA WorldCover: 3 x 3 degrees, 36,000 samples a side, edges on whole degrees (uint8).
- GHS-POP: 10 x 10 degrees, 12,000 cells a side; R6_C6 spans -130.007916, 29.099583 to -120.007916, 39.099583.
"""

import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import from_origin
from rasterio.windows import Window

Plane = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]
QUICK = {"compress": "deflate", "zlevel": 1, "tiled": True, "blockxsize": 512, "blockysize": 512}


def slope(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.float64]:
    """A slope that tells half a sample apart: 200 m a degree north, 100 m a degree east, about 300 m. [m]"""
    return 300.0 + 200.0 * (lat - 36.0) + 100.0 * (lon + 85.0)


def heights_name(south: int, west: int, *, coarse: bool = False) -> str:
    """As published."""
    ns, ew = "N" if south >= 0 else "S", "E" if west >= 0 else "W"
    name = f"Copernicus_DSM_COG_{30 if coarse else 10}_{ns}{abs(south):02d}_00_{ew}{abs(west):03d}_00_DEM"
    return f"{name}/{name}.tif"


def write_heights(
    folder: Path, south: int, west: int, *, coarse: bool = False, surface: Plane = slope, shift: float = 0.0
) -> Path:
    """A tile of heights below 70 degrees of latitude; `shift` moves it, in samples."""
    path = folder / heights_name(south, west, coarse=coarse)
    path.parent.mkdir(parents=True, exist_ok=True)
    n = 1200 if coarse else 3600
    step = 1.0 / n
    # By the readme: as wide as high up to 50 degrees, 1.5 times up to 60, twice up to 70.
    away = min(abs(south), abs(south + 1))
    across = 1.0 if away < 50 else 1.5 if away < 60 else 2.0
    columns = round(n / across)
    lat = south + 1 - np.arange(n) * step
    lon = west + np.arange(columns) * across * step
    values = surface(lat[:, None], lon[None, :]).astype(np.float32)
    place = from_origin(west - across * step / 2 + shift * step, south + 1 + step / 2, across * step, step)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=n,
        count=1,
        dtype="float32",
        crs="EPSG:4326",
        transform=place,
        predictor=3,
        **QUICK,
    ) as out:
        out.write(values, 1)
    return path


def write_cover(
    folder: Path, south: int, west: int, patches: dict[tuple[int, int, int, int], int], *, rest: int = 30
) -> Path:
    """A tile of classes; `patches` are row, column, rows and columns of samples with their class. Only these are written."""
    ns, ew = "N" if south >= 0 else "S", "E" if west >= 0 else "W"
    path = folder / f"ESA_WorldCover_10m_2021_v200_{ns}{abs(south):02d}{ew}{abs(west):03d}_Map.tif"
    path.parent.mkdir(parents=True, exist_ok=True)
    step = 1.0 / 12_000
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=36_000,
        height=36_000,
        count=1,
        dtype="uint8",
        crs="EPSG:4326",
        nodata=0,
        transform=from_origin(west, south + 3, step, step),
        compress="deflate",
        tiled=True,
        blockxsize=1024,
        blockysize=1024,
        SPARSE_OK=True,
    ) as out:
        for (row, column, rows, columns), number in patches.items():
            out.write(np.full((rows, columns), number, np.uint8), 1, window=Window(column, row, columns, rows))
        if not patches:
            out.write(np.full((1024, 1024), rest, np.uint8), 1, window=Window(0, 0, 1024, 1024))
    return path


# The quoted edges, completed to whole arc-seconds of three: 0.007916... is 9.5, 0.099583... is 119.5 of 1/1200 degree.
def people_corner(row: int, column: int) -> tuple[float, float]:
    """North and west of a tile: of R6_C6 39.099583, -130.007916."""
    return 39.0995833333333333 - 10.0 * (row - 6), -130.0079166666666667 + 10.0 * (column - 6)


def write_people(
    folder: Path, row: int, column: int, patches: dict[tuple[int, int], NDArray[np.float64]], *, shift: float = 0.0
) -> Path:
    """An archive with a tile of people; `patches` are people from a row and column of cells on."""
    name = f"GHS_POP_E2020_GLOBE_R2023A_4326_3ss_V1_0_R{row}_C{column}"
    folder.mkdir(parents=True, exist_ok=True)
    north, west = people_corner(row, column)
    step = 1.0 / 1200
    raster = folder / f"{name}.tif"
    with rasterio.open(
        raster,
        "w",
        driver="GTiff",
        width=12_000,
        height=12_000,
        count=1,
        dtype="float64",
        crs="EPSG:4326",
        nodata=-200.0,
        transform=from_origin(west + shift * step, north, step, step),
        SPARSE_OK=True,
        **QUICK,
    ) as out:
        for (r, c), people in patches.items():
            out.write(people, 1, window=Window(c, r, people.shape[1], people.shape[0]))
    path = folder / f"{name}.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(raster, raster.name)
        archive.writestr("GHS_POP_readme.txt", "about")
    raster.unlink()
    return path


def places_line(name: str, lat: float, lon: float, people: int, *, code: str = "PPL") -> str:
    """A line of GeoNames' table, 19 columns (the readme of its dump)."""
    return "\t".join(
        [
            "1",
            name,
            name,
            "",
            f"{lat}",
            f"{lon}",
            "P",
            code,
            "US",
            "",
            "TN",
            "",
            "",
            "",
            str(people),
            "",
            "300",
            "America/New_York",
            "2024-01-01",
        ]
    )


def write_places(folder: Path, lines: list[str]) -> Path:
    """The archive of GeoNames' places."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "cities500.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("cities500.txt", "\n".join(lines) + "\n")
    return path
