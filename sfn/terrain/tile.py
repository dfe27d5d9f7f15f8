"""One raster file of heights or classes: what it must say of itself, and its values on another grid's samples."""

import math
import os
import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import rasterio.errors
import rasterio.transform
import rasterio.warp
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError

from sfn.terrain.carried import WGS84, carried, fitted, reach_n
from sfn.terrain.digest import combined_digest, file_digest
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid
from sfn.terrain.meaning import Meaning, meaning
from sfn.terrain.memory import Memory
from sfn.terrain.told import METRES, Told, told_of, unit_named
from sfn.terrain.virtual import UnusableError, members_of

__all__ = ["READERS", "Tile", "UnusableError", "file_ending", "open_raster", "read", "tile_of"]

# One reader for each ending, whatever the content claims: others may open further files, or the network.
READERS = {
    ".tif": "GTiff", ".tiff": "GTiff", ".hgt": "SRTMHGT", ".hgt.gz": "SRTMHGT", ".img": "HFA", ".asc": "AAIGrid",
    ".vrt": "VRT",
}  # fmt: skip
EXPECTED = "a GeoTIFF, IMG, ASCII grid or VRT, or an SRTM tile that kept its name, like N36W085.hgt"
LEAST_HEIGHT_M, GREATEST_HEIGHT_M = -500.0, 9000.0
# Samples along each side that are looked at for voids and for what the values are.
LOOKED_AT_N = 256
# GDAL keeps what it has read in a twentieth of the machine's memory, beside our own; asked at its first file. [MB]
os.environ.setdefault("GDAL_CACHEMAX", "128")
READ_ROWS = 512
# A target so many times as fine as a file that lies askew can pass through the file's samples.
# Steps of two files that differ by less are one step.
ALIKE = 1e-3
FITTED_FROM = 1.5
# Points along each edge of a rectangle that is carried into another coordinate system.
EDGE_N = 21


@dataclass(frozen=True, slots=True)
class Tile:
    """One raster file: where it lies, how fine it is, and what was found in it.

    Parameters
    ----------
    path : str
    bounds_deg : tuple of float
        South, west, north and east of its samples' cells; east may lie beyond 180. [degrees]
    step_lat_deg, step_lon_deg : float
        Spacing. [degrees]
    digest : str
        Of its content and of what was said of it.
    to_m : float
        Metres to one unit of its heights.
    unit_known : bool
        It says in which unit it counts, or somebody did; else metres are taken.
    void_pct : float
        Part of the samples looked at that holds no value. [%]
    median_m : float or None
        Median of the others; of classes a number without meaning. [m]
    told : Told
        What somebody said of it.
    askew : bool
        Its rows and columns do not run along latitude and longitude.
    meaning : Meaning
        Why its numbers are, or may be, codes of classes.
    """

    path: str
    bounds_deg: tuple[float, float, float, float]
    step_lat_deg: float
    step_lon_deg: float
    digest: str
    to_m: float = 1.0
    unit_known: bool = True
    void_pct: float = 0.0
    median_m: float | None = None
    told: Told = Told()  # noqa: RUF009 - frozen
    askew: bool = False
    meaning: Meaning = Meaning()  # noqa: RUF009 - frozen

    def step_m(self, lat_deg: float) -> float:
        """The finer of the two spacings on the ground at a latitude. [m]"""
        return METRES_PER_DEGREE_M * min(self.step_lat_deg, self.step_lon_deg * math.cos(math.radians(lat_deg)))


def file_ending(name: str) -> str:
    """The ending by which a file is read, in small letters; ``.hgt.gz`` is one."""
    low = name.lower()
    return ".hgt.gz" if low.endswith(".hgt.gz") else Path(low).suffix


def open_raster(path: Path | str) -> rasterio.DatasetReader:
    """A local raster, by the reader for its ending; a virtual one only with members that lie beside it.

    Raises
    ------
    UnusableError
        If a virtual raster leads elsewhere.
    """
    ending = file_ending(str(path))
    if ending == ".vrt":
        members_of(Path(path))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        # Packed in gzip it is read as a stream; the one place where a virtual file system is used, of our own naming.
        place = f"/vsigzip/{Path(path).resolve()}" if ending == ".hgt.gz" else path
        return rasterio.open(place, driver=READERS[ending])


