"""One raster file of heights or classes: what it must say of itself, and its values on another grid's samples."""

import math
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
import rasterio.errors
import rasterio.transform
import rasterio.warp
from numpy.typing import NDArray

from sfn.terrain.digest import file_digest
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid
from sfn.terrain.memory import Memory

# One reader for each ending, whatever the content claims: others may open further files, or the network.
READERS = {".tif": "GTiff", ".tiff": "GTiff", ".hgt": "SRTMHGT"}
WGS84 = "EPSG:4326"
LEAST_HEIGHT_M, GREATEST_HEIGHT_M = -500.0, 9000.0
FOOT_M = 0.3048
_METRES = {"", "m", "metre", "meter", "metres", "meters"}
_FEET = {"ft", "foot", "feet", "international foot", "us survey foot", "foot_us", "us-ft"}


@dataclass(frozen=True, slots=True)
class Tile:
    """One raster file: where it lies, how fine it is, and the digest of its content."""

    path: str
    bounds_deg: tuple[float, float, float, float]
    step_lat_deg: float
    step_lon_deg: float
    digest: str

    def step_m(self, lat_deg: float) -> float:
        """The finer of the two spacings on the ground at a latitude. [m]"""
        return METRES_PER_DEGREE_M * min(self.step_lat_deg, self.step_lon_deg * math.cos(math.radians(lat_deg)))


class UnusableError(Exception):
    """A file that cannot serve as terrain: what is wrong, what is expected."""


