"""Terrain from files of the user: GeoTIFF, IMG, ASCII grid, VRT and SRTM ``.hgt``, any CRS, several tiles, voids.

All tiles are read onto one lattice in WGS84 latitude and longitude, the same wherever the window lies, so
that a place has one height. Finer tiles lie on top of coarser ones; a void in the finer shows the coarser.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import PlanError, Problem
from sfn.terrain.digest import combined_digest
from sfn.terrain.heights import METRES_PER_DEGREE_M, HeightGrid, coarser_n, sample, sample_nearest
from sfn.terrain.laid import Lattice, lay_coarser, lay_parts
from sfn.terrain.memory import Memory
from sfn.terrain.tile import (
    GREATEST_HEIGHT_M,
    LEAST_HEIGHT_M,
    READERS,
    Tile,
    UnusableError,
    file_ending,
    tile_of,
)
from sfn.terrain.virtual import members_of

# 400 x 400 km at one arc-second up to 56 degrees of latitude: 1.2 GB of float32, read once for all sites.
MOST_SAMPLES = 300_000_000
# UTM raster of 30 m, ridge country, at its own samples: 0.001 m rms; a lattice as fine as the file gives 0.31 m.
FINER_N = 2
CLASSES_EXPECTED = (
    "heights in metres; classes of land cover are chosen as ground cover, each with its height. If these are heights, "
    "send them again with their unit"
)
# Samples along each side of a block that is remembered.
BLOCK_SAMPLES = 1024


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
    blended : bool
        True for heights of the ground. False for what must keep its sharp edges: ground cover and classes are
        taken from the nearest sample, and any value is good.
    memory : Memory, optional
        Where heights that were read are remembered.
    """

    name: str
    tiles: tuple[Tile, ...]
    grids: tuple[HeightGrid, ...]
    digest: str
    blended: bool = True
    memory: Memory | None = field(default=None, compare=False, repr=False)

    @property
    def surface(self) -> bool:
        """Whether somebody said of a file that its heights are those of treetops and roofs."""
        return any(tile.told.surface for tile in self.tiles)

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

    def step_m(self, lat_deg: float) -> float:
        """The finer of the two spacings of samples, as they are read, on the ground at a latitude. [m]"""
        per_lat, per_lon, _, _ = self.lattice
        return METRES_PER_DEGREE_M * min(1.0 / per_lat, float(np.cos(np.radians(lat_deg))) / per_lon)

    @property
    def finer_n(self) -> int:
        """How many times as fine as the files the lattice is where it may be.

        Heights of a file that does not lie along latitude and longitude are interpolated twice, onto the lattice and
        along a profile, and that shaves ridges (`askew` in `sfn.terrain.tile.Tile`).
        """
        fine = min(self.parts, key=lambda p: p.step_lat_deg)
        return FINER_N if self.blended and isinstance(fine, Tile) and fine.askew else 1

    @property
    def lattice(self) -> Lattice:
        """Samples to a degree of latitude and longitude, and where sample 0 lies beside 0 degrees, in steps.

        Those of the finest part, so that its samples are kept as they are and no ridge top is smoothed.
        """
        return self.lattice_of(1)

    def lattice_of(self, finer_n: int) -> Lattice:
        """The same so many times as fine."""
        fine = min(self.parts, key=lambda p: p.step_lat_deg)
        south_deg, west_deg, _, _ = fine.bounds_deg
        per_lat = finer_n * _to_a_degree(fine.step_lat_deg)
        per_lon = finer_n * max(_to_a_degree(p.step_lon_deg) for p in self.parts)
        return per_lat, per_lon, _phase(south_deg * per_lat), _phase(west_deg * per_lon)


def terrain_from_grid(grid: HeightGrid, *, name: str, blended: bool = True) -> Terrain:
    """Terrain of one grid held in memory; `blended` as in `Terrain`."""
    content = np.ascontiguousarray(grid.height_m, dtype="<f4").tobytes().hex()
    place = (grid.north_deg, grid.west_deg, grid.step_lat_deg, grid.step_lon_deg)
    return Terrain(name, (), (grid,), combined_digest(repr(grid.height_m.shape), repr(place), content), blended)


def terrain_from_folder(folder: Path, *, memory: Memory | None = None, blended: bool = True) -> Terrain:
    """Terrain of all raster files in a folder (not in folders below it); see `sfn.terrain.tile.READERS`.

    Raises
    ------
    PlanError
        If the folder is not there, holds no such file, or one of them cannot be used; every such file is named.
    """
    if not folder.is_dir():
        raise PlanError(
            [
                Problem(
                    "terrain",
                    f"there is no folder {folder}",
                    "a folder with GeoTIFF, IMG, ASCII grid, VRT or .hgt files",
                    code="folder-missing",
                )
            ]
        )
    paths = sorted(p for p in folder.iterdir() if file_ending(p.name) in READERS and p.is_file())
    return terrain_from_files(paths, name=folder.name, memory=memory, blended=blended)