def tile_of(path: Path, *, memory: Memory | None = None) -> Tile:
    """What must be known of a file before it is read, out of the memory where it has not changed.

    Raises
    ------
    UnusableError
        If the file cannot be read, has no coordinate system or one that leads off the earth, is placed by control
        points, is a picture, or counts in an unknown unit or in one that must be asked for.
    """
    if file_ending(path.name) not in READERS or not path.is_file():
        raise UnusableError("is not a terrain file", EXPECTED)
    told = told_of(path)
    if memory is not None and isinstance(held := memory.tile(path), Tile) and held.told == told:
        return held
    try:
        with open_raster(path) as source:
            tile = _looked_at(path, source, told, memory)
    except rasterio.errors.RasterioError as error:
        raise UnusableError("cannot be read as a raster", EXPECTED) from error
    # A virtual raster changes when a member does: it is looked at each time.
    if memory is not None and file_ending(path.name) != ".vrt":
        memory.keep_tile(path, tile)
    return tile


def _looked_at(path: Path, source: rasterio.DatasetReader, told: Told, memory: Memory | None) -> Tile:
    """The tile of an open file."""
    crs = system_of(source, told)
    if source.count >= 3 and source.dtypes[0] == "uint8":
        raise UnusableError("is a picture, not heights", "one band of heights in metres")
    if source.dtypes[0].startswith("complex"):
        raise UnusableError("holds complex numbers", "one band of heights in metres")
    to_m, known = _metre_factor(source, told, crs)
    bounds_deg = _bounds(source, crs)
    south, west, north, east = bounds_deg
    a, b, _, d, e, _ = tuple(source.transform)[:6]
    # As many rows and columns as lie across the bounds: of a raster that lies askew not its own.
    across, along = math.hypot(a, d) or 1.0, math.hypot(b, e) or 1.0
    rows = abs(d) / across * source.width + abs(e) / along * source.height
    columns = abs(a) / across * source.width + abs(b) / along * source.height
    void_pct, median_m, seen = _values(source, to_m)
    unit = "" if not known else "told" if told.unit and not (source.units[0] or "").strip() else "file"
    digest = file_digest(path, known=None if memory is None else memory.digests)
    parts = [file_digest(member) for member in members_of(path)] if file_ending(path.name) == ".vrt" else []
    said = [repr(told)] if told != Told() else []
    if parts or said:
        digest = combined_digest(digest, *parts, *said)
    return Tile(
        str(path.resolve()), bounds_deg, (north - south) / rows, (east - west) / columns, digest, to_m, known,
        void_pct, median_m, told, bool(b or d) or not crs.is_geographic, meaning(source, seen, unit=unit),
    )  # fmt: skip


def system_of(source: rasterio.DatasetReader, told: Told) -> rasterio.crs.CRS:
    """The coordinate system a file says, or what somebody said where it says none."""
    if source.transform.is_identity and (source.gcps[0] or source.rpcs is not None):
        raise UnusableError(
            "is placed by control points only", "a raster on a regular grid: warp it to a coordinate system first"
        )
    if source.transform.is_identity or abs(source.transform.determinant) < 1e-24:
        raise UnusableError("does not say where it lies", "a raster with a coordinate reference system")
    if source.crs is not None:
        return source.crs
    if not told.crs:
        raise UnusableError(
            "does not say where it lies",
            "a raster with a coordinate reference system (for an ASCII grid a .prj file beside it), or its system "
            "named when it is sent",
        )
    return rasterio.crs.CRS.from_user_input(told.crs)


