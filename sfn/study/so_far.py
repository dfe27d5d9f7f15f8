"""What a map can show while levels are still being computed: the strongest of the sites that are finished."""

import threading

import numpy as np

from sfn.field.raster import LevelRaster
from sfn.geodesy.grid import Grid
from sfn.study.zones import LEVELS, Flags, Layer, Singles


class SoFar:
    """Levels of the sites that are finished. One thread adds, others look."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        self._lock = threading.Lock()
        self._level: Singles = np.full(grid.shape, np.nan, dtype=np.float32)
        self._covered: Flags = np.ones(grid.shape, dtype=np.bool_)
        self._sites: tuple[str, ...] = ()

    def add(self, site: str, raster: LevelRaster) -> None:
        """A site is finished."""
        level, covered = np.fmax(self._level, raster.level_dbuvm), self._covered & raster.covered
        with self._lock:
            self._level, self._covered, self._sites = level, covered, (*self._sites, site)

    def look(self) -> tuple[Layer, Flags, tuple[str, ...]]:
        """The layer, where the terrain covers it, and the ids of the sites that are in it."""
        with self._lock:
            level, covered, sites = self._level, self._covered, self._sites
        return Layer("level_dbuvm", "Level of the strongest so far", level, "dBuV/m", LEVELS), covered, sites
