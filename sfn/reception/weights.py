"""What a network's weights do to the pixels of a grid: factors, and listeners on roads.

| symbol | name | unit |
|---|---|---|
| M | pixels of the grid | |
| K | corners of an area, points of a road | |
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.grid import Grid
from sfn.geodesy.line import inverse
from sfn.plan import Network, Place, Weight
from sfn.reception.listeners import radius_m

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST_REACH_RATIO = 0.5  # of a pixel: a narrow road still counts in the pixels that it crosses
ROAD_POINTS_PER_PIXEL = 4


@dataclass(frozen=True, slots=True)
class Weighed:
    """Weights on the M pixels of a grid.

    Parameters
    ----------
    factor, added_people : ndarray, shape (M,)
        What multiplies people or area, and listeners on roads that are added to people before.
    said : tuple of str
        A sentence for each weight, in the document's order.
    """

    factor: Floats
    added_people: Floats
    said: tuple[str, ...]


def weighed(network: Network, grid: Grid, *, places: Sequence[Place] = ()) -> Weighed | None:
    """The weights of a network on a grid; None where it has none.

    Parameters
    ----------
    network : Network
    grid : Grid
    places : sequence of Place
        Those that people are spread from, `sfn.reception.listeners.Listeners.places`.

    Raises
    ------
    PlanError
        If a weight names a place that is not among them.
    """
    if not network.weights:
        return None
    factor, added, said = np.ones(grid.pixels_n), np.zeros(grid.pixels_n), []
    area_km2 = np.repeat(grid.pixel_area_km2, grid.columns_n)
    problems = []
    for i, weight in enumerate(network.weights):
        named = [place for place in places if place.name == weight.place]
        if weight.place is not None and not named:
            what = f"weight {weight.name}: {weight.place!r} is no place of the listeners"
            problems.append(
                Problem(
                    f"weights[{i}].place",
                    what,
                    "the name of one of them, or an area instead",
                    code="unknown-place",
                    values={"weight": weight.name, "place": weight.place},
                )
            )
            continue
        held = mask(weight, grid, named).ravel()
        factor[held] *= weight.factor
        if weight.road is not None and weight.people_per_km:
            added += _on_road(weight.road, weight.people_per_km, grid)
        said.append(sentence(weight, float(area_km2[held].sum()), len(named)))
    if problems:
        raise PlanError(problems)
    return Weighed(factor, added, tuple(said))


def mask(weight: Weight, grid: Grid, named: Sequence[Place] = ()) -> Mask:
    """The pixels that a weight is about, shape (rows, columns); `named` are the places of its name."""
    if weight.area is not None:
        return inside(weight.area, grid)
    if weight.road is not None:
        return along(weight.road, float(weight.within_m or 0.0), grid)
    held = np.zeros(grid.shape, bool)
    for place in named:
        held.ravel()[disc(place, grid, within_m=weight.within_m)] = True
    return held


def inside(corners: Sequence[tuple[float, float]], grid: Grid) -> Mask:
    """Pixels whose centre lies inside an area, shape (rows, columns); sides are straight on the map.

    Parameters
    ----------
    corners : sequence of (latitude, longitude)
        K of them. [degrees]  Where sides cross, what is enclosed twice lies outside.
    grid : Grid

    Returns
    -------
    inside : ndarray of bool
        An area so small that it holds no centre: the pixel of its middle, if that is on the grid.
    """
    row, column = _on_grid(corners, grid)
    crossed = np.zeros((grid.rows_n, grid.columns_n + 1), dtype=np.int64)
    for k in range(row.size):
        (r0, c0), (r1, c1) = sorted([(row[k - 1], column[k - 1]), (row[k], column[k])])
        rows = np.arange(max(0, int(np.ceil(r0 - 0.5))), min(grid.rows_n, int(np.ceil(r1 - 0.5))))
        at = c0 + (rows + 0.5 - r0) * (c1 - c0) / max(r1 - r0, 1e-12)
        np.add.at(crossed, (rows, np.clip(np.ceil(at - 0.5), 0, grid.columns_n).astype(np.int64)), 1)
    held = np.asarray(np.cumsum(crossed, axis=1)[:, :-1] % 2 == 1)
    if not held.any():
        middle_row, middle_column = int(np.floor(row.mean())), int(np.floor(column.mean()))
        if 0 <= middle_row < grid.rows_n and 0 <= middle_column < grid.columns_n:
            held[middle_row, middle_column] = True
    return held


def along(points: Sequence[tuple[float, float]], within_m: float, grid: Grid) -> Mask:
    """Pixels within a distance of a line, shape (rows, columns).

    Parameters
    ----------
    points : sequence of (latitude, longitude)
        K of them, two or more. [degrees]
    within_m : float
        [m]  At least half a pixel.
    grid : Grid
    """
    row, column = _on_grid(points, grid)
    held = np.zeros(grid.shape, bool)
    lat = np.array([point[0] for point in points])
    for k in range(row.size - 1):
        reach = _reach(within_m, (lat[k] + lat[k + 1]) / 2, grid)
        ends = (row[k], row[k + 1]), (column[k], column[k + 1])
        rows, columns = (_span(min(e), max(e), reach, n) for e, n in zip(ends, grid.shape, strict=True))
        down, right = row[k + 1] - row[k], column[k + 1] - column[k]
        y, x = np.arange(rows.start, rows.stop) + 0.5 - row[k], np.arange(columns.start, columns.stop) + 0.5 - column[k]
        part = (y[:, None] * down + x[None, :] * right) / max(down**2 + right**2, 1e-12)
        part = np.clip(part, 0.0, 1.0)
        away = np.hypot(y[:, None] - part * down, x[None, :] - part * right)
        held[rows, columns] |= away <= reach
    return held


def disc(place: Place, grid: Grid, *, within_m: float | None = None) -> NDArray[np.int64]:
    """Pixels that a place is spread over, or those within a distance of its middle, as places in the M pixels."""
    reach_m = within_m or float(radius_m(np.array([place.people]))[0])
    (row,), (column,) = grid.line_of([place.lat], [place.lon])
    reach = _reach(reach_m, place.lat, grid)
    rows, columns = (_span(at, at, reach, n) for at, n in zip((row, column), grid.shape, strict=True))
    y, x = np.arange(rows.start, rows.stop), np.arange(columns.start, columns.stop)
    near = np.hypot(y[:, None] + 0.5 - row, x[None, :] + 0.5 - column) <= reach
    return np.asarray((y[:, None] * grid.columns_n + x[None, :])[near])


def length_km(points: Sequence[tuple[float, float]]) -> float:
    """Length of a line on the ground. [km]"""
    lat, lon = np.array(points).T
    return float(inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])[0].sum() / 1000)


def sentence(weight: Weight, area_km2: float, places_n: int = 1) -> str:
    """A weight in words; `area_km2` of it lies on the map."""
    if weight.area is not None:
        about = f"an area with {len(weight.area)} corners"
    elif weight.road is not None:
        about = f"{length_km(weight.road):.1f} km of road and {weight.within_m or 0:g} m to either side"
    else:
        about = f"{weight.place}" + (f" ({places_n} places of that name)" if places_n > 1 else "")
        about += f", {weight.within_m:g} m around its middle" if weight.within_m else ""
    counts = "".join(_counts(weight))
    return f"{weight.name}: {about}, {area_km2:.1f} km² on the map, {counts}"


def _counts(weight: Weight) -> Iterator[str]:
    """How much it counts."""
    if weight.factor == 0:
        yield "does not count"
    elif weight.factor == 1:
        yield "counts as it is"
    else:
        yield f"counts {weight.factor:g} times"
    if weight.people_per_km:
        yield f", with {weight.people_per_km:g} listeners on each km of it"


def _on_grid(points: Sequence[tuple[float, float]], grid: Grid) -> tuple[Floats, Floats]:
    """Points as rows and columns."""
    lat, lon = np.array(points, dtype=np.float64).T
    return grid.line_of(lat, lon)


def _reach(within_m: float, lat_deg: float, grid: Grid) -> float:
    """A distance on the ground in pixels; Web Mercator shows it longer by about 1 over the cosine of the latitude."""
    middle = float(grid.lat_deg.mean())
    pixel_m = grid.pixel_m * np.cos(np.radians(lat_deg)) / np.cos(np.radians(middle))
    return float(max(within_m / pixel_m, LEAST_REACH_RATIO))


def _span(low: float, high: float, reach: float, count: int) -> slice:
    """Pixels that may lie within reach."""
    first, last = int(np.floor(low - reach)), int(np.ceil(high + reach))
    return slice(min(max(0, first), count), max(0, min(count, last)))


def _on_road(points: Sequence[tuple[float, float]], people_per_km: float, grid: Grid) -> Floats:
    """Listeners of a road in each pixel, shape (M,), as much of it as lies on the grid."""
    row, column = _on_grid(points, grid)
    lat, lon = np.array(points, dtype=np.float64).T
    total = np.zeros(grid.pixels_n)
    apart_m = inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])[0]
    for k in range(row.size - 1):
        pieces = max(1, int(np.ceil(ROAD_POINTS_PER_PIXEL * np.hypot(row[k + 1] - row[k], column[k + 1] - column[k]))))
        part = (np.arange(pieces) + 0.5) / pieces
        r = np.floor(row[k] + part * (row[k + 1] - row[k])).astype(np.int64)
        c = np.floor(column[k] + part * (column[k + 1] - column[k])).astype(np.int64)
        on = (r >= 0) & (r < grid.rows_n) & (c >= 0) & (c < grid.columns_n)
        each = people_per_km * float(apart_m[k]) / 1000 / pieces
        np.add.at(total, r[on] * grid.columns_n + c[on], each)
    return total
