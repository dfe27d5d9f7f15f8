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
def off_the_file(tile: Tile) -> tuple[float, float, float] | None:
    """Heights beside the file's own samples: rms and greatest difference, and rms over a very large area. [m]

    The file's coordinate system is carried onto latitude and longitude, and heights are taken between samples twice:
    the rougher the ground, the more that moves them, most where an area is too large for a lattice finer than the file.
    None where nothing is moved (the file lies along latitude and longitude), or where no sample looked at is known.

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
                bounds = {"south_deg": lat.min(), "west_deg": lon.min(), "north_deg": lat.max(), "east_deg": lon.max()}
                fine = window(terrain, **bounds)
                # Room for half of the finer samples: as fine as the file and no finer.
                coarse = window(terrain, **bounds, most_samples=fine.height_m.size // 2)
                apart.append([sample(laid, lat, lon) - own_m.ravel() for laid in (fine, coarse)])
    found = np.concatenate(apart, axis=1)
    found = found[:, np.isfinite(found).all(axis=0)]
    if not found.size:
        return None
    rms_m = np.sqrt(np.mean(found**2, axis=1))
    return float(rms_m[0]), float(np.abs(found[0]).max()), float(rms_m[1])


def _starts(count: int) -> list[int]:
    """First sample of each square along one side, not at the file's very edge where it can be."""
    return sorted({int(first) for first in np.linspace(0.1, 0.9, SQUARES_N) * max(count - SIDE_N, 0)})
