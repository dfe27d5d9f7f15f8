"""Names to be found on a map besides sites and counted towns: fetched places, lines and places of one's own."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sfn.country.made import named_places
from sfn.country.sets import SETS, Bounds, Wanted, tile_named
from sfn.country.shelf import Shelf
from sfn.study.find_place import NamedPlace, PlaceList

FETCHED = f"{SETS['names'].attribution}, fetched"
MOST_NAMED_N = 40  # the largest; more names hide a map


def fetched_names(shelf: Shelf, *, bounds_deg: Bounds) -> PlaceList:
    """Places of GeoNames in an area, with and without inhabitants; none where they were not fetched.

    Parameters
    ----------
    shelf : Shelf
    bounds_deg : tuple of float
        South, west, north and east; east may lie beyond 180. [degrees]
    """
    tile = _held(shelf)
    if tile is None:
        return PlaceList(FETCHED, ())
    found = named_places(shelf.path(tile), bounds_deg)
    return PlaceList(FETCHED, tuple(NamedPlace(name, lat, lon, people) for name, lat, lon, people, _ in found))


def names_here(shelf: Shelf) -> bool:
    """Whether names of places were fetched."""
    return _held(shelf) is not None


def _held(shelf: Shelf) -> Wanted | None:
    """The archive of names; None where it was not fetched."""
    tile = tile_named("names", "cities500.zip")
    note = None if tile is None else shelf.note(tile)
    return None if note is None or note.absent else tile


def named_shapes(places: Sequence[NamedPlace], credit: str = "") -> dict[str, Any]:
    """The largest of some places as GeoJSON, with how many there are (`says`).

    Parameters
    ----------
    places : sequence of NamedPlace
    credit : str, optional
        Whose list it is.

    Examples
    --------
    >>> named_shapes([NamedPlace("Mill", 36.3, -84.2, 12.0)])["says"]
    ['1 on the usual map.']
    """
    shown = sorted(places, key=lambda one: -(one.people or 0.0))[:MOST_NAMED_N]
    features = [
        {
            "type": "Feature",
            "properties": {"name": one.name, "people": one.people},
            "geometry": {"type": "Point", "coordinates": [one.lon_deg, one.lat_deg]},
        }
        for one in shown
    ]
    left = f" The {len(shown)} largest of {len(places)} are named." if len(shown) < len(places) else ""
    says = [*([f"{credit}."] if credit else []), f"{len(places)} on the usual map.{left}"]
    return {"type": "FeatureCollection", "features": features, "says": says}


def shape_names(label: str, document: Mapping[str, Any]) -> PlaceList:
    """Names of shapes as `sfn.study.overlay.read_overlay` keeps them; a line is found at the middle of its points.

    Parameters
    ----------
    label : str
        What the shapes are called.
    document : mapping
        GeoJSON on WGS84.

    Examples
    --------
    >>> shape = {"properties": {"name": "Mill"}, "geometry": {"type": "Point", "coordinates": [-84.2, 36.3]}}
    >>> shape_names("mine", {"features": [shape]}).places
    (NamedPlace(name='Mill', lat_deg=36.3, lon_deg=-84.2, people=None),)
    """
    named = []
    for feature in document.get("features", ()):
        name = str((feature.get("properties") or {}).get("name") or "")
        at = list(_points((feature.get("geometry") or {}).get("coordinates")))
        if name and at:
            lon, lat = at[len(at) // 2]
            named.append(NamedPlace(name, lat, lon))
    return PlaceList(label, tuple(named))


def _points(coordinates: Any) -> Iterator[tuple[float, float]]:
    """Longitude and latitude of every vertex, however deep they stand."""
    if not isinstance(coordinates, list) or not coordinates:
        return
    if isinstance(coordinates[0], int | float):
        yield float(coordinates[0]), float(coordinates[1])
        return
    for inner in coordinates:
        yield from _points(inner)
