"""Measuring on a map: the geodesic between two places with its travel time, and the bar that says how long a length is.

| symbol | name | unit |
|---|---|---|
| s | `ground_m`, geodesic on the WGS84 ellipsoid, by PROJ | m |
| n | refractive index of the network's air, ``1 + N * 1e-6`` | 1 |
| t | `travel_us`, ``s n / c``: along the ground, antenna heights left out | us |
"""

import math
from dataclasses import dataclass

from sfn.geodesy.line import inverse, travel_time
from sfn.report.numbers import number, us

BAR_RATIO = 0.3
"""The longest bar, as a part of the map's width."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A line between two places. `azimuth_deg`: at the first towards the second, clockwise from true north."""

    ground_m: float
    azimuth_deg: float
    travel_us: float
    says: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A bar across a part of a map's width, with the length that it stands for in km and us."""

    width_ratio: float
    length_m: float
    travel_us: float
    km_text: str
    us_text: str


def measured(
    lat_deg: float, lon_deg: float, to_lat_deg: float, to_lon_deg: float, *, refractivity_n: float
) -> Measured:
    """The geodesic between two places.

    Parameters
    ----------
    lat_deg, lon_deg, to_lat_deg, to_lon_deg : float
        On WGS84. [degrees]
    refractivity_n : float
        Of the network's air. [N-units]
    """
    ground, azimuth, _ = inverse(lat_deg, lon_deg, to_lat_deg, to_lon_deg)
    ground_m, azimuth_deg = float(ground), float(azimuth)
    travel_us = float(travel_time(ground_m, refractivity_n=refractivity_n))
    towards = f", {number(azimuth_deg, 1)}° from true north" if ground_m > 0 else ""
    says = (
        f"{number(ground_m / 1000, 3)} km on the ground, {us(travel_us, 2)}{towards}; antenna heights are not counted"
    )
    return Measured(ground_m, azimuth_deg, travel_us, says)


def scale_bar(*, lat_deg: float, west_deg: float, east_deg: float, refractivity_n: float) -> ScaleBar | None:
    """The longest round bar that takes at most 0.3 of a map's width, true along one latitude of it.

    Parameters
    ----------
    lat_deg : float
        Latitude of the bar: a map's scale changes with it. [degrees]
    west_deg, east_deg : float
        Ends of the map there, east of west. [degrees]
    refractivity_n : float
        Of the network's air. [N-units]

    Returns
    -------
    bar : ScaleBar or None
        None where the map is wider than a third of the globe: no bar is true on it.
    """
    if not 0 < east_deg - west_deg <= 120:
        return None
    eighths = [west_deg + k * (east_deg - west_deg) / 8 for k in range(9)]  # the geodesic cuts across a parallel
    width_m = float(inverse(lat_deg, eighths[:-1], lat_deg, eighths[1:])[0].sum())
    power = 10.0 ** math.floor(math.log10(BAR_RATIO * width_m))
    length_m = next(power * factor for factor in (5, 2, 1) if power * factor <= BAR_RATIO * width_m)
    travel_us = float(travel_time(length_m, refractivity_n=refractivity_n))
    km = f"{length_m / 1000:g} km" if length_m >= 1000 else f"{length_m:g} m"
    return ScaleBar(length_m / width_m, length_m, travel_us, km, us(travel_us, 1 if travel_us >= 10 else 2))
