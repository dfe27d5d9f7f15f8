"""A file of people looked at before a network counts by it: what was understood, line by line what was not, doubts."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.grid import Grid
from sfn.plan import Place
from sfn.reception.listeners import (
    Floats,
    Listeners,
    districts,
    from_raster,
    radius_m,
    spread,
    understood_places,
)
from sfn.terrain.heights import METRES_PER_DEGREE_M
from sfn.units import grouped

RASTERS = (".tif", ".tiff")
SHOWN_N = 12
COMPARED_N = 60
# Denser than any city as a whole: the figures are something else than people in each cell.
GREATEST_PEOPLE_PER_KM2 = 30_000.0
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Looked:
    """What a file of people holds.

    Parameters
    ----------
    name : str
        Of the file.
    kind : str
        What it was read as, in words.
    largest : tuple of Place
        The largest places, `SHOWN_N` at most; empty for a raster.
    count : int
        Places, or cells with people on the map.
    total_people : float or None
        In the whole file; None for a raster, of which only the map's part is read.
    bounds_deg : tuple of float or None
        South, west, north, east of what it covers. [degrees]
    map_people : float or None
        Counted on the map; None where there is no map.
    problems : tuple of Problem
        What keeps it from being used, each with its line.
    doubts : tuple of Problem
        What a second look should be given to.
    """

    name: str
    kind: str
    largest: tuple[Place, ...]
    count: int
    total_people: float | None
    bounds_deg: Bounds | None
    map_people: float | None
    problems: tuple[Problem, ...]
    doubts: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class PlaceBeside:
    """A place of a list, and what a raster has within the disc that the place is spread over."""

    name: str
    listed_people: float
    raster_people: float

    @property
    def more_people(self) -> float:
        """Of the raster."""
        return self.raster_people - self.listed_people


@dataclass(frozen=True, slots=True)
class Beside:
    """A file of people beside those that are counted now, on one map.

    Parameters
    ----------
    now_people, file_people : float
        Counted now, and by the file.
    places : tuple of PlaceBeside
        Where a list and a raster differ most, `SHOWN_N` at most; empty where both are of one kind.
    """

    now_people: float
    file_people: float
    places: tuple[PlaceBeside, ...]

    @property
    def more_people(self) -> float:
        """Of the file."""
        return self.file_people - self.now_people

    @property
    def more_pct(self) -> float | None:
        """The same, of those counted now; None where there are none. [%]"""
        return 100.0 * self.more_people / self.now_people if self.now_people else None


def beside(now: Listeners, path: Path, *, grid: Grid) -> Beside | None:
    """A file of people beside who is counted now; None where nobody is, or the file cannot be used.

    A place of the list is held against the raster's people within its disc (`sfn.reception.listeners`), at least a
    pixel wide; where discs meet, people are within both. Of places that lie on the map the `COMPARED_N` largest.

    Parameters
    ----------
    now : Listeners
    path : Path
        A GeoTIFF of people in each cell, by its ending, or else a table of places.
    grid : Grid
        The map.
    """
    if now.people is None:
        return None
    try:
        places = () if path.suffix.lower() in RASTERS else understood_places(path)[0]
        people = spread(places, grid) if places else from_raster(path, grid)
    except PlanError:
        return None
    rows: tuple[PlaceBeside, ...] = ()
    if bool(places) != bool(now.places):
        listed, raster = (places, now.people) if places else (now.places, people)
        rows = _places_beside(listed, raster, grid)
    return Beside(float(now.people.sum()), float(people.sum()), rows)


def _places_beside(places: tuple[Place, ...], raster: Floats, grid: Grid) -> tuple[PlaceBeside, ...]:
    """The largest places of a list on the map, by how far the raster's people differ."""
    south, west, north, east = grid.bounds_deg
    here = [p for p in places if south <= p.lat <= north and (p.lon - west) % 360.0 <= east - west]
    held, found = raster.reshape(grid.shape), []
    for place in sorted(here, key=lambda p: -p.people)[:COMPARED_N]:
        reach_deg = max(float(radius_m(np.asarray(place.people))), grid.pixel_m) / METRES_PER_DEGREE_M
        away_lon = (grid.lon_deg - place.lon + 180.0) % 360.0 - 180.0
        away = np.hypot(grid.lat_deg[:, None] - place.lat, away_lon * np.cos(np.radians(place.lat)))
        found.append(PlaceBeside(place.name, place.people, float(held[away <= reach_deg].sum())))
    return tuple(sorted(found, key=lambda one: -abs(one.more_people))[:SHOWN_N])


def look(path: Path, *, name: str, grid: Grid | None) -> Looked:
    """What a file of people holds, and how much of it lies on a map; it never raises for what is in the file.

    Parameters
    ----------
    path : Path
        A GeoTIFF of people in each cell, by its ending, or else a table of places.
    name : str
        What messages call it.
    grid : Grid, optional
        The network's map.
    """
    try:
        return _raster(path, name, grid) if path.suffix.lower() in RASTERS else _table(path, name, grid)
    except PlanError as refused:
        return Looked(name, "", (), 0, None, None, None, refused.problems, ())