def terrain_from_files(
    paths: Iterable[Path], *, name: str, memory: Memory | None = None, blended: bool = True
) -> Terrain:
    """Terrain of a list of raster files; the members of a virtual raster among them count through it alone.

    Parameters
    ----------
    paths : iterable of Path
        Local files. An ``.hgt`` file must keep its name (N36W085.hgt): it says where the tile lies.
    name : str
        What people call this terrain.
    memory : Memory, optional
        What is remembered of earlier calls; also kept with the terrain, for its heights.
    blended : bool
        As in `Terrain`: False for ground cover and classes.

    Raises
    ------
    PlanError
        If there is no file, or one cannot be read, has no coordinate system, is a picture and not heights, counts
        heights in an unknown unit, or holds what cannot be heights; every such file is named.
    """
    tiles: list[Tile] = []
    problems = []
    chosen = list(paths)
    laid_together = _members(chosen)
    for path in chosen:
        if path.name in laid_together:
            continue
        try:
            tiles.append(_trusted(tile_of(path, memory=memory), blended))
        except UnusableError as error:
            what, expected = error.args
            problems.append(Problem("terrain", f"{path.name} {what}", expected, code="terrain-file-unusable"))
    if problems:
        raise PlanError(problems)
    if not tiles:
        raise PlanError(
            [
                Problem(
                    "terrain",
                    f"{name} holds no terrain files",
                    "files ending in .tif, .tiff, .img, .asc, .vrt, .hgt or .hgt.gz",
                    code="no-terrain-files",
                )
            ]
        )
    tiles.sort(key=lambda t: (-t.step_lat_deg, t.path))
    return Terrain(name, tuple(tiles), (), combined_digest(*(t.digest for t in tiles)), blended, memory)


def _members(paths: list[Path]) -> set[str]:
    """Names of the files that virtual rasters among these lay together."""
    names: set[str] = set()
    for path in paths:
        if file_ending(path.name) == ".vrt":
            try:
                names.update(member.name for member in members_of(path))
            except UnusableError:
                continue  # refused by name when it is looked at
    return names


def _trusted(tile: Tile, blended: bool) -> Tile:
    """A tile whose values can be heights."""
    if blended and tile.meaning.surely:
        raise UnusableError(f"holds classes, not heights of the ground: {tile.meaning.surely}", CLASSES_EXPECTED)
    if blended and tile.median_m is not None and not LEAST_HEIGHT_M <= tile.median_m <= GREATEST_HEIGHT_M:
        raise UnusableError(
            f"holds values about {tile.median_m:.0f} m", f"heights of {LEAST_HEIGHT_M:g} to {GREATEST_HEIGHT_M:g} m"
        )
    if blended and tile.median_m is None:
        raise UnusableError("holds no height: all that was looked at is void", "a raster with heights")
    return tile


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
    per_lat, per_lon, _, _ = terrain.lattice_of(terrain.finer_n)
    block_deg = min(1.0, 0.5 * (BLOCK_SAMPLES * BLOCK_SAMPLES * 16 / (per_lat * per_lon)) ** 0.5)
    known = np.isfinite(flat_lat) & np.isfinite(flat_lon)
    keys = np.floor(np.stack([flat_lat[known], flat_lon[known]]) / block_deg).astype(np.int64)
    blocks, member = np.unique(keys, axis=1, return_inverse=True)
    places = np.flatnonzero(known)
    for n in range(blocks.shape[1]):
        chosen = places[member.ravel() == n]
        south, north = flat_lat[chosen].min(), flat_lat[chosen].max()
        west, east = flat_lon[chosen].min(), flat_lon[chosen].max()
        grid = window(terrain, south_deg=south, west_deg=west, north_deg=north, east_deg=east)
        taken = sample if terrain.blended else sample_nearest
        out[chosen] = taken(grid, flat_lat[chosen], flat_lon[chosen])
    return out.reshape(lat.shape)


