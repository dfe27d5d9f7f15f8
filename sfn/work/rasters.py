"""Rasters by order: into the folder they are kept in."""

import threading
from functools import cache
from pathlib import Path

from cachetools import LRUCache

from sfn.errors import PlanError, Problem
from sfn.field.around import Bounds
from sfn.field.elsewhere import RasterAsked, compute
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.memory import Memory
from sfn.terrain.named import NamedGround, opened
from sfn.work.desk import Desk, worker_name


class Grounds:
    """What one worker remembers of the ground: files that it has looked at, and the heights of the last map."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._memory, self._lock = folder, Memory(), threading.Lock()
        self._windows: LRUCache[tuple[str, Bounds], GroundWindow] = LRUCache(1)

    def opened(self, named: NamedGround) -> Ground:
        """The ground of names; refused where the files here are others."""
        return opened(named, folder=self._folder, memory=self._memory)

    def window(self, named: NamedGround, bounds_deg: Bounds) -> GroundWindow:
        """The ground of a map, read once for all its sites; several threads of a worker share it."""
        key = (named.digest, bounds_deg)
        with self._lock:
            found = self._windows.get(key)
            if found is None:
                self._windows.clear()  # not two at a time: one may take a gigabyte
                south, west, north, east = bounds_deg
                ground = self.opened(named)
                found = ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)
                self._windows[key] = found
            return found


@cache  # a worker lives as long as its process, and serves one service
def grounds_of(folder: Path) -> Grounds:
    """What this process remembers of a terrain folder."""
    return Grounds(folder)


def rasters(asked: RasterAsked, desk: Desk) -> None:
    """Compute one raster, or a part.

    Raises
    ------
    PlanError
        If the terrain is another here, or nothing can be written.
    sfn.propagation.link.SweepCancelled
        If the job is to stop.
    """
    window = grounds_of(desk.terrain_folder).window(asked.ground, asked.window_deg)
    if not compute(asked, folder=desk.rasters_folder, ground=window, cancelled=desk.cancelled):
        what = f"{worker_name()} cannot keep a raster in {desk.rasters_folder}"
        expected = "room there, and the right to write"
        raise PlanError([Problem("worker", what, expected, code="data-unwritable")])
