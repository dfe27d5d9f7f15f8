"""What values a raster of cover heights or classes holds, so that a form can ask for a height or a zone of each."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import rasterio
from numpy.typing import NDArray

from sfn.terrain.dem import Terrain
from sfn.terrain.meaning import could_be_classes
from sfn.terrain.tile import open_raster

# A larger raster is looked at in steps; a class that is passed over is named when a map meets it.
MOST_LOOKED_AT = 16_000_000


@dataclass(frozen=True, slots=True)
class Census:
    """The values of a raster.

    Parameters
    ----------
    shares : tuple of (int, float)
        Every value that occurs, least first, and the part of the known samples that has it, in per cent. Empty when
        they are no classes: not whole numbers, or more than 128 of them.
    least, greatest : float or None
        Least and greatest value. None where nothing is known.
    stepped : bool
        The raster is so large that only every second sample, or fewer, was looked at.
    """

    shares: tuple[tuple[int, float], ...]
    least: float | None
    greatest: float | None
    stepped: bool

    @property
    def classes(self) -> tuple[int, ...]:
        """The classes that occur."""
        return tuple(number for number, _ in self.shares)


def census(terrain: Terrain, *, most_samples: int = MOST_LOOKED_AT) -> Census:
    """Which values the files of a source hold.

    Parameters
    ----------
    terrain : Terrain
        Opened with ``blended=False``.
    most_samples : int
        Bound on the samples that are looked at.

    Returns
    -------
    Census
    """
    total = sum(_samples(tile.path) for tile in terrain.tiles) + sum(g.height_m.size for g in terrain.grids)
    step = max(1, int(np.ceil(np.sqrt(total / most_samples))))
    values: NDArray[np.float32] = np.empty(0, dtype=np.float32)
    counts: NDArray[np.float64] = np.empty(0)
    for part in _parts(terrain, step):
        found, count = np.unique(part[np.isfinite(part)], return_counts=True)
        values, place = np.unique(np.concatenate([values, found]), return_inverse=True)
        counts = np.bincount(place, weights=np.concatenate([counts, count]), minlength=len(values)).astype(np.float64)
    if not values.size:
        return Census((), None, None, step > 1)
    whole = could_be_classes(values)
    share_pct = 100.0 * counts / counts.sum()
    shares = tuple((int(v), float(s)) for v, s in zip(values, share_pct, strict=True)) if whole else ()
    return Census(shares, float(values[0]), float(values[-1]), step > 1)


def _parts(terrain: Terrain, step: int) -> Iterator[NDArray[np.float32]]:
    """The values of one grid or file after the other."""
    for grid in terrain.grids:
        yield grid.height_m
    for tile in terrain.tiles:
        yield _looked_at(tile.path, step)


def _samples(path: str) -> int:
    """Samples of a file."""
    with open_raster(path) as source:
        return int(source.width * source.height)


def _looked_at(path: str, step: int) -> NDArray[np.float32]:
    """Every `step`-th sample of a file, voids NaN."""
    with open_raster(path) as source:
        shape = (max(1, source.height // step), max(1, source.width // step))
        raw = source.read(1, masked=True, out_shape=shape, resampling=rasterio.enums.Resampling.nearest)
        values = raw.astype(np.float32) * np.float32(source.scales[0]) + np.float32(source.offsets[0])
        return np.asarray(values.filled(np.nan))