def window(
    terrain: Terrain,
    *,
    south_deg: float,
    west_deg: float,
    north_deg: float,
    east_deg: float,
    most_samples: int = MOST_SAMPLES,
    look: Callable[[], None] | None = None,
) -> HeightGrid:
    """Heights of all tiles on one regular grid round a rectangle, for a kernel to walk over.

    Parameters
    ----------
    terrain : Terrain
    south_deg, west_deg, north_deg, east_deg : float
        What the grid must contain; `east_deg` may run past 180. [degrees]
    most_samples : int
        Bound on the size: above it the grid gets coarser by a whole factor, each sample the mean of its cell.
    look : callable(), optional
        Called before each block of a file is read; what it raises ends the reading.

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
    bounds = south_deg, west_deg, north_deg, east_deg
    finer = terrain.finer_n
    if coarser_n(terrain.lattice_of(finer)[:2], bounds, most_samples=most_samples) > 1:
        finer = 1
    per_lat, per_lon, phase_lat, phase_lon = lattice = terrain.lattice_of(finer)
    factor = coarser_n((per_lat, per_lon), bounds, most_samples=most_samples)
    # In samples of the lattice, then in cells of `factor` a side, whose middle lies so far beyond their first sample.
    beyond = (factor - 1) / 2
    low, left = np.floor(south_deg * per_lat - phase_lat) // factor, np.floor(west_deg * per_lon - phase_lon) // factor
    top = np.ceil(north_deg * per_lat - phase_lat) // factor
    right = np.ceil(east_deg * per_lon - phase_lon) // factor
    low, left, top, right = int(low) - 1, int(left) - 1, int(top) + 1, int(right) + 1
    target = HeightGrid(
        _void((top - low + 1, right - left + 1), look),
        (factor * top + beyond + phase_lat) / per_lat,
        (factor * left + beyond + phase_lon) / per_lon,
        factor / per_lat,
        factor / per_lon,
        factor,
        finer,
        terrain.finer_n,
    )
    if factor > 1:
        lay_coarser(terrain.parts, target, lattice, top, left, blended=terrain.blended, look=look)
    elif not _lay_blocks(terrain, target, lattice, top, left, look):
        lay_parts(terrain.parts, target, blended=terrain.blended, look=look)
    return target


def _void(shape: tuple[int, int], look: Callable[[], None] | None) -> NDArray[np.float32]:
    """An array of which nothing is known. A gigabyte takes seconds on a busy machine: told, and ended, in between."""
    out = np.empty(shape, dtype=np.float32)
    for first in range(0, shape[0], BLOCK_SAMPLES):
        if look is not None:
            look()
        out[first : first + BLOCK_SAMPLES] = np.nan
    return out


def _lay_blocks(
    terrain: Terrain, target: HeightGrid, lattice: Lattice, top: int, left: int, look: Callable[[], None] | None
) -> bool:
    """The same out of blocks of the lattice that are remembered, or read now and remembered; False: too many.

    `top` and `left` count samples of the lattice northwards and eastwards from its sample 0. A place has one height,
    whichever way it is read.
    """
    memory = terrain.memory
    rows, columns = target.height_m.shape
    low, high = (top - rows + 1) // BLOCK_SAMPLES, top // BLOCK_SAMPLES
    west, east = left // BLOCK_SAMPLES, (left + columns - 1) // BLOCK_SAMPLES
    size = 4 * BLOCK_SAMPLES**2 * (high - low + 1) * (east - west + 1)
    if memory is None or not terrain.tiles or size > memory.most_bytes // 2:
        return False
    per_lat, per_lon, phase_lat, phase_lon = lattice
    for up in range(low, high + 1):
        north = up * BLOCK_SAMPLES + BLOCK_SAMPLES - 1
        for along in range(west, east + 1):
            if look is not None:
                look()
            first = along * BLOCK_SAMPLES
            key = (terrain.digest, terrain.blended, lattice, up, along)
            held = memory.block(key)
            if held is None:
                block = HeightGrid(
                    np.full((BLOCK_SAMPLES, BLOCK_SAMPLES), np.nan, dtype=np.float32),
                    (north + phase_lat) / per_lat, (first + phase_lon) / per_lon, 1.0 / per_lat, 1.0 / per_lon,
                )  # fmt: skip
                if not lay_parts(terrain.parts, block, blended=terrain.blended):
                    continue
                held = block.height_m
                if all(memory.unchanged(tile.path) for tile in terrain.tiles):
                    memory.keep_block(key, held)
            row, column = top - north, first - left
            into = target.height_m[max(row, 0) : row + BLOCK_SAMPLES, max(column, 0) : column + BLOCK_SAMPLES]
            into[...] = held[max(-row, 0) :, max(-column, 0) :][: into.shape[0], : into.shape[1]]
    return True


def _to_a_degree(step_deg: float) -> float:
    """Samples to a degree for a spacing, none coarser than it."""
    return max(1.0, float(np.ceil(1.0 / step_deg - 1e-4)))


def _phase(edge_steps: float) -> float:
    """Where the first sample centre inside an edge lies beside whole steps, -0.5 to 0.5."""
    centre = edge_steps + 0.5
    beside = centre - round(centre)
    return beside if abs(beside) > 1e-4 else 0.0
