"""What a map shows at a place, beside what is worked out for the place itself: a pixel speaks for its centre."""

from dataclasses import dataclass

import numpy as np

from sfn.geodesy.line import inverse
from sfn.reception.classes import class_words
from sfn.study.zones import Zones
from sfn.units import finite_or_none


@dataclass(frozen=True, slots=True)
class Pixel:
    """The pixel of a map that holds a place.

    `away_m` is from the place to the pixel's centre; `level_dbuvm` of the strongest signal and `for_people`, its class
    in the service's words, are the map's: None where nothing is known; `by` is the code of the rule that made it.
    [m, dB(uV/m)]
    """

    size_m: float
    away_m: float
    level_dbuvm: float | None
    for_people: str | None
    by: str


def pixel_at(found: Zones, lat_deg: float, lon_deg: float) -> Pixel | None:
    """The pixel of a map at a place; None beyond the map.

    Parameters
    ----------
    found : Zones
    lat_deg, lon_deg : float
        [degrees]
    """
    grid = found.coverage.grid
    if not bool(grid.contains(lat_deg, lon_deg)):
        return None
    row, column = (int(k) for k in grid.pixels_of(lat_deg, lon_deg))
    away_m = float(inverse(lat_deg, lon_deg, grid.lat_deg[row], grid.lon_deg[column])[0])
    code = found.quality.quality_class[row * grid.columns_n + column]
    level = found.layer("level_dbuvm")
    return Pixel(
        grid.pixel_m,
        away_m,
        None if level is None else finite_or_none(float(level.values[row, column])),
        None if np.isnan(code) else class_words(found.carried)[int(code)],
        found.says.by,
    )
