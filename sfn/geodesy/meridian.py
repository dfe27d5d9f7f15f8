"""Longitudes where 180 degrees are crossed: counted on, and back as they are written."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
