"""Terrain from files of the user: GeoTIFF and SRTM ``.hgt``, any CRS, several tiles, voids.

All tiles are read onto one lattice in WGS84 latitude and longitude, the same wherever the window lies, so
that a place has one height. Finer tiles lie on top of coarser ones; a void in the finer shows the coarser.
"""

import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
import rasterio.errors
import rasterio.transform
import rasterio.warp
from numpy.typing import ArrayLike, NDArray

from sfn.errors import PlanError, Problem
from sfn.terrain.digest import Known, combined_digest, file_digest
from sfn.terrain.heights import HeightGrid, sample

# One reader for each ending, whatever the content claims: others may open further files, or the network.
READERS = {".tif": "GTiff", ".tiff": "GTiff", ".hgt": "SRTMHGT"}
WGS84 = "EPSG:4326"
MOST_SAMPLES = 32_000_000  # 128 MB of float32
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


@dataclass(frozen=True, slots=True)
class Terrain:
    """Everything known of the ground under one name; plain data that pickles.

    Parameters
    ----------
    name : str
        What people call it: the folder's name, or ``ridge``.
    tiles : tuple of Tile
        Files, coarsest first.
    grids : tuple of HeightGrid
        Heights held in memory, under the files.
    digest : str
        Of all content; changes when any height may have changed.
    """

    name: str
    tiles: tuple[Tile, ...]
    grids: tuple[HeightGrid, ...]
    digest: str

    @property
    def parts(self) -> tuple[Tile | HeightGrid, ...]:
        """Grids and tiles in the order in which they are laid."""
        return (*self.grids, *self.tiles)

    @property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """South, west, north and east of all that is there; voids and gaps may lie within. [degrees]"""
        all_deg = np.array([t.bounds_deg for t in self.parts])
        south, west = all_deg[:, :2].min(axis=0)
        north, east = all_deg[:, 2:].max(axis=0)
        return (float(south), float(west), float(north), float(east))

    @property
    def lattice(self) -> tuple[float, float, float, float]:
        """Samples to a degree of latitude and longitude, and where sample 0 lies beside 0 degrees, in steps.

        Those of the finest part, so that its samples are kept as they are and no ridge top is smoothed.
        """
        fine = min(self.parts, key=lambda p: p.step_lat_deg)
        south_deg, west_deg, _, _ = fine.bounds_deg
        per_lat = _to_a_degree(fine.step_lat_deg)
        per_lon = max(_to_a_degree(p.step_lon_deg) for p in self.parts)
        return per_lat, per_lon, _phase(south_deg * per_lat), _phase(west_deg * per_lon)


def terrain_from_grid(grid: HeightGrid, *, name: str) -> Terrain:
    """Terrain of one grid held in memory."""
    content = np.ascontiguousarray(grid.height_m, dtype="<f4").tobytes().hex()
    place = (grid.north_deg, grid.west_deg, grid.step_lat_deg, grid.step_lon_deg)
    return Terrain(name, (), (grid,), combined_digest(repr(grid.height_m.shape), repr(place), content))


def terrain_from_folder(folder: Path, *, known: Known | None = None) -> Terrain:
    """Terrain of all GeoTIFF and ``.hgt`` files in a folder (not in folders below it).

    Raises
    ------
    PlanError
        If the folder is not there, holds no such file, or one of them cannot be used; every such file is named.
    """
    if not folder.is_dir():
        raise PlanError([Problem("terrain", f"there is no folder {folder}", "a folder with GeoTIFF or .hgt files")])
    paths = sorted(p for p in folder.iterdir() if p.suffix.lower() in READERS and p.is_file())
    return terrain_from_files(paths, name=folder.name, known=known)


def terrain_from_files(paths: Iterable[Path], *, name: str, known: Known | None = None) -> Terrain:
    """Terrain of a list of GeoTIFF and SRTM ``.hgt`` files.

    Parameters
    ----------
    paths : iterable of Path
        Local files. An ``.hgt`` file must keep its name (N36W085.hgt): it says where the tile lies.
    name : str
        What people call this terrain.
    known : mutable mapping, optional
        Digests of earlier calls, see `sfn.terrain.digest.file_digest`.

    Raises
    ------
    PlanError
        If there is no file, or one cannot be read, has no coordinate system, is a picture and not
        heights, or counts heights in an unknown unit; every such file is named.
    """
    tiles, problems = [], []
    for path in paths:
        try:
            tiles.append(_tile(path, known))
        except _UnusableError as error:
            what, expected = error.args
            problems.append(Problem("terrain", f"{path.name} {what}", expected))
    if problems:
        raise PlanError(problems)
    if not tiles:
        raise PlanError([Problem("terrain", f"{name} holds no terrain files", "files ending in .tif, .tiff or .hgt")])
    tiles.sort(key=lambda t: (-t.step_lat_deg, t.path))
    return Terrain(name, tuple(tiles), (), combined_digest(*(t.digest for t in tiles)))


