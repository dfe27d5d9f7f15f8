"""The pixel grid of the maps: Web Mercator, so that an image lies exactly on a web map.

| symbol | name | unit |
|---|---|---|
| R | `WEB_MERCATOR_RADIUS_M`, the radius of EPSG:3857 | m |
| x, y | projected coordinates of EPSG:3857 | m, projected |
| phi | latitude on the WGS84 ellipsoid | degrees |

EPSG:3857 puts WGS84 latitudes into the formulas of the sphere. A projected metre is therefore shorter on
the ground, by about the cosine of the latitude, and not by quite the same amount north-south as
east-west. Sizes in metres *on the ground* are meant east-west at the centre of the grid; areas are true areas.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.extent import WGS84_A_M, WGS84_E2_RATIO, north_of_equator_ratio
from sfn.units import grouped

Floats = NDArray[np.float64]

WEB_MERCATOR_RADIUS_M = 6_378_137.0
WEB_MERCATOR_LIMIT_DEG = 85.051_128
MOST_PIXELS_N = 4_000_000
LEAST_PIXEL_M = 0.5


@dataclass(frozen=True, slots=True)
class Grid:
    """Square pixels of EPSG:3857, row 0 in the north, column 0 in the west.

    Parameters
    ----------
    west_mercator_m, north_mercator_m : float
        Outer corner of the pixel in row 0 and column 0. [m, projected]
    pixel_mercator_m : float
        Side of a pixel. [m, projected]
    rows_n, columns_n : int
        How many of each.
    """

    west_mercator_m: float
    north_mercator_m: float
    pixel_mercator_m: float
    rows_n: int
    columns_n: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows_n, self.columns_n

    @property
    def pixels_n(self) -> int:
        """How many pixels there are."""
        return self.rows_n * self.columns_n

    @property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """Outer edges of the outer pixels: south, west, north, east. [degrees]"""
        south_mercator_m = self.north_mercator_m - self.rows_n * self.pixel_mercator_m
        east_mercator_m = self.west_mercator_m + self.columns_n * self.pixel_mercator_m
        south, north = _latitude(np.array([south_mercator_m, self.north_mercator_m]))
        west, east = np.degrees(np.array([self.west_mercator_m, east_mercator_m]) / WEB_MERCATOR_RADIUS_M)
        return float(south), float(west), float(north), float(east)

    @property
    def pixel_m(self) -> float:
        """Side of a pixel on the ground, east-west at the latitude of the centre. [m]"""
        south, _, north, _ = self.bounds_deg
        return self.pixel_mercator_m / _east_west_scale((south + north) / 2)

    @property
    def lat_deg(self) -> Floats:
        """Latitude of the pixel centres, one a row, shape (rows,). [degrees]"""
        return _latitude(self.north_mercator_m - (np.arange(self.rows_n) + 0.5) * self.pixel_mercator_m)

    @property
    def lon_deg(self) -> Floats:
        """Longitude of the pixel centres, one a column, shape (columns,). [degrees, above 180 past the date line]"""
        x_m = self.west_mercator_m + (np.arange(self.columns_n) + 0.5) * self.pixel_mercator_m
        return np.asarray(np.degrees(x_m / WEB_MERCATOR_RADIUS_M))

    @property
    def points_deg(self) -> tuple[Floats, Floats]:
        """Latitude and longitude of every pixel centre, each of shape (rows, columns), read-only. [degrees]"""
        lat, lon = np.broadcast_arrays(self.lat_deg[:, None], self.lon_deg[None, :])
        return lat, lon

    @property
    def pixel_area_km2(self) -> Floats:
        """True area of one pixel of each row on the ellipsoid, shape (rows,). [km2]

        The zone between two latitudes, eq. (3-11), (3-12) of J. P. Snyder, "Map projections: a working manual", 1987.
        """
        edges_m = self.north_mercator_m - np.arange(self.rows_n + 1) * self.pixel_mercator_m
        q = north_of_equator_ratio(_latitude(edges_m))
        width_rad = self.pixel_mercator_m / WEB_MERCATOR_RADIUS_M
        return np.asarray(-np.diff(q) * WGS84_A_M**2 / 2 * width_rad / 1e6)

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        """Affine transform from column and row to EPSG:3857, in the order a, b, c, d, e, f of rasterio's Affine."""
        return self.pixel_mercator_m, 0.0, self.west_mercator_m, 0.0, -self.pixel_mercator_m, self.north_mercator_m

    def pixels_of(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of the pixels that contain points.

        Parameters
        ----------
        lat_deg, lon_deg : array_like, shapes that broadcast together
            The points. [degrees]

        Returns
        -------
        row, column : ndarray of int, the common shape
            May lie outside the grid: test with `contains` first.

        Raises
        ------
        ValueError
            If a latitude is beyond what Web Mercator can show, or anything is not a number.
        """
        lat, lon = np.broadcast_arrays(np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64))
        if not (np.all(np.abs(lat) <= WEB_MERCATOR_LIMIT_DEG) and np.all(np.abs(lon) <= 360)):
            raise ValueError(
                f"lat_deg must be from {-WEB_MERCATOR_LIMIT_DEG} to {WEB_MERCATOR_LIMIT_DEG} and lon_deg from -360 "
                f"to 360 degrees, got {lat.min()} to {lat.max()} and {lon.min()} to {lon.max()}"
            )
        round_m = 2 * np.pi * WEB_MERCATOR_RADIUS_M
        x_m = np.radians(lon) * WEB_MERCATOR_RADIUS_M - self.west_mercator_m
        x_m = np.maximum(0.0, x_m - round_m * np.floor((x_m + 1e-6) / round_m))  # the edge itself belongs to column 0
        y_m = self.north_mercator_m - _northing_m(lat)
        row = np.floor(np.where(np.abs(y_m) < 1e-6, 0.0, y_m) / self.pixel_mercator_m)
        return row.astype(np.int64), np.floor(x_m / self.pixel_mercator_m).astype(np.int64)

    def line_of(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Where the points of a line lie on the grid, in rows and columns.

        Parameters
        ----------
        lat_deg, lon_deg : array_like, shape (K,)
            Points one after the other, each less than half round the world from the last. [degrees]

        Returns
        -------
        row, column : ndarray, shape (K,)
            Whole at the edges of pixels, a half at their centres; outside the grid they go on counting. The line lies
            the way round the world that is nearest to the grid.
        """
        lon = np.unwrap(np.asarray(lon_deg, dtype=np.float64), period=360.0)
        _, west, _, east = self.bounds_deg
        lon = lon - 360.0 * np.round((lon.mean() - (west + east) / 2) / 360.0)
        column = (np.radians(lon) * WEB_MERCATOR_RADIUS_M - self.west_mercator_m) / self.pixel_mercator_m
        return (self.north_mercator_m - _northing_m(lat_deg)) / self.pixel_mercator_m, column

    def contains(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> NDArray[np.bool_]:
        """Whether points lie on the grid; shapes and refusals as `pixels_of`."""
        row, column = self.pixels_of(lat_deg, lon_deg)
        return np.asarray((row >= 0) & (row < self.rows_n) & (column >= 0) & (column < self.columns_n))


def grid_for(
    bounds_deg: tuple[float, float, float, float], *, pixel_m: float, most_pixels_n: int = MOST_PIXELS_N
) -> Grid:
    """The grid that covers an area with pixels of a size on the ground.

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north, east. [degrees]  East may exceed 180 for an area across the date line.
    pixel_m : float
        Side of a pixel on the ground, east-west at the centre of the area. [m]
    most_pixels_n : int, default 4,000,000
        More than this is refused before any memory is taken.

    Returns
    -------
    grid : Grid
        Its north-west corner is that of the area; south and east it reaches up to a pixel further.

    Raises
    ------
    PlanError
        If the bounds are not an area that Web Mercator can show, the pixel is smaller than half a metre, or there
        would be more pixels than allowed: then it says which size would be accepted.

    Examples
    --------
    >>> grid = grid_for((36.16, -84.414, 36.446, -84.078), pixel_m=100)
    >>> grid.shape
    (319, 302)
    """
    south, west, north, east = _checked(bounds_deg)
    if not LEAST_PIXEL_M <= pixel_m < np.inf:
        raise PlanError(
            [
                Problem(
                    "pixel_m",
                    f"a pixel of {pixel_m!r} m makes no map",
                    f"from {LEAST_PIXEL_M} m upwards",
                    code="out-of-range",
                    fields=("pixel_m",),
                )
            ]
        )
    scale = _east_west_scale((south + north) / 2)
    north_m, south_m = (float(y) for y in _northing_m(np.array([north, south])))
    west_m, east_m = (float(x) for x in np.radians([west, east]) * WEB_MERCATOR_RADIUS_M)

    def grid_of(side_m: float) -> Grid:
        side_mercator_m = side_m * scale
        rows, columns = (
            # a hair less, so that an area of whole pixels does not gain one by rounding
            max(1, int(np.ceil(length_m / side_mercator_m - 1e-9)))
            for length_m in (north_m - south_m, east_m - west_m)
        )
        return Grid(west_m, north_m, side_mercator_m, rows, columns)

    grid = grid_of(pixel_m)
    if grid.pixels_n > most_pixels_n:
        side_m = _coarser(pixel_m * (grid.pixels_n / most_pixels_n) ** 0.5)
        while grid_of(side_m).pixels_n > most_pixels_n:
            side_m = _coarser(side_m * 1.01)
        raise PlanError(
            [
                Problem(
                    "pixel_m",
                    f"{pixel_m:g} m makes {grouped(grid.pixels_n)} pixels here, more than {grouped(most_pixels_n)}",
                    f"{side_m:g} m or more ({grouped(grid_of(side_m).pixels_n)} pixels), or a smaller area",
                    code="too-many-pixels",
                    fields=("pixel_m",),
                    values={"pixels": grid.pixels_n, "most_pixels": most_pixels_n},
                )
            ]
        )
    return grid


def _checked(bounds_deg: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """The bounds, or every reason why they are no area."""
    south, west, north, east = (float(edge) for edge in bounds_deg)
    problems = []
    limit = WEB_MERCATOR_LIMIT_DEG
    if not -limit <= south < north <= limit:
        what = f"south {south:g} and north {north:g} degrees bound no area of a web map"
        problems.append(
            Problem(
                "bounds",
                what,
                f"south below north, both from {-limit} to {limit}",
                code="bounds-impossible",
                fields=("bounds",),
            )
        )
    if not (-180 <= west < east <= 360 and east - west <= 360):
        what = f"west {west:g} and east {east:g} degrees bound no area of a web map"
        expected = "west below east, from -180 to 180; east of the date line go on counting (181 is 179 west)"
        problems.append(Problem("bounds", what, expected, code="bounds-too-narrow", fields=("bounds",)))
    if problems:
        raise PlanError(problems)
    return south, west, north, east


def _coarser(side_m: float) -> float:
    """The next size up with two leading digits, so that what is proposed can be typed."""
    unit = 10.0 ** (np.floor(np.log10(side_m)) - 1)
    return float(np.round(np.ceil(side_m / unit - 1e-9) * unit, 9))


def _latitude(y_mercator_m: ArrayLike) -> Floats:
    """Latitude of projected northings. [degrees]"""
    return np.asarray(np.degrees(np.arctan(np.sinh(np.asarray(y_mercator_m) / WEB_MERCATOR_RADIUS_M))))


def _northing_m(lat_deg: ArrayLike) -> Floats:
    """Projected northing of latitudes. [m, projected]"""
    return np.asarray(WEB_MERCATOR_RADIUS_M * np.arctanh(np.sin(np.radians(lat_deg))))


def _east_west_scale(lat_deg: float) -> float:
    """Projected metres for one metre on the ground, east-west: ``R / (N(phi) cos(phi))``."""
    phi = np.radians(lat_deg)
    prime_vertical_m = WGS84_A_M / np.sqrt(1 - WGS84_E2_RATIO * np.sin(phi) ** 2)
    return float(WEB_MERCATOR_RADIUS_M / (prime_vertical_m * np.cos(phi)))
