"""Lines and names over every map of a network: its own overlays, and coast, borders and roads where they came."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fastapi import Request

from sfn.country.sets import SETS, Bounds
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.report.over import Over
from sfn.study.find_place import NamedPlace, PlaceList
from sfn.study.overlay import country_file, country_overlay
from sfn.study.place_lists import fetched_names, named_shapes, names_here, shape_names
from webapp.config.addresses import to
from webapp.config.settings import Settings
from webapp.shell.problems import RefusedError
from webapp.store.store import Store
from webapp.work.countries import shelf_of
from webapp.work.maps import Maps

COUNTRY = (("coast", "coast"), ("borders", "borders on land"), ("roads", "roads"))
PLACES, PLACES_SAID = "places", "towns and villages where people are counted"
NAMES, NAMES_SAID = "names", "cities, towns and villages by name"
NOT_USUAL = ("roads",)  # so many that they hide what lies beneath: shown where somebody asks for them
NONE = "none"


@dataclass(frozen=True, slots=True)
class OverlayChoice:
    """One set that may lie over a map.

    `key`: how an address names it; `shapes`: where its GeoJSON is found; `usual`: shown where nobody chose.
    """

    key: str
    label: str
    credit: str
    shapes: str
    usual: bool


def on_shelf(settings: Settings) -> tuple[tuple[str, str], ...]:
    """Which of coast, borders, roads and names are here, each with its words."""
    shelf = shelf_of(settings.data_folder)
    lines = tuple((key, label) for key, label in COUNTRY if country_file(shelf, key) is not None)
    return (*lines, *(((NAMES, NAMES_SAID),) if names_here(shelf) else ()))


def usual(key: str, network: Network | None) -> bool:
    """Whether a fetched set lies over maps where nobody chose: names do unless counted places are named already."""
    return key not in NOT_USUAL and not (key == NAMES and names_places(network))


def overlay_choices(
    store: Store, settings: Settings, network_id: int, network: Network | None
) -> tuple[OverlayChoice, ...]:
    """What may lie over the maps of a network, of which `network` can be read; what is damaged is no choice."""
    towns = (
        (OverlayChoice(PLACES, PLACES_SAID, "", to("overlays.country", network_id, PLACES), True),)
        if names_places(network)
        else ()
    )
    fetched = (
        OverlayChoice(key, label, SETS[key].attribution, to("overlays.country", network_id, key), usual(key, network))
        for key, label in on_shelf(settings)
    )
    own = (
        OverlayChoice(str(one.id), one.name, one.attribution, to("overlays.shapes", network_id, one.id), True)
        for one in store.overlays.of(network_id)
        if not one.damaged
    )
    return (*towns, *fetched, *own)


def names_places(network: Network | None) -> bool:
    """Whether people are counted by places with names, not by a raster."""
    asked = network.listeners if network is not None else None
    return asked is not None and (asked.file is None or asked.file.lower().endswith(".csv"))


def places_shapes(maps: Maps, settings: Settings, network: Network) -> dict[str, Any] | None:
    """The largest places where people are counted, as GeoJSON; None where none has a name.

    Raises
    ------
    PlanError
        If the network has no map, or its people cannot be read.
    """
    if not names_places(network):
        return None
    grid = maps.wanted(network, bounds=None, pixel_m=None, most=settings.limits.grid_points).grid
    south, west, north, east = grid.bounds_deg
    return named_shapes(
        [
            NamedPlace(one.name, one.lat, one.lon, one.people)
            for one in maps.listeners(network, grid).places
            if south <= one.lat <= north and (one.lon - west) % 360.0 <= east - west
        ]
    )


def country_shapes(maps: Maps, settings: Settings, network: Network, key: str) -> dict[str, Any] | None:
    """Coast, borders, roads or names in a network's area as GeoJSON, with what was cut (`says`); None: not here.

    Raises
    ------
    PlanError
        If the network has no map.
    """
    shelf = shelf_of(settings.data_folder)
    if key == NAMES:
        if not names_here(shelf):
            return None
        return named_shapes(_fetched(maps, settings, network).places, SETS[NAMES].attribution)
    file = country_file(shelf, key)
    if file is None:
        return None

    def cut() -> dict[str, Any]:
        found = country_overlay(shelf, key, bounds_deg=usual_area(maps, settings, network))
        nothing = {"type": "FeatureCollection", "features": [], "says": ["Nothing of it lies in the network's area."]}
        return nothing if found is None else found.document | {"says": list(found.says)}

    # Reading and cutting it takes a second of the processor: kept for the network and this very file.
    made: dict[str, Any] = maps.worked_out(f"country {key} {file.name} {file.stat().st_mtime_ns}", network, cut)
    return made


def place_lists(
    store: Store, maps: Maps, settings: Settings, network_id: int, network: Network
) -> tuple[PlaceList, ...]:
    """Names to be found besides sites and counted towns: fetched ones of the usual area, and those of own overlays.

    Raises
    ------
    PlanError
        If the network has no map.
    """
    own = (
        shape_names(one.name, json.loads(store.overlays.document(network_id, one.id) or "{}"))
        for one in store.overlays.of(network_id)
        if not one.damaged
    )
    return (_fetched(maps, settings, network), *own)


def _fetched(maps: Maps, settings: Settings, network: Network) -> PlaceList:
    """Fetched names of a network's usual area: reading them takes a second, so they are kept for these very files."""
    shelf = shelf_of(settings.data_folder)
    area = usual_area(maps, settings, network)
    held = shelf.folder / NAMES
    stamps = sorted(path.stat().st_mtime_ns for path in held.iterdir()) if held.is_dir() else []
    made: PlaceList = maps.worked_out(f"names {area} {stamps}", network, lambda: fetched_names(shelf, bounds_deg=area))
    return made