def _bounds(source: rasterio.DatasetReader, crs: rasterio.crs.CRS) -> tuple[float, float, float, float]:
    """South, west, north and east of a file whichever way its rows and columns run. [degrees]"""
    along = np.linspace(0.0, 1.0, EDGE_N)
    across = np.concatenate([along, along, np.zeros(EDGE_N), np.ones(EDGE_N), [0.5]])
    down = np.concatenate([np.zeros(EDGE_N), np.ones(EDGE_N), along, along, [0.5]])
    x, y = source.transform * (across * source.width, down * source.height)
    off = UnusableError(
        "lies off the earth in the coordinate system that it names", "a raster whose coordinates fit their system"
    )
    if crs.is_geographic and (np.abs(y).max() > 90.5 or np.abs(x).max() > 540.0):
        raise off
    try:
        lon, lat = (np.asarray(v) for v in rasterio.warp.transform(crs, WGS84, x, y))
    except (rasterio.errors.RasterioError, ValueError) as error:
        raise off from error
    if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        raise off
    if crs.is_geographic:
        # As the file counts: a world map is 360 degrees wide, not nought.
        lon = lon + 360.0 * np.round((x - lon) / 360.0)
    else:
        lon = lon[-1] + (lon - lon[-1] + 180.0) % 360.0 - 180.0
    west, east = float(lon.min()), float(lon.max())
    turn = 360.0 * math.floor((west + 180.0) / 360.0)
    return float(lat.min()), west - turn, float(lat.max()), east - turn


def _metre_factor(source: rasterio.DatasetReader, told: Told, crs: rasterio.crs.CRS) -> tuple[float, bool]:
    """Metres to one unit of the file, and whether anybody said so."""
    said = (source.units[0] or "").strip()
    vertical, feet_on_ground = _axis_units(crs)
    for text in (said, vertical):
        if text:
            unit = unit_named(text)
            if unit is None:
                raise UnusableError(f"counts heights in {text!r}", "heights in metres or feet")
            return METRES[unit], True
    if told.unit:
        return METRES[told.unit], True
    if feet_on_ground:
        raise UnusableError(
            "lies in a coordinate system of feet and does not say whether its heights are metres or feet",
            "the unit of its heights, named when it is sent",
        )
    return 1.0, False


def _axis_units(crs: rasterio.crs.CRS) -> tuple[str, bool]:
    """Unit of the vertical part of a coordinate system, empty where it has none; whether its eastings are feet."""
    try:
        system = CRS.from_wkt(crs.to_wkt())
    except CRSError:
        return "", False
    axes = system.axis_info
    vertical = [axis.unit_name for axis in axes if axis.direction == "up"]
    feet = any("foot" in axis.unit_name.lower() for axis in axes if axis.direction != "up")
    return (vertical[0] if vertical else ""), feet


def _values(source: rasterio.DatasetReader, to_m: float) -> tuple[float, float | None, NDArray[np.float32]]:
    """Part of the samples without a value [%], the median of the rest [m], and some of the file's own numbers."""
    shape = (min(source.height, LOOKED_AT_N), min(source.width, LOOKED_AT_N))
    raw = source.read(1, masked=True, out_shape=shape, resampling=rasterio.enums.Resampling.nearest)
    values = _in_metres(raw, source, to_m)
    known = values[np.isfinite(values)]
    # What cannot be a height (-9999, -32768) is void to whoever reads heights, though the file does not declare it.
    heights_n = np.count_nonzero((known >= LEAST_HEIGHT_M) & (known <= GREATEST_HEIGHT_M))
    median_m = float(np.median(known)) if known.size else None
    return 100.0 * (1.0 - heights_n / values.size), median_m, np.ma.filled(raw.astype(np.float32), np.nan)


