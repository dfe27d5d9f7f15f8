"""Every signal at one receiving point: level, distance, travel, launch, arrival, differences."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.answer.what_if import WhatIf, tried
from sfn.errors import PlanError
from sfn.geodesy.position import locate
from sfn.geodesy.sites import place
from sfn.reception.signals import PointSignals, signals_at
from sfn.reception.significance import criteria
from sfn.report.arrival_rows import ArrivalRows, point_rows
from sfn.report.numbers import degrees
from sfn.systems.service import service
from webapp import addresses
from webapp.contexts.zones import PointPage, PointPart
from webapp.dependencies import MapsDep, NetworkDep, Opened
from webapp.maps import Maps
from webapp.render import page
from webapp.tries import TriesDep, height_of

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/point")
def show(
    request: Request, opened: NetworkDep, maps: MapsDep, tries: TriesDep, at: str = "", rx_height_m: str = ""
) -> Response:
    """The signals at a place as people write it."""
    if not at.strip():
        return page(request, PointPage(opened.head, at, rx_height_m, None, None, ()))
    try:
        place_typed = locate(text=at, where="at")
        found, picture = _signals(opened, maps, tries, place_typed.lat_deg, place_typed.lon_deg, height_of(rx_height_m))
    except PlanError as error:
        return page(request, PointPage(opened.head, at, rx_height_m, None, None, error.problems), status=422)
    return page(request, PointPage(opened.head, at, rx_height_m, found, picture, place_typed.warnings))


@router.get("/networks/{network_id}/point/part")
def part(request: Request, opened: NetworkDep, maps: MapsDep, tries: TriesDep, lat: float, lon: float) -> Response:
    """The signals at a clicked point."""
    found, picture = _signals(opened, maps, tries, lat, lon, None)
    link = addresses.point(opened.head.id, f"{degrees(lat)}, {degrees(lon)}")
    return page(request, PointPart(found, picture, link))


def _signals(
    opened: Opened, maps: Maps, tries: WhatIf, lat: float, lon: float, height_m: float | None
) -> tuple[PointSignals, ArrivalRows]:
    """The signals and their picture."""
    network, placed = opened.network, place(opened.network)
    carried = service(network.service)
    now = tried(network, tries, placed=placed)
    found = signals_at(
        now.network,
        now.launches,
        lat_deg=lat,
        lon_deg=lon,
        placed=placed,
        counts=criteria(network, carried),
        ground=maps.ground(network),
        rx_height_m=height_m,
    )
    return found, point_rows(found, now.table, now.network, carried)