def open_raster(path: Path | str) -> rasterio.DatasetReader:
    """A local raster, by the reader for its ending."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        return rasterio.open(path, driver=READERS[Path(path).suffix.lower()])


def tile_of(path: Path, *, memory: Memory | None = None) -> Tile:
    """What must be known of a file before it is read, out of the memory where it has not changed.

    Raises
    ------
    UnusableError
        If the file cannot be read, has no coordinate system, is a picture, or counts in an unknown unit.
    """
    expected = "a GeoTIFF, or SRTM tile that kept its name, like N36W085.hgt"
    if path.suffix.lower() not in READERS or not path.is_file():
        raise UnusableError("is not a terrain file", expected)
    if memory is not None and isinstance(remembered := memory.tile(path), Tile):
        return remembered
    try:
        with open_raster(path) as source:
            if source.crs is None or source.transform.is_identity:
                raise UnusableError("does not say where it lies", "a raster with a coordinate reference system")
            if source.count >= 3 and source.dtypes[0] == "uint8":
                raise UnusableError("is a picture, not heights", "one band of heights in metres")
            _metre_factor(source)
            bounds = rasterio.warp.transform_bounds(source.crs, WGS84, *source.bounds)
            height, width = source.shape
    except rasterio.errors.RasterioError as error:
        raise UnusableError("cannot be read as a raster", expected) from error
    west, south, east, north = bounds
    tile = Tile(
        str(path.resolve()),
        (south, west, north, east if east > west else east + 360.0),
        (north - south) / height,
        ((east - west) % 360.0 or 360.0) / width,
        file_digest(path, known=None if memory is None else memory.digests),
    )
    if memory is not None:
        memory.keep_tile(path, tile)
    return tile


def _metre_factor(source: rasterio.DatasetReader) -> float:
    """Metres to one unit of the file."""
    unit = (source.units[0] or "").strip().lower()
    if unit in _METRES:
        return 1.0
    if unit in _FEET:
        return FOOT_M
    raise UnusableError(f"counts heights in {unit!r}", "heights in metres or feet")


def read(tile: Tile, target: HeightGrid, *, turn_deg: float, blended: bool) -> NDArray[np.float32]:
    """One file's values on the target's samples, NaN where it has none.

    Parameters
    ----------
    tile : Tile
    target : HeightGrid
        Only its place and spacing count.
    turn_deg : float
        0, or 360 either way for a target beyond the date line. [degrees]
    blended : bool
        Bilinear in metres, means where the target is coarser; else the nearest value as it is.
    """
    rows, columns = target.height_m.shape
    _, target_west, target_north, _ = target.bounds_deg
    out = np.full((rows, columns), np.nan, dtype=np.float32)
    place = rasterio.transform.from_origin(
        target_west - turn_deg, target_north, target.step_lon_deg, target.step_lat_deg
    )
    with open_raster(tile.path) as source:
        part = _part(source, target, turn_deg)
        if part is None:
            return out
        row, column, n_rows, n_columns = part
        factor = max(
            1, int(min(target.step_lat_deg / tile.step_lat_deg, target.step_lon_deg / tile.step_lon_deg) + 1e-6)
        )
        heights_m = _averaged(source, (row, column, n_rows, n_columns), factor, blended)
        a, b, c, d, e, f = tuple(source.transform)[:6]
        shift = rasterio.Affine(
            a * factor, b * factor, c + a * column + b * row, d * factor, e * factor, f + d * column + e * row
        )
        rasterio.warp.reproject(
            heights_m,
            out,
            src_transform=shift,
            src_crs=source.crs,
            src_nodata=np.nan,
            dst_transform=place,
            dst_crs=WGS84,
            dst_nodata=np.nan,
            resampling=rasterio.warp.Resampling.bilinear if blended else rasterio.warp.Resampling.nearest,
            tolerance=0.0,
        )
    return out


def _part(source: rasterio.DatasetReader, target: HeightGrid, turn_deg: float) -> tuple[int, int, int, int] | None:
    """Row, column, rows and columns of a file that bear on the target, with a margin."""
    south, west, north, east = target.bounds_deg
    west, east = west - turn_deg, east - turn_deg
    held = rasterio.warp.transform_bounds(source.crs, WGS84, *source.bounds)
    west, south = max(west, held[0] - 0.01), max(south, held[1] - 0.01)
    east, north = min(east, held[2] + 0.01), min(north, held[3] + 0.01)
    if west >= east or south >= north:
        return None
    bounds = rasterio.warp.transform_bounds(WGS84, source.crs, west, south, east, north)
    asked = rasterio.windows.from_bounds(*bounds, transform=source.transform)
    margin = 2
    row, column = max(0, int(asked.row_off) - margin), max(0, int(asked.col_off) - margin)
    last_row = min(source.height, int(np.ceil(asked.row_off + asked.height)) + margin)
    last_column = min(source.width, int(np.ceil(asked.col_off + asked.width)) + margin)
    if last_row <= row or last_column <= column:
        return None
    return row, column, last_row - row, last_column - column


def _averaged(
    source: rasterio.DatasetReader, part: tuple[int, int, int, int], factor: int, blended: bool
) -> NDArray[np.float32]:
    """Part of a file in metres, voids NaN; each result the mean of factor x factor samples."""
    row, column, n_rows, n_columns = part
    to_m = _metre_factor(source)
    scale, offset = source.scales[0], source.offsets[0]
    out = np.full((-(-n_rows // factor), -(-n_columns // factor)), np.nan, dtype=np.float32)
    strip = max(1, 2048 // factor) * factor
    for first in range(0, n_rows, strip):
        count = min(strip, n_rows - first)
        raw = source.read(1, window=rasterio.windows.Window(column, row + first, n_columns, count), masked=True)
        heights_m = (raw.astype(np.float32) * scale + offset).filled(np.nan) * np.float32(to_m)
        if blended:
            heights_m[(heights_m < LEAST_HEIGHT_M) | (heights_m > GREATEST_HEIGHT_M)] = np.nan
        padded = np.full((-(-count // factor) * factor, out.shape[1] * factor), np.nan, dtype=np.float32)
        padded[:count, :n_columns] = heights_m
        cells = padded.reshape(-1, factor, out.shape[1], factor)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a cell of nothing but voids stays void
            out[first // factor : first // factor + cells.shape[0]] = np.nanmean(cells, axis=(1, 3))
    return out
