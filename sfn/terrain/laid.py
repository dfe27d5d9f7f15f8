"""Tiles and grids laid onto the samples of one lattice, block by block, so that reading takes little memory besides."""

import warnings
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from sfn.terrain.heights import HeightGrid, sample, sample_nearest
from sfn.terrain.tile import Tile, read

# Samples along each side of a block.
LAID_SAMPLES = 2048
# Whole turns round the earth by which two areas may count their longitudes apart.
TURNS_DEG = (0.0, 360.0, -360.0)
Part = Tile | HeightGrid
Lattice = tuple[float, float, float, float]


def lay_parts(
    parts: Iterable[Part], target: HeightGrid, *, blended: bool, look: Callable[[], None] | None = None
) -> bool:
    """Lay all that overlaps onto the target, in place, the first lowest; whether there was any."""
    any_there = False
    for part in parts:
        for turn_deg in TURNS_DEG:
            if overlaps(part.bounds_deg, target.bounds_deg, turn_deg):
                _lay(part, target, turn_deg, blended, look)
                any_there = True
    return any_there


def lay_coarser(
    parts: Iterable[Part],
    target: HeightGrid,
    lattice: Lattice,
    top: int,
    left: int,
    *,
    blended: bool,
    look: Callable[[], None] | None = None,
) -> None:
    """Lay cells of a lattice's own samples, block by block: the same wherever files meet and the window lies.

    Heights are means of what is known in a cell, classes its middle sample; `top` and `left` count cells.
    """
    per_lat, per_lon, phase_lat, phase_lon = lattice
    factor = target.averaged_n
    rows, columns = target.height_m.shape
    side = max(LAID_SAMPLES // factor, 1)
    for row in range(0, rows, side):
        for column in range(0, columns, side):
            into = target.height_m[row : row + side, column : column + side]
            north, west = (top - row) * factor + factor - 1, (left + column) * factor
            fine = HeightGrid(
                np.full((into.shape[0] * factor, into.shape[1] * factor), np.nan, dtype=np.float32),
                (north + phase_lat) / per_lat, (west + phase_lon) / per_lon, 1.0 / per_lat, 1.0 / per_lon,
            )  # fmt: skip
            if not lay_parts(parts, fine, blended=blended, look=look):
                continue
            if blended:
                cells = fine.height_m.reshape(into.shape[0], factor, into.shape[1], factor)
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore", RuntimeWarning)  # a cell of nothing but voids stays void
                    into[...] = np.nanmean(cells, axis=(1, 3))
            else:
                into[...] = fine.height_m[factor // 2 :: factor, factor // 2 :: factor]


def overlaps(
    part: tuple[float, float, float, float], target: tuple[float, float, float, float], turn_deg: float
) -> bool:
    """Whether two rectangles meet, the first turned round the earth."""
    return (
        part[0] < target[2]
        and part[2] > target[0]
        and part[1] + turn_deg < target[3]
        and part[3] + turn_deg > target[1]
    )


def _lay(part: Part, target: HeightGrid, turn_deg: float, blended: bool, look: Callable[[], None] | None) -> None:
    """Lay a tile or grid onto the target, in place, wherever it knows a height; only where it lies, block by block."""
    south, west, north, east = part.bounds_deg
    rows, columns = target.height_m.shape
    _, target_west, target_north, _ = target.bounds_deg
    top = max(int((target_north - north) / target.step_lat_deg) - 2, 0)
    bottom = min(int((target_north - south) / target.step_lat_deg) + 3, rows)
    left = max(int((west + turn_deg - target_west) / target.step_lon_deg) - 2, 0)
    right = min(int((east + turn_deg - target_west) / target.step_lon_deg) + 3, columns)
    for row in range(top, bottom, LAID_SAMPLES):
        for column in range(left, right, LAID_SAMPLES):
            if look is not None:
                look()
            block = replace(
                target,
                height_m=target.height_m[
                    row : min(row + LAID_SAMPLES, bottom), column : min(column + LAID_SAMPLES, right)
                ],
                north_deg=target.north_deg - row * target.step_lat_deg,
                west_deg=target.west_deg + column * target.step_lon_deg,
            )
            _lay_block(part, block, turn_deg, blended)


def _lay_block(part: Part, target: HeightGrid, turn_deg: float, blended: bool) -> None:
    """Lay a tile or grid onto one block of the target, in place."""
    if isinstance(part, HeightGrid):
        rows, columns = target.height_m.shape
        lat = target.north_deg - target.step_lat_deg * np.arange(rows)
        lon = target.west_deg + target.step_lon_deg * np.arange(columns)
        taken = sample if blended else sample_nearest
        heights_m = taken(part, lat[:, None], lon[None, :]).astype(np.float32)
    else:
        heights_m = read(part, target, turn_deg=turn_deg, blended=blended)
    np.copyto(target.height_m, heights_m, where=np.isfinite(heights_m))
