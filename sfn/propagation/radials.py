"""Places of a sweep: receivers sorted onto radials, and terrain sampled along them. numba.

Polynomials about the site (`sfn.geodesy.around`) turn places into distance and bearing, and points of a radial into
places; rasters are regular in latitude and longitude.
"""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sfn.propagation.sweep_formulas import last_point

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# Products may be summed without rounding between: places and heights move by less than a nanometre.
places = njit(cache=True, nogil=True, error_model="numpy", _nrt=False, fastmath={"contract"})  # type: ignore[call-overload] # not in its stubs


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
def turn(difference: float) -> float:
    """A difference of longitudes between -180 and 180."""
    if difference > 180.0:
        return difference - 360.0
    return difference + 360.0 if difference < -180.0 else difference


@places
def locate(
    lat: Floats, lon: Floats, site: Floats, plane: Floats, degree: int, reach: float, distance: Floats, azimuth: Floats,
    powers: Floats,
) -> None:  # fmt: skip
    """Distance [km] and azimuth [rad, 0 to 2 pi] of places; NaN beyond `reach` and where the place is NaN.

    `site` holds latitude, longitude and their scales; order of terms as in `SiteMap`. Neighbours in a raster have one
    latitude: for it `powers`, room of shape (2, degree + 1), keeps the polynomials of longitude alone.
    """
    last_lat = np.nan
    for j in range(len(lat)):
        if lat[j] != last_lat:
            last_lat = lat[j]
            u, at = (last_lat - site[0]) / site[2], 0
            powers[:] = 0.0
            scale = 1.0
            for i in range(degree + 1):
                for k in range(degree + 1 - i):
                    powers[0, k] += scale * plane[0, at]
                    powers[1, k] += scale * plane[1, at]
                    at += 1
                scale *= u
        v = turn(lon[j] - site[1]) / site[3]
        x = y = 0.0
        for k in range(degree, -1, -1):
            x = x * v + powers[0, k]
            y = y * v + powers[1, k]
        D = 1e-3 * math.sqrt(x * x + y * y)
        distance[j] = azimuth[j] = np.nan
        if D <= reach:
            bearing = math.atan2(x, y)
            distance[j], azimuth[j] = D, bearing if bearing >= 0.0 else bearing + 2.0 * math.pi


@places
def assign(distance: Floats, azimuth: Floats, radials: int, step: float, radial: Any, inner: Any) -> None:
    """Nearest radial, and last point of it half a step or more before the receiver; -1: no distance."""
    per_turn = radials / (2.0 * math.pi)
    for j in range(len(distance)):
        D = distance[j]
        if D != D:
            radial[j], inner[j] = -1, 0
            continue
        radial[j] = int(azimuth[j] * per_turn + 0.5) % radials
        inner[j] = last_point(D, step)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always", fastmath={"contract"})
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always", fastmath={"contract"})
def nearest(values: Any, row: float, column: float, outside: float) -> float:
    """Value of the nearest node; `outside` beyond the raster or where it has none."""
    rows, columns = values.shape
    if not (-0.5 <= row < rows - 0.5 and -0.5 <= column < columns - 0.5):
        return outside
    value = values[int(row + 0.5), int(column + 0.5)]
    return float(value) if value == value else outside


@places
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


@places
def sample_nearest(lat: Floats, lon: Floats, site: Floats, values: Any, at: Floats, outside: float, out: Any) -> None:
    """Value of the nearest node at places."""
    for j in range(len(lat)):
        dlat, dlon = lat[j] - site[0], turn(lon[j] - site[1])
        out[j] = nearest(values, at[0] + dlat * at[2], at[1] + dlon * at[3], outside)


@places
def sample_radials(
    c: Floats, first: int, lengths: Ints, step_ratio: float, heights: Any, height_at: Floats, covers: Any,
    cover_at: Floats, zones: Any, zone_at: Floats, h: Floats, cover: Floats, zone: Any, room: Floats,
) -> None:  # fmt: skip
    """Terrain along radials `first` and following: c (radials, 2, degree + 1) from `SiteMap.along`.

    `step_ratio` is the step over the map's radius; `room` has shape (2, points).
    """
    degree = c.shape[2] - 1
    for k in range(len(lengths)):
        r, n = first + k, lengths[k]
        room[:, :n] = 0.0
        for power in range(degree, -1, -1):
            north, east = c[r, 0, power], c[r, 1, power]
            for i in range(n):
                room[0, i] = room[0, i] * (i * step_ratio) + north
                room[1, i] = room[1, i] * (i * step_ratio) + east
        for i in range(n):
            h[k, i] = bilinear(
                heights, height_at[0] + room[0, i] * height_at[2], height_at[1] + room[1, i] * height_at[3]
            )
        if covers.size > 0:
            for i in range(n):
                cover[k, i] = nearest(
                    covers, cover_at[0] + room[0, i] * cover_at[2], cover_at[1] + room[1, i] * cover_at[3], 0.0
                )
        if zones.size > 0:
            for i in range(n):
                zone[k, i] = int(
                    nearest(zones, zone_at[0] + room[0, i] * zone_at[2], zone_at[1] + room[1, i] * zone_at[3], 0.0)
                )