def heights(terrain: Terrain, lat_deg: ArrayLike, lon_deg: ArrayLike) -> NDArray[np.float64]:
    """Ground height at points, bilinear between samples, at the finest resolution there is.

    Parameters
    ----------
    terrain : Terrain
    lat_deg, lon_deg : array_like, one shape
        Points on WGS84, anywhere. [degrees]

    Returns
    -------
    height_m : ndarray, the points' shape
        Above the sea level of the files. [m] NaN where nothing is known.
    """
    lat, lon = np.broadcast_arrays(np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64))
    flat_lat, flat_lon = lat.ravel(), lon.ravel()
    out = np.full(flat_lat.shape, np.nan)
    # Blocks small enough to be read at full resolution, only where there are points.
    per_lat, per_lon, _, _ = terrain.lattice
    block_deg = min(1.0, 0.5 * (MOST_SAMPLES / (per_lat * per_lon)) ** 0.5)
    known = np.isfinite(flat_lat) & np.isfinite(flat_lon)
    keys = np.floor(np.stack([flat_lat[known], flat_lon[known]]) / block_deg).astype(np.int64)
    blocks, member = np.unique(keys, axis=1, return_inverse=True)
    places = np.flatnonzero(known)
    for n in range(blocks.shape[1]):
        chosen = places[member.ravel() == n]
        south, north = flat_lat[chosen].min(), flat_lat[chosen].max()
        west, east = flat_lon[chosen].min(), flat_lon[chosen].max()
        grid = window(terrain, south_deg=south, west_deg=west, north_deg=north, east_deg=east)
        out[chosen] = sample(grid, flat_lat[chosen], flat_lon[chosen])
    return out.reshape(lat.shape)


def window(
    terrain: Terrain,
    *,
    south_deg: float,
    west_deg: float,
    north_deg: float,
    east_deg: float,
    most_samples: int = MOST_SAMPLES,
) -> HeightGrid:
    """Heights of all tiles on one regular grid round a rectangle, for a kernel to walk over.

    Parameters
    ----------
    terrain : Terrain
    south_deg, west_deg, north_deg, east_deg : float
        What the grid must contain; `east_deg` may run past 180. [degrees]
    most_samples : int
        Bound on the size: above it the grid gets coarser by a whole factor, each sample the mean of its cell.

    Returns
    -------
    HeightGrid
        NaN where nothing is known.

    Raises
    ------
    ValueError
        If the rectangle is empty or turned round.
    """
    if not (south_deg <= north_deg and west_deg <= east_deg):
        raise ValueError(f"window must run south to north and west to east, got {south_deg=} {north_deg=}")
    per_lat, per_lon, phase_lat, phase_lon = terrain.lattice
    size = ((north_deg - south_deg) * per_lat + 3) * ((east_deg - west_deg) * per_lon + 3)
    factor = max(1, int(np.ceil(np.sqrt(size / most_samples))))
    n_lat, n_lon = per_lat / factor, per_lon / factor
    top, bottom = np.ceil(north_deg * n_lat - phase_lat) + 1, np.floor(south_deg * n_lat - phase_lat) - 1
    left, right = np.floor(west_deg * n_lon - phase_lon) - 1, np.ceil(east_deg * n_lon - phase_lon) + 1
    target = HeightGrid(
        np.full((int(top - bottom) + 1, int(right - left) + 1), np.nan, dtype=np.float32),
        (top + phase_lat) / n_lat,
        (left + phase_lon) / n_lon,
        1.0 / n_lat,
        1.0 / n_lon,
    )
    for part in terrain.parts:
        for turn_deg in (0.0, 360.0, -360.0):
            if _overlaps(part.bounds_deg, target.bounds_deg, turn_deg):
                _lay(part, target, turn_deg)
    return target


class _UnusableError(Exception):
    """A file that cannot serve as terrain: what is wrong, what is expected."""


def _to_a_degree(step_deg: float) -> float:
    """Samples to a degree for a spacing, none coarser than it."""
    return max(1.0, float(np.ceil(1.0 / step_deg - 1e-4)))


