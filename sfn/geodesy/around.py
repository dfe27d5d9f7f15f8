"""Many places around one site: plane coordinates that keep distance and bearing from it, by polynomials.

A raster asks for a million bearings and a sweep for ten million places on geodesics; PROJ's geodesics take a
microsecond each. Both maps are smooth, so a polynomial fitted to PROJ's answers gives them to millimetres: the
degree is raised until places that were not fitted agree, and the bound found is kept.

| symbol | name | unit |
|---|---|---|
| s, A | ground distance and azimuth from the site | m, degrees |
| x, y | ``s sin A`` east and ``s cos A`` north of the site | m |
| u, v | x, y over the radius; or latitude and longitude differences, scaled | 1 |
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range
from sfn.geodesy.line import direct

Floats = NDArray[np.float64]

# Well below any raster's pixel, and below what a position is known to.
TOLERANCE_M = 0.02
LEAST_DEGREE, GREATEST_DEGREE = 5, 14
# Nearer to a pole, longitudes are no smooth function of the place.
GREATEST_LATITUDE_DEG = 85.0


@dataclass(frozen=True, slots=True)
class SiteMap:
    """Places to plane coordinates about a site and back, inside a radius.

    Parameters
    ----------
    lat_deg, lon_deg, radius_m : float
        The site, and how far the map reaches. [degrees], [m]
    lat_scale_deg, lon_scale_deg : float
        What u and v of a place are measured in. [degrees]
    degree : int
        Degree of the polynomials.
    place_deg : ndarray, shape (2, terms)
        Coefficients of latitude and longitude difference over u = x / radius, v = y / radius. [degrees]
    plane_m : ndarray, shape (2, terms)
        Coefficients of x and y over u = latitude difference, v = longitude difference, scaled. [m]
    bound_m : float
        Largest error found at places that were not fitted, either way. [m]
    """

    lat_deg: float
    lon_deg: float
    radius_m: float
    lat_scale_deg: float
    lon_scale_deg: float
    degree: int
    place_deg: Floats
    plane_m: Floats
    bound_m: float

    def plane(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> tuple[Floats, Floats]:
        """East and north of the site, of places. [m]  No promise beyond the radius."""
        u = (np.asarray(lat_deg, dtype=np.float64) - self.lat_deg) / self.lat_scale_deg
        v = _turn(np.asarray(lon_deg, dtype=np.float64) - self.lon_deg) / self.lon_scale_deg
        x, y = (_sum(c, u, v, self.degree) for c in self.plane_m)
        return x, y

    def place(self, east_m: ArrayLike, north_m: ArrayLike) -> tuple[Floats, Floats]:
        """Latitude and longitude of plane coordinates; longitude counts on past 180. [degrees]"""
        u, v = (np.asarray(w, dtype=np.float64) / self.radius_m for w in (east_m, north_m))
        lat, lon = (_sum(c, u, v, self.degree) for c in self.place_deg)
        return self.lat_deg + lat, self.lon_deg + lon

    def along(self, azimuth_deg: ArrayLike) -> Floats:
        """Latitude and longitude difference along geodesics, as polynomials of distance over radius.

        Parameters
        ----------
        azimuth_deg : array_like, shape (A,)
            Azimuths at the site. [degrees]

        Returns
        -------
        coefficients : ndarray, shape (A, 2, degree + 1)
            Lowest power first. [degrees]
        """
        azimuth = np.radians(np.asarray(azimuth_deg, dtype=np.float64))
        east, north = (np.vander(w, self.degree + 1, increasing=True).T for w in (np.sin(azimuth), np.cos(azimuth)))
        out = np.zeros((self.degree + 1, 2, len(azimuth)))
        for term, (i, j) in enumerate(_powers(self.degree)):
            out[i + j] += self.place_deg[:, term, None] * (east[i] * north[j])
        return np.ascontiguousarray(out.T)


def site_map(lat_deg: float, lon_deg: float, *, radius_m: float) -> SiteMap:
    """The map about one site.

    Parameters
    ----------
    lat_deg, lon_deg : float
        The site. [degrees]
    radius_m : float
        How far it must reach, 100 m to 1000 km. [m]

    Returns
    -------
    SiteMap
        Agrees with PROJ's geodesics to 0.02 m, everywhere inside the radius.

    Raises
    ------
    ValueError
        If an argument is out of range, or the circle comes nearer than 5 degrees to a pole.

    Examples
    --------
    >>> around = site_map(51.0, 7.0, radius_m=50_000.0)
    >>> x, y = around.plane(51.2, 7.3)
    >>> print(f"{np.hypot(x, y):.2f}")
    30604.73
    """
    in_range("radius_m", radius_m, least=100.0, greatest=1e6, unit="m")
    in_range("lon_deg", lon_deg, least=-360.0, greatest=360.0, unit="degrees")
    reach_deg = radius_m / 110_000.0
    in_range(
        "lat_deg", abs(lat_deg) + reach_deg, least=0.0, greatest=GREATEST_LATITUDE_DEG, unit="degrees, with radius"
    )
    lat_scale_deg, lon_scale_deg = reach_deg, reach_deg / np.cos(np.radians(abs(lat_deg) + reach_deg))
    check = _exact(lat_deg, lon_deg, radius_m, radii=np.linspace(0.07, 1.0, 9), azimuths=37, offset_deg=3.3)
    for degree in range(LEAST_DEGREE, GREATEST_DEGREE + 1):
        radii = 0.5 * (1.0 - np.cos(np.pi * (np.arange(degree + 3) + 0.5) / (degree + 3))) * 1.02
        x, y, dlat, dlon = _exact(lat_deg, lon_deg, radius_m, radii=radii, azimuths=2 * degree + 9, offset_deg=0.0)
        powers = _powers(degree)
        design = _design(x / radius_m, y / radius_m, powers)
        place = np.linalg.lstsq(design, np.column_stack([dlat, dlon]), rcond=None)[0].T
        design = _design(dlat / lat_scale_deg, dlon / lon_scale_deg, powers)
        plane = np.linalg.lstsq(design, np.column_stack([x, y]), rcond=None)[0].T
        fitted = SiteMap(
            lat_deg, lon_deg, radius_m, lat_scale_deg, float(lon_scale_deg), degree,
            np.ascontiguousarray(place), np.ascontiguousarray(plane), 0.0,
        )  # fmt: skip
        bound_m = _worst(fitted, check)
        if bound_m <= TOLERANCE_M:
            break
    else:
        raise ValueError(f"radius_m is too large for latitude {lat_deg!r}: places are met to {bound_m:.2f} m only")
    return SiteMap(
        lat_deg, lon_deg, radius_m, lat_scale_deg, float(lon_scale_deg), degree, fitted.place_deg, fitted.plane_m,
        bound_m,
    )  # fmt: skip


def _exact(
    lat_deg: float, lon_deg: float, radius_m: float, *, radii: Floats, azimuths: int, offset_deg: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """x, y and latitude and longitude differences of a pattern of places, by PROJ."""
    azimuth, ground = (
        w.ravel() for w in np.meshgrid(np.arange(azimuths) * 360.0 / azimuths + offset_deg, radii * radius_m)
    )
    lat, lon = direct(lat_deg, lon_deg, azimuth_deg=azimuth, ground_m=ground)
    angle = np.radians(azimuth)
    return ground * np.sin(angle), ground * np.cos(angle), lat - lat_deg, _turn(lon - lon_deg)


def _worst(fitted: SiteMap, exact: tuple[Floats, Floats, Floats, Floats]) -> float:
    """Largest error of either map at exact places. [m]"""
    x, y, dlat, dlon = exact
    lat, lon = fitted.place(x, y)
    metres = 111_700.0
    off_place = np.hypot(
        lat - fitted.lat_deg - dlat, (lon - fitted.lon_deg - dlon) * np.cos(np.radians(fitted.lat_deg + dlat))
    )
    ours = fitted.plane(fitted.lat_deg + dlat, fitted.lon_deg + dlon)
    return float(max(np.max(off_place) * metres, np.max(np.hypot(ours[0] - x, ours[1] - y))))


def _turn(difference_deg: Floats) -> Floats:
    """A difference of longitudes between -180 and 180."""
    return np.asarray((difference_deg + 180.0) % 360.0 - 180.0)


def _powers(degree: int) -> list[tuple[int, int]]:
    """Exponents (i, j) of u and v, grouped by i, j ascending: the order of Horner's scheme."""
    return [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]


def _design(u: Floats, v: Floats, powers: list[tuple[int, int]]) -> Floats:
    """One column a term."""
    return np.column_stack([u**i * v**j for i, j in powers])


def _sum(coefficients: Floats, u: Floats, v: Floats, degree: int) -> Floats:
    """The polynomial's value by Horner's scheme."""
    total = np.zeros(np.broadcast(u, v).shape)
    last = len(coefficients)
    for i in range(degree, -1, -1):
        first = last - (degree + 1 - i)
        row = np.zeros_like(total)
        for c in coefficients[first:last][::-1]:
            row = row * v + c
        total = total * u + row
        last = first
    return total
