"""Places of a sweep: receivers sorted onto radials, and terrain sampled along them. numba.

Polynomials about the site (`sfn.geodesy.around`) turn places into distance and bearing, and points of a radial into
places; rasters are regular in latitude and longitude.
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True, nogil=True, error_model="numpy")
def polynomial(c: Any, u: float, v: float, degree: int) -> float:
    """Value of a polynomial in u and v by Horner's scheme; order of terms as in `SiteMap`."""
    total = 0.0
    last = len(c)
    for i in range(degree, -1, -1):
        row = 0.0
        for at in range(last - 1, last - (degree + 1 - i) - 1, -1):
            row = row * v + c[at]
        last -= degree + 1 - i
        total = total * u + row
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def locate(
    lat: Floats, lon: Floats, site: Floats, plane: Floats, degree: int, distance: Floats, azimuth: Floats
) -> None:
    """Distance [km] and azimuth [rad, 0 to 2 pi] of places; site = latitude, longitude, their scales. NaN stays."""
    for j in range(len(lat)):
        u = (lat[j] - site[0]) / site[2]
        v = ((lon[j] - site[1] + 180.0) % 360.0 - 180.0) / site[3]
        x, y = polynomial(plane[0], u, v, degree), polynomial(plane[1], u, v, degree)
        distance[j] = 1e-3 * math.sqrt(x * x + y * y)
        turn = math.atan2(x, y)
        azimuth[j] = turn if turn >= 0.0 else turn + 2.0 * math.pi


@njit(cache=True, nogil=True, error_model="numpy")
def assign(distance: Floats, azimuth: Floats, radials: int, step: float, radial: Any, inner: Any) -> None:
    """Nearest radial, and last point of it half a step or more before the receiver; -1: no distance."""
    per_turn = radials / (2.0 * math.pi)
    for j in range(len(distance)):
        D = distance[j]
        if D != D:
            radial[j], inner[j] = -1, 0
            continue
        radial[j] = int(azimuth[j] * per_turn + 0.5) % radials
        inner[j] = max(int((D - 0.5 * step) / step), 0)


@njit(cache=True, nogil=True, error_model="numpy")
def sort(radial: Any, inner: Any, radials: int, points: int) -> tuple[Ints, Any]:
    """Receivers by radial and, on each, by distance: two counting sorts. Starts of the radials, and the order."""
    count = len(radial)
    bins = np.zeros(points + 1, np.int64)
    for j in range(count):
        if radial[j] >= 0:
            bins[inner[j] + 1] += 1
    for i in range(points):
        bins[i + 1] += bins[i]
    by_distance = np.empty(bins[points], np.int32)
    for j in range(count):
        if radial[j] >= 0:
            by_distance[bins[inner[j]]] = j
            bins[inner[j]] += 1
    starts = np.zeros(radials + 1, np.int64)
    for place in range(len(by_distance)):
        starts[radial[by_distance[place]] + 1] += 1
    for r in range(radials):
        starts[r + 1] += starts[r]
    fill = starts[:-1].copy()
    order = np.empty(len(by_distance), np.int32)
    for place in range(len(by_distance)):
        j = by_distance[place]
        order[fill[radial[j]]] = j
        fill[radial[j]] += 1
    return starts, order


@njit(cache=True, nogil=True, error_model="numpy")
def bilinear(values: NDArray[np.float32], row: float, column: float) -> float:
    """Height between four nodes; NaN outside the raster or beside a void."""
    rows, columns = values.shape
    if not (0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0):
        return np.nan
    i, j = min(int(row), rows - 2), min(int(column), columns - 2)
    a, b = row - i, column - j
    top = values[i, j] + b * (values[i, j + 1] - values[i, j])
    low = values[i + 1, j] + b * (values[i + 1, j + 1] - values[i + 1, j])
    return float(top + a * (low - top))


@njit(cache=True, nogil=True, error_model="numpy")
def nearest(values: Any, row: float, column: float, outside: float) -> float:
    """Value of the nearest node; `outside` beyond the raster or where it has none."""
    rows, columns = values.shape
    if not (-0.5 <= row < rows - 0.5 and -0.5 <= column < columns - 0.5):
        return outside
    value = values[int(row + 0.5), int(column + 0.5)]
    return float(value) if value == value else outside


@njit(cache=True, nogil=True, error_model="numpy")
def along(c: Any, t: float) -> float:
    """Value of a polynomial in t, lowest power first."""
    total = 0.0
    for power in range(len(c) - 1, -1, -1):
        total = total * t + c[power]
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def row_column(lat: float, lon: float, at: Floats) -> tuple[float, float]:
    """Row and column, with fractions, of a place in a raster; at = origin and steps, latitude and longitude."""
    half = 0.5 * at[3]
    return (lat - at[0]) / at[2], (((lon - at[1] + half) % 360.0) - half) / at[3]


@njit(cache=True, nogil=True, error_model="numpy")
def sample(
    lat: float, lon: float, heights: Any, height_at: Floats, covers: Any, cover_at: Floats, zones: Any, zone_at: Floats
) -> tuple[float, float, int]:
    """Ground, cover and zone index of a place: bilinear, nearest, nearest. Nothing known: no cover, inland."""
    row, column = row_column(lat, lon, height_at)
    ground = bilinear(heights, row, column)
    cover, zone = 0.0, 0
    if covers.size > 1:
        row, column = row_column(lat, lon, cover_at)
        cover = nearest(covers, row, column, 0.0)
    if zones.size > 1:
        row, column = row_column(lat, lon, zone_at)
        zone = int(nearest(zones, row, column, 0.0))
    return ground, cover, zone


@njit(cache=True, nogil=True, error_model="numpy")
def sample_places(
    lat: Floats, lon: Floats, heights: Any, height_at: Floats, zones: Any, zone_at: Floats, ground: Floats, zone: Any
) -> None:
    """Ground (where NaN so far) and zone of places."""
    for j in range(len(lat)):
        height, _, zone[j] = sample(lat[j], lon[j], heights, height_at, zones[:0], zone_at, zones, zone_at)
        if ground[j] != ground[j]:
            ground[j] = height


@njit(cache=True, nogil=True, error_model="numpy")
def sample_radials(
    c: Floats, lengths: Ints, site: Floats, step_ratio: float, heights: Any, height_at: Floats, covers: Any,
    cover_at: Floats, zones: Any, zone_at: Floats, h: Floats, cover: Floats, zone: Any,
) -> None:  # fmt: skip
    """Terrain along radials: c (k, 2, degree + 1) from `SiteMap.along`, steps over the map's radius."""
    for k in range(len(lengths)):
        for i in range(lengths[k]):
            t = i * step_ratio
            lat, lon = site[0] + along(c[k, 0], t), site[1] + along(c[k, 1], t)
            h[k, i], cover[k, i], zone[k, i] = sample(lat, lon, heights, height_at, covers, cover_at, zones, zone_at)
