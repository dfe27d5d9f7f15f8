"""Round which places zones of sea and coast are made."""

from collections.abc import Mapping

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located

# As far as signals of a network are looked at, and what tells there whether the sea is within 50 km.
AROUND_KM = 200.0
KM_PER_DEGREE = 111.195


def bounds_around(placed: Mapping[str, Located]) -> tuple[float, float, float, float]:
    """South, west, north and east of all sites with 200 km around. [degrees]

    Parameters
    ----------
    placed : mapping of site id to a position on WGS84

    Raises
    ------
    PlanError
        If no site is placed.
    """
    if not placed:
        expected = "a network of which one site at least has a position"
        raise PlanError([Problem("sites", "none has a position that can be read", expected, code="no-site-placed")])
    lat = np.array([at.lat_deg for at in placed.values()])
    lon = np.array([at.lon_deg for at in placed.values()])
    lon = lon[0] + (lon - lon[0] + 180.0) % 360.0 - 180.0
    up = AROUND_KM / KM_PER_DEGREE
    south, north = max(float(lat.min()) - up, -89.9), min(float(lat.max()) + up, 89.9)
    side = up / max(float(np.cos(np.radians(max(abs(south), abs(north))))), 0.05)
    return south, float(lon.min()) - side, north, float(lon.max()) + side
