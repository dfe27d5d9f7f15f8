"""How far heights as they are used lie off a file's own samples, where the file is laid on another lattice."""

from functools import lru_cache

import numpy as np
import rasterio
import rasterio.warp

from sfn.terrain.carried import WGS84
from sfn.terrain.dem import Terrain, window
from sfn.terrain.heights import sample
from sfn.terrain.tile import Tile, open_raster, system_of, values_of

# So many squares each way over the file, of so many samples a side.
SQUARES_N, SIDE_N = 3, 48


@lru_cache(maxsize=512)
def off_the_file(tile: Tile) -> tuple[float, float] | None:
    """Heights as laid over a small area, beside the file's own samples: rms and greatest difference. [m]

    The file's coordinate system is carried onto latitude and longitude, and heights are taken between samples twice:
    the rougher the ground, the more that moves them. None where nothing is moved (the file lies along latitude and
    longitude), or where none of the samples looked at is known.

    Parameters
    ----------
    tile : Tile
        From `sfn.terrain.tile.tile_of`.
    """
    if not tile.askew:
        return None
    terrain, apart = Terrain(tile.path, (tile,), (), tile.digest), []
    with open_raster(tile.path) as source:
        side = min(SIDE_N, source.height), min(SIDE_N, source.width)
        for row in _starts(source.height):
            for column in _starts(source.width):
                own_m = values_of(source, tile, (row, column, *side), True)
                rows, columns = np.mgrid[row : row + own_m.shape[0], column : column + own_m.shape[1]]
                x, y = source.transform * (columns.ravel() + 0.5, rows.ravel() + 0.5)
                lon, lat = map(np.asarray, rasterio.warp.transform(system_of(source, tile.told), WGS84, x, y))
                laid = window(terrain, south_deg=lat.min(), west_deg=lon.min(), north_deg=lat.max(), east_deg=lon.max())
                apart.append(sample(laid, lat, lon) - own_m.ravel())
    found = np.concatenate(apart)
    found = found[np.isfinite(found)]
    if not found.size:
        return None
    return float(np.sqrt(np.mean(found**2))), float(np.abs(found).max())


def _starts(count: int) -> list[int]:
    """First sample of each square along one side, not at the file's very edge where it can be."""
    return sorted({int(first) for first in np.linspace(0.1, 0.9, SQUARES_N) * max(count - SIDE_N, 0)})