def _in_metres(raw: NDArray[Any], source: rasterio.DatasetReader, to_m: float) -> NDArray[np.float32]:
    """Values by the file's scale and offset in metres, voids (masked) NaN."""
    values = np.ma.filled(np.ma.asarray(raw, dtype=np.float32), np.nan)
    values = values * np.float32(source.scales[0]) + np.float32(source.offsets[0])
    return np.asarray(values * np.float32(to_m), dtype=np.float32)


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
        Between samples in metres; else the nearest value as it is. The target is as fine as the file.
    """
    rows, columns = target.height_m.shape
    cells = tile.step_lat_deg / target.step_lat_deg, tile.step_lon_deg / target.step_lon_deg
    finer = blended and tile.askew and min(cells) >= FITTED_FROM
    wider = reach_n(max(cells)) if finer else 0
    reached = replace(
        target,
        height_m=np.empty((rows + 2 * wider, columns + 2 * wider), dtype=np.float32),
        north_deg=target.north_deg + wider * target.step_lat_deg,
        west_deg=target.west_deg - wider * target.step_lon_deg,
    )
    _, west, north, _ = reached.bounds_deg
    place = rasterio.transform.from_origin(west - turn_deg, north, target.step_lon_deg, target.step_lat_deg)
    with open_raster(tile.path) as source:
        crs = system_of(source, tile.told)
        part = _part(source, crs, tile, reached, turn_deg)
        if part is None:
            return np.full((rows, columns), np.nan, dtype=np.float32)
        heights_m = values_of(source, tile, part, blended)
        row, column, _, _ = part
        a, b, c, d, e, f = tuple(source.transform)[:6]
        lain = rasterio.Affine(a, b, c + a * column + b * row, d, e, f + d * column + e * row)
        shape = reached.height_m.shape
        if not finer:
            # Between a coarser file and a finer one beside it lies a gap of less than its step.
            beyond = 1.0 if not tile.askew and max(cells) > 1.0 + ALIKE else 0.5
            return carried(heights_m, lain, crs, place, shape=shape, blended=blended, beyond=beyond)
        laid = fitted(heights_m, lain, crs, place, shape=shape)
        return np.ascontiguousarray(laid[wider : wider + rows, wider : wider + columns])


def _part(
    source: rasterio.DatasetReader, crs: rasterio.crs.CRS, tile: Tile, target: HeightGrid, turn_deg: float
) -> tuple[int, int, int, int] | None:
    """Row, column, rows and columns of a file that bear on the target, with a margin."""
    south, west, north, east = target.bounds_deg
    held = tile.bounds_deg
    west, south = max(west - turn_deg, held[1] - 0.01), max(south, held[0] - 0.01)
    east, north = min(east - turn_deg, held[3] + 0.01), min(north, held[2] + 0.01)
    if west >= east or south >= north:
        return None
    lon, lat = (v.ravel() for v in np.meshgrid(np.linspace(west, east, EDGE_N), np.linspace(south, north, EDGE_N)))
    x, y = (np.asarray(v) for v in rasterio.warp.transform(WGS84, crs, lon, lat))
    if crs.is_geographic:
        # As the file counts, whose west may lie half a sample beyond 180: its bounds count that as the far east.
        counted = source.transform.c - held[1] if source.transform.a > 0.0 else 0.0
        x = x + 360.0 * np.round((lon - x) / 360.0) + 360.0 * round(counted / 360.0)
    across, down = ~source.transform * (x, y)
    known = np.isfinite(across) & np.isfinite(down)
    if not known.any():
        return None
    across, down = across[known], down[known]
    # Between the points that were carried over the edges bend a little.
    margin = 2 + int(0.01 * max(np.ptp(across), np.ptp(down)))
    row, column = max(0, int(np.floor(down.min())) - margin), max(0, int(np.floor(across.min())) - margin)
    last_row = min(source.height, int(np.ceil(down.max())) + margin)
    last_column = min(source.width, int(np.ceil(across.max())) + margin)
    if last_row <= row or last_column <= column:
        return None
    return row, column, last_row - row, last_column - column


def values_of(
    source: rasterio.DatasetReader, tile: Tile, part: tuple[int, int, int, int], blended: bool
) -> NDArray[np.float32]:
    """Part of a file in metres, voids and what cannot be heights NaN."""
    row, column, n_rows, n_columns = part
    out = np.empty((n_rows, n_columns), dtype=np.float32)
    for first in range(0, n_rows, READ_ROWS):
        count = min(READ_ROWS, n_rows - first)
        raw = source.read(1, window=rasterio.windows.Window(column, row + first, n_columns, count), masked=True)
        heights_m = _in_metres(raw, source, tile.to_m)
        if blended:
            heights_m[(heights_m < LEAST_HEIGHT_M) | (heights_m > GREATEST_HEIGHT_M)] = np.nan
        out[first : first + count] = heights_m
    return out