def usual_area(maps: Maps, settings: Settings, network: Network) -> Bounds:
    """South, west, north and east of a network's usual map. [degrees]"""
    return maps.wanted(network, bounds=None, pixel_m=None, most=settings.limits.grid_points).grid.bounds_deg


def laid_over(request: Request, network_id: int, network: Network | None, asked: str = "") -> tuple[Over, ...]:
    """What a picture draws over its map.

    Parameters
    ----------
    request : Request
    network_id : int
    network : Network or None
        The part of it that can be read; None: its area is not known, and nothing that was fetched is drawn.
    asked : str
        Keys with commas between, or ``none``; empty for what is usual.

    Raises
    ------
    RefusedError
        If a key is none of the network's.
    """
    state = request.app.state
    choices = overlay_choices(state.store, state.settings, network_id, network)
    wanted = [one.key for one in choices if one.usual] if not asked else [] if asked == NONE else asked.split(",")
    if lost := [key for key in wanted if key not in {one.key for one in choices}]:
        keys = ", ".join(one.key for one in choices)
        what, expected = f"{', '.join(lost)} lies over no map of this network", f"{keys or 'nothing is there'}; or none"
        raise RefusedError(422, Problem("overlays", what, expected, code="overlay-unknown", fields=("overlays",)))
    own = [one.key for one in choices if one.key.isdecimal()]
    shown = [(own.index(one.key) if one.key in own else 0, one) for one in choices if one.key in wanted]
    return tuple(_drawn(state, network_id, network, shown))


def _drawn(
    state: Any, network_id: int, network: Network | None, choices: list[tuple[int, OverlayChoice]]
) -> Iterator[Over]:
    """The shapes of each; one whose text is not what was kept is left out, as on every map."""
    for n, one in choices:
        try:
            if one.key.isdecimal():
                document = json.loads(state.store.overlays.document(network_id, int(one.key)) or "{}")
            elif one.key == PLACES:
                document = network and places_shapes(state.maps, state.settings, network)
            else:
                document = network and country_shapes(state.maps, state.settings, network, one.key)
        except PlanError:
            continue
        if document:
            yield Over(one.key, one.label, one.credit, document, n)
