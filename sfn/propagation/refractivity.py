"""Refractivity of a region from the ITU's digital maps, which the user brings: they may not be passed on.

DN50.TXT and N050.TXT come with ITU-R P.1812: rows from 90 degrees north to south, columns from 0 to 360 degrees east,
evenly. Between nodes P.1812 interpolates linearly both ways.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem

# File, least and greatest value that can be.
MAPS = {"delta_n": ("DN50.TXT", 0.0, 200.0), "surface_refractivity_n0": ("N050.TXT", 200.0, 500.0)}


@dataclass(frozen=True, slots=True)
class Refractivity:
    """Medians over the year.

    Parameters
    ----------
    delta_n : float
        Lapse in the lowest kilometre. [N-units/km]
    surface_refractivity_n0 : float
        At sea level. [N-units]
    """

    delta_n: float
    surface_refractivity_n0: float


@dataclass(frozen=True, slots=True)
class RefractivityMaps:
    """Both maps: rows from 90 degrees north to south, columns from 0 to 360 degrees east."""

    delta_n: NDArray[np.float64]
    surface_refractivity_n0: NDArray[np.float64]

    def at(self, lat_deg: float, lon_deg: float) -> Refractivity:
        """Both quantities at a place, straight between the four nodes round it."""
        return Refractivity(
            _between(self.delta_n, lat_deg, lon_deg), _between(self.surface_refractivity_n0, lat_deg, lon_deg)
        )


def refractivity_at(folder: Path, lat_deg: float, lon_deg: float) -> Refractivity:
    """Both quantities at a place.

    Parameters
    ----------
    folder : Path
        Where DN50.TXT and N050.TXT lie.
    lat_deg, lon_deg : float
        [degrees]

    Raises
    ------
    PlanError
        If a map is missing or is no map; each is named.
    """
    return read_maps(folder).at(lat_deg, lon_deg)


def read_maps(folder: Path) -> RefractivityMaps:
    """The maps of a folder.

    Raises
    ------
    PlanError
        If a map is missing or is no map; each is named.
    """
    problems: list[Problem] = []
    found: dict[str, NDArray[np.float64]] = {}
    for name, (file_name, least, greatest) in MAPS.items():
        path = next((p for p in (folder / file_name, folder / file_name.lower()) if p.is_file()), None)
        try:
            if path is None:
                raise ValueError("is not there")
            values = np.loadtxt(path)
            if values.ndim != 2 or min(values.shape) < 3 or not np.all((values >= least) & (values <= greatest)):
                raise ValueError(f"holds no map of values from {least:g} to {greatest:g}")
            found[name] = values
        except (OSError, ValueError) as error:
            what = str(error) if str(error).startswith(("is not", "holds no map")) else "holds no table of numbers"
            expected = "the digital maps DN50.TXT and N050.TXT of ITU-R P.1812"
            problems.append(Problem("maps", f"{file_name} {what}", expected, code="map-unreadable", fields=("maps",)))
    if problems:
        raise PlanError(problems)
    return RefractivityMaps(**found)


def _between(values: NDArray[np.float64], lat_deg: float, lon_deg: float) -> float:
    """Value at a place."""
    rows, columns = values.shape
    row = (90.0 - lat_deg) / 180.0 * (rows - 1)
    column = (lon_deg % 360.0) / 360.0 * (columns - 1)
    i, j = min(int(row), rows - 2), min(int(column), columns - 2)
    u, v = row - i, column - j
    top = values[i, j] * (1.0 - v) + values[i, j + 1] * v
    low = values[i + 1, j] * (1.0 - v) + values[i + 1, j + 1] * v
    return float(top * (1.0 - u) + low * u)
