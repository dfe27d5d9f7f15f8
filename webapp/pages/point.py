"""Every signal at one receiving point, what it makes of reception, and what would mend it."""

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from sfn.answer.point import Judged, judged, tried_signals
from sfn.answer.what_if import Tried, WhatIf
from sfn.errors import PlanError
from sfn.geodesy.position import locate
from sfn.report.numbers import degrees
from sfn.systems.fm_answer import fm_answer
from sfn.systems.fm_carried import carried_by
from webapp import addresses
from webapp.contexts.zones import DirectPart, PointPage, PointPart
from webapp.dependencies import MapsDep, Opened, ReadableStatedDep
from webapp.limits import Latitude, Longitude
from webapp.maps import Maps
from webapp.problems import RefusedError
from webapp.render import page
from webapp.security import from_elsewhere, looked_at_by_program
from webapp.tries import TriesDep, WindowTried, height_of, query_of, window_tries

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/point")
def show(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, tries: TriesDep, at: str = "", rx_height_m: str = ""
) -> Response:
    """The signals at a place as people write it."""
    if not at.strip():
        return page(
            request, PointPage(opened.head, at, rx_height_m, (), (), _window(opened, tries), None, "", False, ())
        )
    try:
        typed = locate(text=at, where="at")
        found, now = judged_at(opened, maps, tries, typed.lat_deg, typed.lon_deg, height_of(rx_height_m))
    except PlanError as error:
        context = PointPage(
            opened.head, at, rx_height_m, (), (), _window(opened, tries), None, "", False, error.problems
        )
        return page(request, context, status=422)
    where, trying = (typed.lat_deg, typed.lon_deg), query_of(tries.against(opened.network))
    direct = addresses.point_direct(opened.head.id, *where, rx_height_m, trying) if found.is_fm else ""
    context = PointPage(
        opened.head,
        at,
        rx_height_m,
        now.says,
        tuple(trying),
        window_tries(opened.network, tries),
        found,
        direct,
        not from_elsewhere(request.headers),
        typed.warnings,
    )
    return page(request, context)


def _window(opened: Opened, tries: WhatIf) -> WindowTried | None:
    """The receivers' window; None too where the document's own cannot be used, which is said elsewhere."""
    try:
        return window_tries(opened.network, tries)
    except PlanError:
        return None


@router.get("/networks/{network_id}/point/part")
def part(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, tries: TriesDep, lat: Latitude, lon: Longitude
) -> Response:
    """The signals at a clicked point."""
    found, now = judged_at(opened, maps, tries, lat, lon, None)
    trying = query_of(tries.against(opened.network))
    link = addresses.point(opened.head.id, f"{degrees(lat)}, {degrees(lon)}", tries=trying)
    return page(request, PointPart(found, bool(now.says), link))


@router.get("/networks/{network_id}/point/direct", dependencies=[Depends(looked_at_by_program)])
@router.post("/networks/{network_id}/point/direct")
def direct(
    request: Request,
    opened: ReadableStatedDep,
    maps: MapsDep,
    tries: TriesDep,
    lat: Latitude,
    lon: Longitude,
    rx_height_m: str = "",
) -> Response:
    """FM: the direct simulation of all signals at a point, some seconds of work, which follows the page."""
    found, _ = judged_at(opened, maps, tries, lat, lon, height_of(rx_height_m))
    heard = [signal for signal in found.point.signals if signal.significant]
    if not found.is_fm or not heard:
        raise RefusedError(404)
    answer = fm_answer(
        [s.level_dbuvm for s in heard],
        [s.delay_difference_us for s in heard],
        direct=True,
        programme=carried_by(opened.network),
    )
    return page(request, DirectPart(answer))


def judged_at(
    opened: Opened, maps: Maps, tries: WhatIf, lat: float, lon: float, height_m: float | None
) -> tuple[Judged, Tried]:
    """The signals with what they make of reception, and with what is tried."""
    network = opened.network
    found, now = tried_signals(
        network, tries, lat_deg=lat, lon_deg=lon, rx_height_m=height_m, ground=maps.ground(network)
    )
    return judged(now.network, found, now.table), now
