"""Ridge country for demos and tests: the terrain that ships inside matplotlib, with its true bounds.

The file's own bounds are wrong (a sign slipped in ``ymin``: the south edge is said to lie north of the
north edge). These are right, checked against the elevations of five towns and a county line on the crest:

| edge | degrees |
|---|---|
| north | 36.44625 |
| south | 36.159583 |
| west | -84.41375 |
| east | -84.077917 |

Samples of 3 arc-seconds, 236 to 1076 m, no voids; Shuttle Radar Topography Mission (NASA), in the public
domain by its contributor's word.
"""

import numpy as np

from sfn.terrain.dem import Terrain, terrain_from_grid
from sfn.terrain.heights import HeightGrid

RIDGE = "ridge"
_TO_A_DEGREE = 1200
# Centre of the north-western sample, half a sample inside the edges above, in steps of the lattice.
_NORTH_STEPS, _WEST_STEPS = 43_735, -101_296


def ridge() -> Terrain:
    """The ridge terrain, 31.8 km x 30.1 km, under the name ``ridge``."""
    # The file is found by matplotlib alone, which is slow to import and needed for nothing else here.
    from matplotlib.cbook import get_sample_data

    with np.load(str(get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))) as held:
        height_m = held["elevation"].astype(np.float32)
    grid = HeightGrid(
        height_m, _NORTH_STEPS / _TO_A_DEGREE, _WEST_STEPS / _TO_A_DEGREE, 1 / _TO_A_DEGREE, 1 / _TO_A_DEGREE
    )
    return terrain_from_grid(grid, name=RIDGE)
