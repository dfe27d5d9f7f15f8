"""What a transmitter lays over a grid: plain arrays, one record a site."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Singles = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LevelRaster:
    """One transmitter's field strength over a grid; all arrays of shape (rows, columns), row 0 in the north.

    Parameters
    ----------
    level_dbuvm : ndarray of float32
        Median over time and places. [dB(uV/m)] NaN where there is no answer.
    level_1pct_dbuvm : ndarray of float32
        Exceeded for 1 % of time, median over places: for interference. [dB(uV/m)]
    ground_distance_m : ndarray of float32
        Geodesic from the site. [m]
    rx_ground_m : ndarray of float32
        Ground at the pixel above sea level. [m] NaN where not covered.
    line_of_sight : ndarray of bool
        Whether the antennas see each other over the bare ground.
    covered : ndarray of bool
        False where the terrain has a gap at the pixel or on the way to it.
    smooth : bool
        True when no terrain was used: the earth counted as smooth.
    """

    level_dbuvm: Singles
    level_1pct_dbuvm: Singles
    ground_distance_m: Singles
    rx_ground_m: Singles
    line_of_sight: Flags
    covered: Flags
    smooth: bool

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """The arrays by their names."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "smooth"}
