"""Longitudes where 180 degrees are crossed: counted on, back as they are written, and on a plane about a track."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.geodesy.line import METRES_PER_DEGREE_M

Floats = NDArray[np.float64]


def beside(lon_deg: ArrayLike, of_deg: float) -> Floats:
    """Longitudes counted on from one nearby, within half a turn of it. [degrees]

    Examples
    --------
    >>> beside([179.5, -179.5], 179.0).tolist()
    [179.5, 180.5]
    """
    return np.asarray(of_deg + (np.asarray(lon_deg, dtype=np.float64) - of_deg + 180.0) % 360.0 - 180.0)


def folded(lon_deg: ArrayLike) -> Floats:
    """Longitudes as they are written, from -180 up to 180. [degrees]

    Examples
    --------
    >>> folded([180.5, 11.25]).tolist()
    [-179.5, 11.25]
    """
    return np.asarray((np.asarray(lon_deg, dtype=np.float64) + 180.0) % 360.0 - 180.0)


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane about a place: over a drive of some tens of kilometres it is flat enough to tell roads apart."""

    lat_deg: float
    lon_deg: float

    def at(self, lat_deg: Floats, lon_deg: Floats) -> Floats:
        """Places on it, east and north, shape (N, 2). [m]"""
        east = (beside(lon_deg, self.lon_deg) - self.lon_deg) * np.cos(np.radians(self.lat_deg))
        return np.stack((east, lat_deg - self.lat_deg), axis=-1) * METRES_PER_DEGREE_M


def plane_about(lat_deg: Floats, lon_deg: Floats) -> Plane:
    """The plane about the middle of a track."""
    return Plane(float(lat_deg.mean()), float(beside(lon_deg, float(lon_deg[0])).mean()))
