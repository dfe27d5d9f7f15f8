"""Rasters, or parts of them, computed by another process or machine: plain data go there, files come back by key."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from sfn.errors import PlanError, Problem
from sfn.field.around import Bounds
from sfn.field.cache import forget, load, load_part, part_key, store, store_part
from sfn.field.raster import LevelRaster, joined, level_raster, part_of
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.grid import Grid
from sfn.propagation.share import Share
from sfn.terrain.ground import GroundWindow
from sfn.terrain.named import NamedGround

ROUNDS_N = 3
"""How often a file is asked for that was made and is not there, or not what was written."""
Cancelled = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class RasterAsked:
    """One raster, or a part of it, as it is asked for: all that it hangs on.

    Parameters
    ----------
    key : str
        Of the whole raster, `sfn.field.cache.raster_key`.
    transmitter, grid, rx_height_m, receiver_polarisation, step_m
        As in `sfn.field.raster.level_raster`.
    ground : NamedGround
    window_deg : tuple of float
        South, west, north, east of the ground that all sites of a map share. [degrees]
    part_n, of_n : int
        Which part of how many; 0 of 1: the whole.
    most_bytes : int
        Of all that the folder keeps.
    """

    key: str
    transmitter: Transmitter
    grid: Grid
    ground: NamedGround
    window_deg: Bounds
    rx_height_m: float
    receiver_polarisation: Plane | None
    step_m: float | None
    part_n: int
    of_n: int
    most_bytes: int

    @property
    def own_key(self) -> str:
        """Under which it is kept."""
        return self.key if self.of_n == 1 else part_key(self.key, self.part_n, self.of_n)


class Far(Protocol):
    """Whoever has rasters computed elsewhere, into the folder they are kept in."""

    @property
    def terrain_folder(self) -> Path:
        """Within which terrain must lie, so that it is found there."""

    def parts_n(self, *, sites_n: int, pixels_n: int) -> int:
        """In how many parts each site's raster is worth being computed."""

    def computed(self, asked: Sequence[RasterAsked], *, cancelled: Cancelled) -> Iterator[int]:
        """Have them computed; yields places in `asked` as their files are there."""


def compute(asked: RasterAsked, *, folder: Path, ground: GroundWindow, cancelled: Cancelled | None = None) -> bool:
    """Compute what is asked for into a folder; whether it could be written. What is there already is left.

    Parameters
    ----------
    asked : RasterAsked
    folder : Path
        Where rasters are kept.
    ground : GroundWindow
        Of `window_deg`, read.
    cancelled : callable() -> bool, optional

    Raises
    ------
    sfn.propagation.link.SweepCancelled
        If `cancelled` said so.
    """
    share = None if asked.of_n == 1 else Share(asked.part_n, asked.of_n)
    if (load if share is None else load_part)(folder, asked.own_key) is not None:
        return True
    made = level_raster(
        asked.transmitter, asked.grid, ground=ground, rx_height_m=asked.rx_height_m,
        receiver_polarisation=asked.receiver_polarisation, step_m=asked.step_m, share=share, cancelled=cancelled,
    )  # fmt: skip
    if share is None:
        return store(folder, asked.key, made, most_bytes=asked.most_bytes)
    return store_part(folder, asked.own_key, part_of(made, share), most_bytes=asked.most_bytes)


def from_far(
    whole: Sequence[RasterAsked], far: Far, *, folder: Path, told: Callable[[int, float], None], cancelled: Cancelled
) -> Iterator[tuple[int, LevelRaster]]:
    """Rasters out of a folder, as whoever computes them elsewhere has them all there.

    Parameters
    ----------
    whole : sequence of RasterAsked
        One a site, in one part.
    far : Far
    folder : Path
        Where they are kept.
    told : callable(index, ratio)
        How much of a site's raster is there.
    cancelled : callable() -> bool

    Raises
    ------
    PlanError
        If files that were made are not there again and again, or `far` says no.
    """
    parts_n = far.parts_n(sites_n=len(whole), pixels_n=whole[0].grid.pixels_n)
    left = [part for one in whole for part in _parts(one, parts_n)]
    of = {one.key: n for n, one in enumerate(whole)}
    for _ in range(ROUNDS_N):
        again: list[RasterAsked] = []
        done = Counter({one.key: parts_n for one in whole})
        done.subtract(Counter(one.key for one in left))
        for at in far.computed(left, cancelled=cancelled):
            key = left[at].key
            done[key] += 1
            told(of[key], done[key] / parts_n)
            if done[key] == parts_n:
                parts = _parts(left[at], parts_n)
                raster = _read(folder, parts)
                if raster is None:
                    again += parts
                    continue
                if parts_n > 1:
                    store(folder, key, raster, most_bytes=left[at].most_bytes)
                    forget(folder, (part.own_key for part in parts))
                yield of[key], raster
        if not again:
            return
        left = again
    what = f"levels that were computed elsewhere are not in {folder}, or not as they were written"
    expected = "one folder for the service and all workers, with room for the rasters of a map"
    raise PlanError([Problem("data", what, expected, code="levels-gone")])


def _parts(one: RasterAsked, parts_n: int) -> list[RasterAsked]:
    """All parts of the raster that one is of."""
    return [replace(one, part_n=part_n, of_n=parts_n) for part_n in range(parts_n)]


def _read(folder: Path, parts: Sequence[RasterAsked]) -> LevelRaster | None:
    """A raster out of its file, or its parts' files; None where one is not there."""
    grid = parts[0].grid
    if len(parts) == 1:
        found = load(folder, parts[0].key)
        return found if found is not None and found.level_dbuvm.shape == grid.shape else None
    held = [load_part(folder, part.own_key) for part in parts]
    there = [part for part in held if part is not None]
    if len(there) < len(parts):
        return None
    try:
        return joined(there, grid)
    except ValueError:
        forget(folder, (part.own_key for part in parts))
        return None
