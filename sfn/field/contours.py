"""Lines and areas of equal field strength, and whether one area stays inside another.

Rings are arrays of (longitude, latitude), closed, in the order that GeoJSON and KML write them: outer rings
anticlockwise, holes clockwise.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.geodesy.grid import WEB_MERCATOR_RADIUS_M, Grid

Ring = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Area:
    """One connected area.

    Parameters
    ----------
    outer : ndarray, shape (points, 2)
        Longitude and latitude of its boundary, closed. [degrees]
    holes : tuple of ndarray
        Boundaries of what is left out of it.
    """

    outer: Ring
    holes: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class Overreach:
    """How far one area reaches out of another.

    Parameters
    ----------
    inside : bool
        Nothing of the inner area lies outside the outer one.
    outside_km2 : float
        Area that does. [km2]
    outside_pct : float
        Part of the inner area that does. [%]
    farthest_m : float
        Greatest distance of such a place from the outer area. [m]
    lat_deg, lon_deg : float or None
        That place. [degrees]
    edge_cut : bool
        The inner area reaches the edge of the grid: beyond it nothing was looked at.
    """

    inside: bool
    outside_km2: float
    outside_pct: float
    farthest_m: float
    lat_deg: float | None
    lon_deg: float | None
    edge_cut: bool


def contours(level_dbuvm: ArrayLike, grid: Grid, *, at_dbuvm: float) -> tuple[Area, ...]:
    """Areas in which a raster is at or above a field strength.

    Parameters
    ----------
    level_dbuvm : array_like, shape (rows, columns)
        Field strength at the pixel centres. [dB(uV/m)] NaN counts as below.
    grid : Grid
    at_dbuvm : float
        The contour's field strength. [dB(uV/m)]

    Returns
    -------
    areas : tuple of Area
        Largest first; along the boundary the level is linear between pixel centres. An area that goes on beyond
        the grid ends at its edge.

    Raises
    ------
    ValueError
        If the raster has not the grid's shape, or `at_dbuvm` is not a number.
    """
    from contourpy import FillType, contour_generator

    level = np.asarray(level_dbuvm, dtype=np.float64)
    if level.shape != grid.shape:
        raise ValueError(f"level_dbuvm must have the grid's shape {grid.shape}, got {level.shape}")
    if not np.isfinite(at_dbuvm):
        raise ValueError(f"at_dbuvm must be a number of dB(uV/m), got {at_dbuvm!r}")
    # Not covered is far below any level, but not so far that the boundary runs along the covered pixels' centres
    # by round-off.
    filled = np.where(np.isfinite(level), level, at_dbuvm - 60.0)
    # The outermost pixels' level goes on to the grid's edge.
    columns, rows = (np.concatenate([[-0.5], np.arange(n), [n - 0.5]]) for n in (grid.columns_n, grid.rows_n))
    padded = np.pad(filled, 1, mode="edge")
    maker = contour_generator(x=columns, y=rows, z=padded, fill_type=FillType.OuterOffset, corner_mask=False)
    points: Any  # one array of points and one of ring starts for each area
    offsets: Any
    points, offsets, *_ = maker.filled(at_dbuvm, np.inf)
    areas = []
    for at, cuts in zip(points, offsets, strict=True):
        rings = [_lon_lat(at[a:b], grid) for a, b in pairwise(cuts)]
        areas.append(Area(_turned(rings[0], left=True), tuple(_turned(r, left=False) for r in rings[1:])))
    return tuple(sorted(areas, key=lambda a: -abs(_signed_area(a.outer))))


def regions(mask: ArrayLike, grid: Grid, *, least_pixels_n: int = 0) -> tuple[Area, ...]:
    """Areas in which a mask is True, largest first; the boundary runs half-way between pixel centres.

    Parameters
    ----------
    mask : array_like of bool, shape (rows, columns)
    grid : Grid
    least_pixels_n : int
        Pieces and holes smaller than this many pixels are left out; a single one has half a pixel of area.

    Raises
    ------
    ValueError
        If the mask has not the grid's shape.
    """
    south, west, north, east = grid.bounds_deg
    least_deg2 = least_pixels_n * (north - south) * (east - west) / grid.pixels_n
    found = contours(np.asarray(mask, dtype=bool).astype(np.float64), grid, at_dbuvm=0.5)
    kept = (area for area in found if abs(_signed_area(area.outer)) / 2 >= least_deg2)
    return tuple(
        Area(area.outer, tuple(h for h in area.holes if abs(_signed_area(h)) / 2 >= least_deg2)) for area in kept
    )


@dataclass(frozen=True, slots=True)
class Isoline:
    """A line along which a raster has one value.

    Parameters
    ----------
    at_pixels : ndarray, shape (points, 2)
        Column and row, whole numbers at pixel centres.
    lon_lat : ndarray, shape (points, 2)
        The same as longitude and latitude. [degrees]
    """

    at_pixels: Ring
    lon_lat: Ring


def isolines(values: ArrayLike, grid: Grid, *, at: float) -> tuple[Isoline, ...]:
    """Lines along which a raster has a value; linear between pixel centres, ending where it is NaN and at the edge.

    Parameters
    ----------
    values : array_like, shape (rows, columns)
    grid : Grid
    at : float
        In the raster's own unit.
    """
    from contourpy import contour_generator

    if min(grid.shape) < 2:
        return ()
    lines: Any = contour_generator(z=np.ma.masked_invalid(values)).lines(at)
    made = (np.asarray(line, dtype=np.float64) for line in lines)
    return tuple(Isoline(line, _lon_lat(line, grid)) for line in made)


def inside(areas: Sequence[Area], grid: Grid) -> NDArray[np.bool_]:
    """Which pixel centres lie in areas, shape (rows, columns)."""
    from rasterio.features import geometry_mask

    if not areas:
        return np.zeros(grid.shape, dtype=bool)
    shapes = [
        {"type": "Polygon", "coordinates": [_mercator(ring, grid) for ring in (area.outer, *area.holes)]}
        for area in areas
    ]
    from rasterio import Affine

    return np.asarray(geometry_mask(shapes, out_shape=grid.shape, transform=Affine(*grid.transform), invert=True))


def overreach(inner: ArrayLike, outer: ArrayLike, grid: Grid) -> Overreach:
    """Whether an area, a fill-in's, stays inside another, the main's.

    Parameters
    ----------
    inner, outer : array_like of bool, shape (rows, columns)
        True in the area: a raster at or above its contour's level, or `inside` of an imported contour.
    grid : Grid

    Returns
    -------
    Overreach
        Areas and distances are good to a pixel.

    Raises
    ------
    ValueError
        If a mask has not the grid's shape, or `outer` is empty.
    """
    from scipy.ndimage import distance_transform_edt

    fill, main = np.asarray(inner, dtype=bool), np.asarray(outer, dtype=bool)
    for name, mask in (("inner", fill), ("outer", main)):
        if mask.shape != grid.shape:
            raise ValueError(f"{name} must have the grid's shape {grid.shape}, got {mask.shape}")
    if not main.any():
        raise ValueError("outer must contain at least one pixel of the grid: is the grid in the right place?")
    out = fill & ~main
    edge_cut = bool(fill[0].any() or fill[-1].any() or fill[:, 0].any() or fill[:, -1].any())
    if not out.any():
        return Overreach(True, 0.0, 0.0, 0.0, None, None, edge_cut)
    area_km2 = grid.pixel_area_km2[:, None] * np.ones(grid.shape)
    away = np.where(out, distance_transform_edt(~main), 0.0)
    row, column = (int(v) for v in np.unravel_index(int(np.argmax(away)), away.shape))
    pixel_m = float(np.sqrt(grid.pixel_area_km2[row]) * 1000.0)
    return Overreach(
        inside=False,
        outside_km2=float(area_km2[out].sum()),
        outside_pct=float(100.0 * area_km2[out].sum() / area_km2[fill].sum()),
        farthest_m=float(away[row, column]) * pixel_m,
        lat_deg=float(grid.lat_deg[row]),
        lon_deg=float(grid.lon_deg[column]),
        edge_cut=edge_cut,
    )


def area_geometry(area: Area) -> dict[str, object]:
    """The area as a GeoJSON Polygon geometry (RFC 7946), coordinates to 1e-6 degrees."""
    return {"type": "Polygon", "coordinates": [np.round(ring, 6).tolist() for ring in (area.outer, *area.holes)]}


def _lon_lat(at: NDArray[np.float64], grid: Grid) -> Ring:
    """Column and row of pixel centres to longitude and latitude."""
    x_m = grid.west_mercator_m + (at[:, 0] + 0.5) * grid.pixel_mercator_m
    y_m = grid.north_mercator_m - (at[:, 1] + 0.5) * grid.pixel_mercator_m
    lat = np.degrees(np.arctan(np.sinh(y_m / WEB_MERCATOR_RADIUS_M)))
    return np.column_stack([np.degrees(x_m / WEB_MERCATOR_RADIUS_M), lat])


def _mercator(ring: Ring, grid: Grid) -> list[Any]:
    """Longitude and latitude to projected metres, on the grid's side of the date line."""
    middle_deg = np.degrees((grid.west_mercator_m + grid.columns_n * grid.pixel_mercator_m / 2) / WEB_MERCATOR_RADIUS_M)
    lon = ring[:, 0] + 360.0 * np.round((middle_deg - ring[:, 0].mean()) / 360.0)
    y_m = WEB_MERCATOR_RADIUS_M * np.arcsinh(np.tan(np.radians(ring[:, 1])))
    return list(np.column_stack([np.radians(lon) * WEB_MERCATOR_RADIUS_M, y_m]).tolist())


def _signed_area(ring: Ring) -> float:
    """Twice the area in square degrees, positive when the ring runs anticlockwise."""
    x, y = ring[:, 0], ring[:, 1]
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def _turned(ring: Ring, *, left: bool) -> Ring:
    """The ring, run anticlockwise (`left`) or clockwise."""
    return ring if (_signed_area(ring) > 0) == left else ring[::-1]
