"""Every signal at one receiving point, what it makes of reception, and what would mend it."""

from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar

from fastapi import Depends, Query, Request
from fastapi.responses import Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located, locate
from sfn.report.numbers import degrees
from sfn.study.crossing import usual_pair
from sfn.study.pixel import Pixel, pixel_at
from sfn.study.place_changed import PlaceChanged, place_changed
from sfn.study.point import Judged, judged, tried_signals
from sfn.study.what_if import Tried, WhatIf
from sfn.systems.fm_answer import fm_answer
from sfn.systems.fm_carried import carried_by
from webapp.config.addresses import Room, to
from webapp.config.limits import Latitude, Longitude
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, Opened, ReadableStatedDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.shell.security import from_elsewhere, looked_at_by_program
from webapp.standing.tries import TriesDep, WindowTried, height_of, query_of, window_tries
from webapp.work.map_heights import key_of_try, tried_over
from webapp.work.maps import Maps

router = Room("point")


@dataclass(frozen=True, slots=True)
class PointPage(Context):
    """Every signal at one receiving point."""

    TEMPLATE: ClassVar[str] = "coverage/point.html"
    TAB: ClassVar[str] = "point"
    network: NetworkHead
    """Which network, in which revision."""
    at: str
    """The place as it was typed."""
    rx_height_m: str
    """Height of the receiving antenna as it was typed."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    trying: tuple[tuple[str, str], ...]
    """The same as an address has it."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    found: Judged | None
    """The signals and what they make of reception, once a place is given."""
    direct: str
    """Where the direct simulation is asked for, by POST; empty where there is none."""
    by_itself: bool
    """Whether the page's script asks for it: not behind a link from another site."""
    problems: tuple[Problem, ...]
    """What is wrong with the place."""
    doubts: tuple[Problem, ...] = ()
    """What is wrong with the try that is not with the plan: settings that could not be made."""
    changed: PlaceChanged | None = None
    """What the try changes here, term by term; None where nothing is tried."""


@dataclass(frozen=True, slots=True)
class PointPart(Context):
    """The signals at a clicked point, for the map's side."""

    TEMPLATE: ClassVar[str] = "coverage/point_part.html"
    found: Judged
    """The signals and what they make of reception."""
    is_tried: bool
    """Whether anything is tried."""
    doubts: tuple[Problem, ...]
    """What is wrong with the try that is not with the plan: settings that could not be made."""
    link: str
    """Address of the same point as a page of its own."""
    pixel: Pixel | None = None
    """What the map that was clicked shows there; None where it is no more in memory, or ends before."""
    usual: tuple[str, str] | None = None
    """Which site one would move here, and against which; None where fewer than two signals are known."""
    sites: tuple[tuple[str, str], ...] = ()
    """Ids and names of the sites that may be tried here instead of where they stand; empty where there is no map."""
    meet: str = ""
    """Where the offset with which two signals meet here is asked for; empty where there is no map."""


@dataclass(frozen=True, slots=True)
class DirectPart(Context):
    """The direct simulation of FM reception at a point."""

    TEMPLATE: ClassVar[str] = "coverage/direct_part.html"
    answer: dict[str, Any]
    """As the command `signals` answers."""


@router.get("/networks/{network_id}/point")
def show(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, tries: TriesDep, at: str = "", rx_height_m: str = "",
    lat: str = "", lon: str = "",
) -> Response:  # fmt: skip
    """The signals at a place as people write it; `lat` and `lon` are another way to give it."""
    if not at.strip() and (lat.strip() or lon.strip()):
        at = f"{lat}, {lon}"
    if not at.strip():
        return page(request, _without_place(opened, maps, tries, at, rx_height_m, ()))
    try:
        typed = _located(at)
        found, now = judged_at(opened, maps, tries, typed.lat_deg, typed.lon_deg, height_of(rx_height_m))
        network = opened.network
        changed = place_changed(network, tries, found, now, ground=maps.ground(network)) if now.says else None
    except PlanError as error:
        return page(request, _without_place(opened, maps, tries, at, rx_height_m, error.problems), status=422)
    where, trying = (typed.lat_deg, typed.lon_deg), query_of(tries.against(opened.network))
    simulated = to("point.direct", opened.head.id, query=[*_place(*where, rx_height_m), *trying]) if found.is_fm else ""
    context = PointPage(
        opened.head,
        at,
        rx_height_m,
        now.says,
        tuple(trying),
        window_tries(opened.network, tries),
        found,
        simulated,
        not from_elsewhere(request.headers),
        _here(typed.warnings),
        now.doubts,
        changed,
    )
    return page(request, context)


def _without_place(
    opened: Opened, maps: Maps, tries: WhatIf, at: str, rx_height_m: str, problems: tuple[Problem, ...]
) -> PointPage:
    """The form before there is a place, or with what is wrong with it; what is tried stays tried."""
    says: tuple[str, ...] = ()
    trying: list[tuple[str, str]] = []
    try:
        says = tried_over(maps, opened.network, tries).says
        trying = query_of(tries.against(opened.network))
    except PlanError as error:
        problems = problems or error.problems
    window = _window(opened, tries)
    return PointPage(opened.head, at, rx_height_m, says, tuple(trying), window, None, "", False, problems)


def _here(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Problems of the place under the name of its one field."""
    return tuple(replace(one, where="at") for one in problems)


def _located(at: str) -> Located:
    """The place as it was typed; what is wrong with it bears the field's name."""
    try:
        return locate(text=at, where="at")
    except PlanError as error:
        raise PlanError(_here(error.problems)) from None


def _place(lat_deg: float, lon_deg: float, rx_height_m: str) -> tuple[tuple[str, str], ...]:
    """A point as the direct simulation takes it."""
    return ("lat", f"{lat_deg:.7f}"), ("lon", f"{lon_deg:.7f}"), ("rx_height_m", rx_height_m)


def _window(opened: Opened, tries: WhatIf) -> WindowTried | None:
    """The receivers' window; None too where the document's own cannot be used, which is said elsewhere."""
    try:
        return window_tries(opened.network, tries)
    except PlanError:
        return None


@router.get("/networks/{network_id}/point/part")
def part(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, tries: TriesDep, lat: Latitude, lon: Longitude,
    map_key: Annotated[str, Query(alias="map")] = "",
) -> Response:  # fmt: skip
    """The signals at a clicked point; `map`: the key of the map that was clicked, for what it shows there."""
    found, now = judged_at(opened, maps, tries, lat, lon, None)
    trying = query_of(tries.against(opened.network))
    link = to("point.show", opened.head.id, at=f"{degrees(lat)}, {degrees(lon)}", query=trying)
    key = key_of_try(maps, opened.network, now.network, map_key)
    computed = maps.find(key)
    pixel, meet = None, ""
    sites: tuple[tuple[str, str], ...] = ()
    if computed is not None and computed.sites == tuple(site.id for site in opened.network.sites):
        pixel = pixel_at(maps.zones(opened.network, computed, now, key=key, drawn=None), lat, lon)
        sites = tuple((site.id, site.name) for site in opened.network.sites)
        meet = to(
            "crossing.show", opened.head.id, map_key, query=[("lat", f"{lat:.7f}"), ("lon", f"{lon:.7f}"), *trying]
        )
    usual = usual_pair(opened.network, found.point)
    return page(request, PointPart(found, bool(now.says), now.doubts, link, pixel, usual, sites, meet))


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
    heard = found.point.signals
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