def _phase(edge_steps: float) -> float:
    """Where the first sample centre inside an edge lies beside whole steps, -0.5 to 0.5."""
    centre = edge_steps + 0.5
    beside = centre - round(centre)
    return beside if abs(beside) > 1e-4 else 0.0


def _overlaps(
    part: tuple[float, float, float, float], target: tuple[float, float, float, float], turn_deg: float
) -> bool:
    """Whether two rectangles meet, the first turned round the earth."""
    return (
        part[0] < target[2]
        and part[2] > target[0]
        and part[1] + turn_deg < target[3]
        and part[3] + turn_deg > target[1]
    )


def _open(path: Path | str) -> rasterio.DatasetReader:
    """A local raster, by the reader for its ending."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        return rasterio.open(path, driver=READERS[Path(path).suffix.lower()])


def _tile(path: Path, known: Known | None) -> Tile:
    """What must be known of a file before it is read."""
    expected = "a GeoTIFF, or SRTM tile that kept its name, like N36W085.hgt"
    if path.suffix.lower() not in READERS or not path.is_file():
        raise _UnusableError("is not a terrain file", expected)
    try:
        with _open(path) as source:
            if source.crs is None or source.transform.is_identity:
                raise _UnusableError("does not say where it lies", "a raster with a coordinate reference system")
            if source.count >= 3 and source.dtypes[0] == "uint8":
                raise _UnusableError("is a picture, not heights", "one band of heights in metres")
            _metre_factor(source)
            bounds = rasterio.warp.transform_bounds(source.crs, WGS84, *source.bounds)
            height, width = source.shape
    except rasterio.errors.RasterioError as error:
        raise _UnusableError("cannot be read as a raster", expected) from error
    west, south, east, north = bounds
    return Tile(
        str(path.resolve()),
        (south, west, north, east if east > west else east + 360.0),
        (north - south) / height,
        ((east - west) % 360.0 or 360.0) / width,
        file_digest(path, known=known),
    )


def _metre_factor(source: rasterio.DatasetReader) -> float:
    """Metres to one unit of the file."""
    unit = (source.units[0] or "").strip().lower()
    if unit in _METRES:
        return 1.0
    if unit in _FEET:
        return FOOT_M
    raise _UnusableError(f"counts heights in {unit!r}", "heights in metres or feet")


def _lay(part: Tile | HeightGrid, target: HeightGrid, turn_deg: float) -> None:
    """Lay a tile or grid onto the target, in place, wherever it knows a height."""
    if isinstance(part, HeightGrid):
        rows, columns = target.height_m.shape
        lat = target.north_deg - target.step_lat_deg * np.arange(rows)
        lon = target.west_deg + target.step_lon_deg * np.arange(columns)
        heights_m = sample(part, lat[:, None], lon[None, :]).astype(np.float32)
    else:
        heights_m = _read(part, target, turn_deg)
    np.copyto(target.height_m, heights_m, where=np.isfinite(heights_m))


def _read(tile: Tile, target: HeightGrid, turn_deg: float) -> NDArray[np.float32]:
    """One file's heights on the target's samples."""
    rows, columns = target.height_m.shape
    _, target_west, target_north, _ = target.bounds_deg
    out = np.full((rows, columns), np.nan, dtype=np.float32)
    place = rasterio.transform.from_origin(
        target_west - turn_deg, target_north, target.step_lon_deg, target.step_lat_deg
    )
    with _open(tile.path) as source:
        part = _part(source, target, turn_deg)
        if part is None:
            return out
        row, column, n_rows, n_columns = part
        factor = max(
            1, int(min(target.step_lat_deg / tile.step_lat_deg, target.step_lon_deg / tile.step_lon_deg) + 1e-6)
        )
        heights_m = _averaged(source, (row, column, n_rows, n_columns), factor)
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
            resampling=rasterio.warp.Resampling.bilinear,
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


def _averaged(source: rasterio.DatasetReader, part: tuple[int, int, int, int], factor: int) -> NDArray[np.float32]:
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
        heights_m[(heights_m < LEAST_HEIGHT_M) | (heights_m > GREATEST_HEIGHT_M)] = np.nan
        padded = np.full((-(-count // factor) * factor, out.shape[1] * factor), np.nan, dtype=np.float32)
        padded[:count, :n_columns] = heights_m
        cells = padded.reshape(-1, factor, out.shape[1], factor)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a cell of nothing but voids stays void
            out[first // factor : first // factor + cells.shape[0]] = np.nanmean(cells, axis=(1, 3))
    return out