def _table(path: Path, name: str, grid: Grid | None) -> Looked:
    """A table of places."""
    places, wrong = understood_places(path, source=name)
    problems = tuple(at_most(sorted(wrong, key=_line), source=name))
    largest = tuple(sorted(places, key=lambda p: -p.people)[:SHOWN_N])
    total_people = sum(p.people for p in places)
    lat, lon = [p.lat for p in places], [p.lon for p in places]
    bounds = (min(lat), min(lon), max(lat), max(lon)) if places else None
    map_people = None if grid is None else float(spread(places, grid).sum())
    doubts = tuple(_doubts(places, name, grid, map_people))
    return Looked(name, "a table of places", largest, len(places), total_people, bounds, map_people, problems, doubts)


def _doubts(places: tuple[Place, ...], name: str, grid: Grid | None, map_people: float | None) -> list[Problem]:
    """What is odd about places, though each of them can be used."""
    found = []
    if grid is not None and map_people == 0 and any(p.people for p in places):
        what = "none of its places lies on the network's map"
        turned = [Place(name=p.name, lat=p.lon, lon=p.lat, people=p.people) for p in places if abs(p.lon) <= 85]
        swapped = bool(turned) and spread(turned, grid).sum() > 0
        expected = "latitude and longitude the other way round: so they would" if swapped else "places near the sites"
        found.append(_doubt(name, what, expected, code="nobody-on-the-map"))
    seen = {(p.name, round(p.lat, 3), round(p.lon, 3)) for p in places}
    if len(seen) < len(places):
        what = f"holds {_counted(len(places) - len(seen))} twice, of one name at one spot"
        expected = "each place once: its people are counted as often as it is there"
        found.append(_doubt(name, what, expected, code="place-given-twice"))
    empty = sum(p.people == 0 for p in places)
    if empty:
        found.append(
            _doubt(
                name, f"says of {_counted(empty)} that nobody lives there", "a figure, or no line", code="place-empty"
            )
        )
    part = int(districts(places).sum())
    if part:
        what = f"holds {_counted(part)} well within a town at least five times as large"
        found.append(
            _doubt(
                name, what, "no districts beside their town: their people would be counted twice", code="people-doubled"
            )
        )
    return found


def _raster(path: Path, name: str, grid: Grid | None) -> Looked:
    """A raster of people in each cell."""
    import rasterio
    import rasterio.errors
    import rasterio.warp

    expected = "a GeoTIFF with a coordinate system and people in each cell"
    try:
        with rasterio.open(path, driver="GTiff") as source:
            if source.crs is None:
                raise PlanError(
                    [Problem(name, "has no coordinate system", expected, code="raster-without-coordinate-system")]
                )
            west, south, east, north = rasterio.warp.transform_bounds(source.crs, "EPSG:4326", *source.bounds)
            bands, side, unit = source.count, abs(source.transform.a), source.crs.linear_units
            system = source.crs.to_string()
            size = f"{grouped(source.width)} × {grouped(source.height)}"
    except rasterio.errors.RasterioIOError as error:
        raise PlanError(
            [Problem(name, f"cannot be read ({str(error)[:100]})", expected, code="file-unreadable")]
        ) from None
    bounds = (south, west, north, east)
    kind = f"a raster of {size} cells of {side:.6g} {'degrees' if unit in ('unknown', '') else unit}, {system}"
    doubts = []
    if bands > 1:
        doubts.append(_doubt(name, f"has {bands} bands", "one: only the first is counted", code="raster-bands"))
    if grid is None:
        return Looked(name, kind, (), 0, None, bounds, None, (), tuple(doubts))
    people = from_raster(path, grid, name=name)
    map_people, counted = float(people.sum()), people > 0
    if map_people == 0:
        doubts.append(
            _doubt(name, "holds nobody on the network's map", "a file that covers the sites", code="nobody-on-the-map")
        )
    else:
        area_km2 = float(np.repeat(grid.pixel_area_km2, grid.columns_n)[counted].sum())
        dense = map_people / area_km2
        if dense > GREATEST_PEOPLE_PER_KM2:
            what = f"has {grouped(dense, '.0f')} people/km² where anybody lives"
            doubts.append(
                _doubt(name, what, "people in each cell, not their density or another figure", code="people-too-dense")
            )
    return Looked(name, kind, (), int(counted.sum()), None, bounds, map_people, (), tuple(doubts))


def _counted(places: int) -> str:
    """How many places."""
    return f"{places} place{'' if places == 1 else 's'}"


def _doubt(name: str, what: str, expected: str, *, code: str) -> Problem:
    """A warning about a file."""
    return Problem(name, what, expected, "warning", code=code)


def _line(problem: Problem) -> float:
    """The line of the table that a problem is about."""
    line = problem.values.get("line")
    return line if isinstance(line, int | float) else 0
