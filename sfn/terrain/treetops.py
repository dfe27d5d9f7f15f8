"""Where heights of treetops and roofs count as bare ground: no ground cover is known that would be taken off them.

A surface model (`sfn.terrain.ground.Ground.surface`) holds what stands on the ground. Where the cover has no value, a
receiver counts as standing on it. Level water is none of this: what lies at 0 m, and what a zone raster calls sea.
"""

import numpy as np
from numpy.typing import NDArray

from sfn.terrain.cover import ZONE_VALUES
from sfn.terrain.dem import Terrain, heights, window
from sfn.terrain.ground import Ground
from sfn.terrain.heights import sample_nearest

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Of a map cover and zones are looked at in this many samples: 64 MB, and a cut edge within a sample of where it is.
MOST_LOOKED_SAMPLES = 16_000_000
# Along a way the cover is asked for so often: a wood is wider.
WAY_STEP_M = 100.0


def on_treetops(ground: Ground | None, lat_deg: Floats, lon_deg: Floats, height_m: Floats) -> Flags:
    """Whether heights of places count as bare ground though they are those of treetops and roofs.

    Parameters
    ----------
    ground : Ground or None
        None: a smooth earth.
    lat_deg, lon_deg : ndarray, one shape
        Places, few or along a line. [degrees]
    height_m : ndarray, their shape
        What counts as their ground, above sea level; NaN where that is not known. [m]

    Returns
    -------
    flags : ndarray of bool, their shape
        False where nothing is known: that is said elsewhere.
    """
    stands = _may_stand(ground, height_m)
    if ground is None or not stands.any():
        return stands
    lat, lon = np.asarray(lat_deg)[stands], np.asarray(lon_deg)[stands]
    stands[stands] = _without_cover(ground, *(None if s is None else heights(s, lat, lon) for s in _sources(ground)))
    return stands


def on_treetops_grid(ground: Ground, lat_deg: Floats, lon_deg: Floats, height_m: NDArray[np.floating]) -> Flags:
    """The same of all places of a map, shape (rows, columns), by latitudes of its rows and longitudes of its columns.

    Parameters
    ----------
    ground : Ground
    lat_deg : ndarray, shape (rows,)
    lon_deg : ndarray, shape (columns,)
    height_m : ndarray, shape (rows, columns)
    """
    stands = _may_stand(ground, height_m)
    if not stands.any():
        return stands

    def there(source: Terrain | None) -> Floats | None:
        """A source's values at places that may stand on treetops."""
        if source is None:
            return None
        grid = window(
            source, south_deg=float(lat_deg.min()), west_deg=float(lon_deg.min()), north_deg=float(lat_deg.max()),
            east_deg=float(lon_deg.max()), most_samples=MOST_LOOKED_SAMPLES,
        )  # fmt: skip
        return sample_nearest(grid, lat_deg[:, None], lon_deg[None, :])[stands]

    stands[stands] = _without_cover(ground, *map(there, _sources(ground)))
    return stands


def _sources(ground: Ground) -> tuple[Terrain | None, Terrain | None]:
    """Cover and zones."""
    return ground.cover, ground.zones


def _may_stand(ground: Ground | None, height_m: NDArray[np.floating]) -> Flags:
    """Places whose ground is one of a surface model, and no water at 0 m."""
    known = np.isfinite(height_m) & (np.asarray(height_m) != 0.0)
    return known if ground is not None and ground.terrain is not None and ground.surface else np.zeros_like(known)


def _without_cover(ground: Ground, cover: Floats | None, zone: Floats | None) -> Flags:
    """Where no cover is known, among those that a zone raster does not call sea."""
    if cover is None:
        bare = np.ones(1 if zone is None else zone.shape, dtype=bool)
    else:
        bare = np.isnan(cover) | ((cover < 0.0) if ground.cover_classes is None else False)
    if zone is None:
        return np.asarray(bare)
    sea = [number for number, name in ground.zone_classes if ZONE_VALUES[name] == ZONE_VALUES["sea"]]
    return np.asarray(bare & ~np.isin(zone, sea))
