"""What the map is asked as one moves over it: lengths between two places, its scale bar, places by name."""

from dataclasses import asdict
from typing import Annotated

from fastapi import Query
from fastapi.responses import JSONResponse, Response

from sfn.errors import PlanError
from sfn.geodesy.sites import placed_sites
from sfn.study.find_place import PlaceList, find_place
from sfn.study.ruler import measured, scale_bar
from webapp.config.addresses import Room
from webapp.config.limits import Latitude, Longitude
from webapp.shell.dependencies import MapsDep, ReadableDep, SettingsDep, StoreDep
from webapp.standing.overlaid import place_lists

router = Room("on_map")
Edge = Annotated[float, Query(ge=-540, le=540, allow_inf_nan=False, description="Of the map, WGS 84. [degrees]")]


@router.get("/networks/{network_id}/map/ruler.json")
def ruler(opened: ReadableDep, lat: Latitude, lon: Longitude, to_lat: Latitude, to_lon: Longitude) -> Response:
    """Geodesic and travel time between two places, in the network's air."""
    found = measured(lat, lon, to_lat, to_lon, refractivity_n=opened.network.refractivity_n)
    return JSONResponse(asdict(found))


@router.get("/networks/{network_id}/map/scale.json")
def scale(opened: ReadableDep, lat: Latitude, west: Edge, east: Edge) -> Response:
    """The scale bar of a map that reaches from `west` to `east` at a latitude; null where no bar is true on it."""
    found = scale_bar(lat_deg=lat, west_deg=west, east_deg=east, refractivity_n=opened.network.refractivity_n)
    return JSONResponse(None if found is None else asdict(found))


@router.get("/networks/{network_id}/map/places.json")
def places(
    opened: ReadableDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    q: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Sites, towns, fetched names and those of own overlays, each with its list; or a position as people write it."""
    network = opened.network
    lists: tuple[PlaceList, ...] = ()
    try:
        wanted = maps.wanted(network, bounds=None, pixel_m=None, most=settings.limits.grid_points)
        lists = place_lists(store, maps, settings, opened.head.id, network)
        towns = maps.listeners(network, wanted.grid).places
    except PlanError:  # said where people are counted; sites are found all the same
        towns = ()
    found = find_place(network, q, placed=placed_sites(network).at, places=towns, lists=lists)
    return JSONResponse({"places": [asdict(one) for one in found]})
