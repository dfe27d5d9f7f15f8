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
def assign(distance: Floats, azimuth: Floats, radials: int, half: float, step: float, radial: Any, inner: Any) -> None:
    """Nearest radial (half: 0.5) or the one before (0), and last point of it half a step or more before the receiver.

    -1: no distance.
    """
    per_turn = radials / (2.0 * math.pi)
    for j in range(len(distance)):
        D = distance[j]
        if D != D:
            radial[j], inner[j] = -1, 0
            continue
        radial[j] = int(azimuth[j] * per_turn + half) % radials
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


@njit(cache=True, nogil=True, error_model="numpy")
def merged(starts: Ints, order: Any, distance: Floats, step: float, one: int, other: int, mine: Ints) -> int:
    """Receivers of two radials (-1: of none) in the order of the last point that they use; how many they are."""
    a, a_end, b, b_end = 0, 0, 0, 0
    if one >= 0:
        a, a_end = starts[one], starts[one + 1]
    if other >= 0:
        b, b_end = starts[other], starts[other + 1]
    count = 0
    while a < a_end or b < b_end:
        if b == b_end or (a < a_end and last_point(distance[order[a]], step) <= last_point(distance[order[b]], step)):
            mine[count] = order[a]
            a += 1
        else:
            mine[count] = -1 - order[b]
            b += 1
        count += 1
    return count


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


@njit(cache=True, nogil=True, error_model="numpy", inline="always", fastmath={"contract"})
def at_power(c: Floats, r: int, which: int, x: float) -> float:
    """The polynomial of one radial at x."""
    value = 0.0
    for power in range(c.shape[2] - 1, -1, -1):
        value = value * x + c[r, which, power]
    return value


@places
def sample_radials(
    c: Floats, lengths: Ints, step_ratio: float, piece: int, heights: Any, height_at: Floats, covers: Any,
    cover_at: Floats, zones: Any, zone_at: Floats, h: Floats, cover: Floats, zone: Any, room: Floats,
) -> None:  # fmt: skip
    """Terrain along radials: c (radials, 2, degree + 1) from `SiteMap.along`.

    `step_ratio` is the step over the map's radius; `room` has shape (2, points). Within a `piece` of so many points,
    2 km at most, parabolas stand for the polynomials: their cubes are worth less than a micrometre.
    """
    rows, columns = heights.shape
    points = 0
    for k in range(len(lengths)):
        points = max(points, lengths[k])
    # Piece by piece of all radials, which lie side by side: what was read for one is at hand for the next.
    for first in range(0, points, piece):
        for k in range(len(lengths)):
            last = min(first + piece, lengths[k])
            if first >= last:
                continue
            north, east = at_power(c, k, 0, first * step_ratio), at_power(c, k, 1, first * step_ratio)
            north_1 = at_power(c, k, 0, (first + 0.5 * piece) * step_ratio)
            north_2 = at_power(c, k, 0, (first + piece) * step_ratio)
            east_1 = at_power(c, k, 1, (first + 0.5 * piece) * step_ratio)
            east_2 = at_power(c, k, 1, (first + piece) * step_ratio)
            bend, bend_east = 2.0 * (north - 2.0 * north_1 + north_2), 2.0 * (east - 2.0 * east_1 + east_2)
            lean, lean_east = north_2 - north - bend, east_2 - east - bend_east
            for i in range(first, last):
                u = (i - first) / piece
                room[0, i] = north + u * (lean + u * bend)
                room[1, i] = east + u * (lean_east + u * bend_east)
            row, row_2 = height_at[0] + north * height_at[2], height_at[0] + north_2 * height_at[2]
            column, column_2 = height_at[1] + east * height_at[3], height_at[1] + east_2 * height_at[3]
            # A parabola between its ends leaves their rectangle by an eighth of its bend at most.
            over = 1.0 + abs(bend * height_at[2]) + abs(bend_east * height_at[3])
            if (
                min(row, row_2) > over and max(row, row_2) < rows - 1 - over
                and min(column, column_2) > over and max(column, column_2) < columns - 1 - over
            ):  # fmt: skip
                for i in range(first, last):
                    y = height_at[0] + room[0, i] * height_at[2]
                    x = height_at[1] + room[1, i] * height_at[3]
                    up, left = np.uint32(y), np.uint32(x)
                    a, b = y - up, x - left
                    top = heights[up, left] + b * (heights[up, left + 1] - heights[up, left])
                    low = heights[up + 1, left] + b * (heights[up + 1, left + 1] - heights[up + 1, left])
                    h[k, i] = top + a * (low - top)
            else:
                for i in range(first, last):
                    h[k, i] = bilinear(
                        heights, height_at[0] + room[0, i] * height_at[2], height_at[1] + room[1, i] * height_at[3]
                    )
            if covers.size > 0:
                for i in range(first, last):
                    cover[k, i] = nearest(
                        covers, cover_at[0] + room[0, i] * cover_at[2], cover_at[1] + room[1, i] * cover_at[3], 0.0
                    )
            if zones.size > 0:
                for i in range(first, last):
                    zone[k, i] = int(
                        nearest(zones, zone_at[0] + room[0, i] * zone_at[2], zone_at[1] + room[1, i] * zone_at[3], 0.0)
                    )
