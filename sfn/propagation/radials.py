"""Places of a sweep: receivers sorted onto radials, and terrain sampled along them. numba.

Polynomials about the site (`sfn.geodesy.around`) turn places into distance and bearing, and points of a radial into
places; rasters are regular in latitude and longitude.
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.sweep_formulas import entry

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def polynomial(c: Any, which: int, u: float, v: float, degree: int) -> float:
    """Value of polynomial `which` in u and v by Horner's scheme; order of terms as in `SiteMap`."""
    total = 0.0
    last = c.shape[1]
    for i in range(degree, -1, -1):
        row = 0.0
        for at in range(last - 1, last - (degree + 1 - i) - 1, -1):
            row = row * v + c[which, at]
        last -= degree + 1 - i
        total = total * u + row
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def turn(difference: float) -> float:
    """A difference of longitudes between -180 and 180."""
    if difference > 180.0:
        return difference - 360.0
    return difference + 360.0 if difference < -180.0 else difference


@entry
def locate(
    lat: Floats, lon: Floats, site: Floats, plane: Floats, degree: int, distance: Floats, azimuth: Floats
) -> None:
    """Distance [km] and azimuth [rad, 0 to 2 pi] of places; site = latitude, longitude, their scales. NaN stays."""
    for j in range(len(lat)):
        u = (lat[j] - site[0]) / site[2]
        v = turn(lon[j] - site[1]) / site[3]
        x, y = polynomial(plane, 0, u, v, degree), polynomial(plane, 1, u, v, degree)
        distance[j] = 1e-3 * math.sqrt(x * x + y * y)
        bearing = math.atan2(x, y)
        azimuth[j] = bearing if bearing >= 0.0 else bearing + 2.0 * math.pi


@entry
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def nearest(values: Any, row: float, column: float, outside: float) -> float:
    """Value of the nearest node; `outside` beyond the raster or where it has none."""
    rows, columns = values.shape
    if not (-0.5 <= row < rows - 0.5 and -0.5 <= column < columns - 0.5):
        return outside
    value = values[int(row + 0.5), int(column + 0.5)]
    return float(value) if value == value else outside


@entry
def sample_places(
    lat: Floats, lon: Floats, site: Floats, heights: Any, height_at: Floats, zones: Any, zone_at: Floats,
    ground: Floats, zone: Any,
) -> None:  # fmt: skip
    """Ground (where NaN so far) and zone of places."""
    for j in range(len(lat)):
        dlat, dlon = lat[j] - site[0], turn(lon[j] - site[1])
        if ground[j] != ground[j]:
            ground[j] = bilinear(heights, height_at[0] + dlat * height_at[2], height_at[1] + dlon * height_at[3])
        if zones.size > 0:
            zone[j] = int(nearest(zones, zone_at[0] + dlat * zone_at[2], zone_at[1] + dlon * zone_at[3], 0.0))


@entry
def sample_radials(
    c: Floats, first: int, lengths: Ints, step_ratio: float, heights: Any, height_at: Floats, covers: Any,
    cover_at: Floats, zones: Any, zone_at: Floats, h: Floats, cover: Floats, zone: Any,
) -> None:  # fmt: skip
    """Terrain along radials `first` and following: c (radials, 2, degree + 1) from `SiteMap.along`.

    `step_ratio` is the step over the map's radius.
    """
    degree = c.shape[2] - 1
    for k in range(len(lengths)):
        r = first + k
        for i in range(lengths[k]):
            t, dlat, dlon = i * step_ratio, 0.0, 0.0
            for power in range(degree, -1, -1):
                dlat = dlat * t + c[r, 0, power]
                dlon = dlon * t + c[r, 1, power]
            h[k, i] = bilinear(heights, height_at[0] + dlat * height_at[2], height_at[1] + dlon * height_at[3])
            cover[k, i], zone[k, i] = 0.0, 0
            if covers.size > 0:
                cover[k, i] = nearest(covers, cover_at[0] + dlat * cover_at[2], cover_at[1] + dlon * cover_at[3], 0.0)
            if zones.size > 0:
                zone[k, i] = int(nearest(zones, zone_at[0] + dlat * zone_at[2], zone_at[1] + dlon * zone_at[3], 0.0))
