"""The overlap map: levels computed once in a job, layers drawn from them at every change."""

from dataclasses import dataclass
from typing import Any, ClassVar
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.geodesy.grid import Grid
from sfn.reception.coverage import Coverage
from sfn.report.numbers import us
from sfn.study.compared import Compared, compared, in_short, served_says
from sfn.study.layers import Offered, offered
from sfn.study.lever_saved import with_levers
from sfn.study.shares_said import shares_said
from sfn.study.what_if import Tried, WhatIf
from sfn.study.zones import Zones, neighbours
from sfn.systems.of_network import service_of
from webapp.config.addresses import Room, to
from webapp.coverage.map_address import AskedDep, MapAddress, asked_by
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableStatedDep, SettingsDep, StoreDep
from webapp.shell.following import as_json
from webapp.shell.problems import RefusedError, is_api, wants_json
from webapp.shell.render import html, notice, page
from webapp.shell.saving import base_of
from webapp.shell.security import from_elsewhere
from webapp.shell.site_marks import site_marks
from webapp.standing.complaints import Complaint, complaints_of
from webapp.standing.overlaid import overlay_choices
from webapp.standing.tries import (
    SiteTry,
    TriesDep,
    WindowTried,
    area_of,
    by_form,
    changed_document,
    levers_kept,
    query_of,
    site_tries,
    window_tries,
)
from webapp.store.overlays import KeptOverlay
from webapp.work.jobs import Job, JobView
from webapp.work.map_heights import key_of_try, missing, tried_over
from webapp.work.maps import Maps, Wanted

router = Room("zones")
DRAWN_LAYER = "coverage_probability"  # of drawn levels: it takes seconds, the others follow at once
STREETS = "https://tile.openstreetmap.org"


@dataclass(frozen=True, slots=True)
class ZonesPage(Context):
    """The overlap map of one network."""

    TEMPLATE: ClassVar[str] = "coverage/zones.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    states: tuple[str, ...]
    """Planned states that the map can be asked for."""
    sites: tuple[SiteTry, ...]
    """Its sites, with what may be tried and what is."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    layers: dict[str, Offered]
    """The layers on offer, by name."""
    key: str
    """Of the levels that the map is drawn from; empty where there is no map."""
    asked: MapAddress
    """What the page's address says, but for what is tried."""
    query: str
    """What is tried, as an address has it."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    pixel_m: float
    """Side of a pixel on the ground. [m]"""
    corners_deg: tuple[tuple[float, float], tuple[float, float]] | None
    """South-west and north-east corner of the map, which is shown before there are levels. [degrees]"""
    marks: list[dict[str, Any]]
    """Its sites as the map marks them, with what is tried."""
    job: JobView | None
    """The computation, while the levels are not there."""
    ready: bool
    """Whether the levels are there."""
    levels_url: str
    """Where their computation is started, by POST; empty where they are there, on their way, or cannot be."""
    by_itself: bool
    """Whether the page's script starts it: not behind a link from another site."""
    smooth: bool
    """Whether no terrain is named."""
    smooth_says: str
    """How much too high antennas count then; empty where it matters little."""
    overlays: tuple[KeptOverlay, ...]
    """The network's own lines and places over the map; damaged ones are not drawn."""
    overlays_gone: int
    """How many more were kept: the database is damaged."""
    country: tuple[tuple[str, str], ...]
    """Places where people are counted, coast, borders, roads and names that are here, each with its words."""
    country_credits: dict[str, str]
    """Whose data each of them is; those that nobody asks to be named for are not in it."""
    country_usual: tuple[str, ...]
    """Which of them lie over the map where nobody chose."""
    complaints: tuple[Complaint, ...]
    """What listeners complained of, the newest first."""
    problems: tuple[Problem, ...]
    """Why there is no map, if so."""


@dataclass(frozen=True, slots=True)
class MapTry(Context):
    """What is tried on the map, and the way back to the plan."""

    TEMPLATE: ClassVar[str] = "coverage/map_try.html"
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    back: str
    """Address of the same map with the plan."""


@dataclass(frozen=True, slots=True)
class MapSummary(Context):
    """The overlap in numbers, beside the map."""

    TEMPLATE: ClassVar[str] = "coverage/map_summary.html"
    found: Zones
    """The map as it is drawn."""
    compared: Compared
    """Area and people by class and by site, as planned and as tried."""
    is_tried: bool
    """Whether anything is tried."""
    in_short: str
    """What the try changes, in a sentence."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_page: str
    """Where that is changed."""
    others_page: str
    """Where transmitters of other programmes are listed."""
    ground_page: str
    """Where terrain and ground cover are named."""
    shares_say: str
    """Which rule made classes and figures, and by how much they may be off; empty for a service with one rule."""


@router.get("/networks/{network_id}/map")
def show(
    request: Request,
    opened: ReadableStatedDep,
    maps: MapsDep,
    jobs: JobsDep,
    settings: SettingsDep,
    asked: AskedDep,
    tries: TriesDep,
) -> Response:
    """The map where its levels are there; else how far they are, or what starts them. Looking starts nothing."""
    if by_form(request):
        return RedirectResponse(_address(opened, asked, tries.against(opened.network)), 303)
    network = opened.network
    try:
        now = tried_over(maps, network, tries)
        area, pixel = area_of(asked.bounds, asked.pixel_m)
        wanted = maps.wanted(network, bounds=area, pixel_m=pixel, most=settings.limits.grid_points)
        lacking = missing(maps, network, now.network, wanted)
    except PlanError as error:
        return page(request, _page(request, opened, asked, tries, problems=error.problems), status=422)
    if asked.streets:
        request.state.image_origins = (STREETS,)
    job = jobs.under_way(lacking[1].key) if lacking else None
    shown = _page(request, opened, asked, tries, now=now, wanted=wanted, job=job, ready=lacking is None)
    return page(request, shown, status=202 if job and is_api(request) else 200)


@router.post("/networks/{network_id}/map/levels")
def start(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, settings: SettingsDep, tries: TriesDep, form: FormDep
) -> Response:
    """Start computing the levels of a map; the page's script is told of the job, everybody else led to it."""
    asked = asked_by(form)
    area, pixel = area_of(asked.bounds, asked.pixel_m)
    wanted = maps.wanted(opened.network, bounds=area, pixel_m=pixel, most=settings.limits.grid_points)
    back = _address(opened, asked, tries.against(opened.network))
    now = tried_over(maps, opened.network, tries)
    lacking = missing(maps, opened.network, now.network, wanted)
    job = maps.start(*lacking, result_url=back) if lacking else None
    if job is not None and wants_json(request) and not is_api(request):
        return JSONResponse(as_json(job.view()), 202)
    return RedirectResponse(back if job is None else to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/map/{key}/view.json")
def view(request: Request, opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """What the map is made of: bounds, layers with legends, sites, pairs, the summary as a piece of the page."""
    found, now = zones_of(opened, maps, key, tries)
    summary, planned = summed_up(opened, maps, key, found, now)
    answer: dict[str, Any] = {
        "bounds": _corners(found.coverage.grid),
        "layers": [{"name": layer.name, "label": layer.label} for layer in found.layers],
        "sites": _marks(now, tries),
        "pairs": [list(pair) for pair in neighbours(found)],
        "has_shade": not found.coverage.smooth,
        "says": html(request, MapTry(now.says, now.doubts, to("zones.show", opened.head.id))),
        "summary": html(request, summary),
        "short": summary.in_short,
        "served_planned": served_says(planned),
        "served_tried": served_says(found),
        "tolerance": us(service_of(opened.network).tolerance_us),
    }
    return JSONResponse(answer)


@router.get("/networks/{network_id}/map/{key}/shares.json")
def shares(request: Request, opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """The map in numbers by drawn shares, which follow it: seconds of work."""
    found, now = zones_of(opened, maps, key, tries, drawn=True)
    summary, planned = summed_up(opened, maps, key, found, now)
    answer = {
        "says": summary.shares_say,
        "summary": html(request, summary),
        "short": summary.in_short,
        "served_planned": served_says(planned),
        "served_tried": served_says(found),
    }
    return JSONResponse(answer)


@router.post("/networks/{network_id}/map/keep")
def keep(request: Request, opened: ReadableStatedDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """Save the offsets and levers that were tried as a new revision; levers only where the licence was thought of."""
    levers = levers_kept(opened.network, form, ground_of=maps.ground)
    reason = form.get("reason", "").strip() or f"{'offsets and levers' if levers else 'offsets'} tried on the map"
    author = form.get("author", "").strip()
    if not author:
        raise RefusedError(
            422, Problem("author", "a save needs a name", "yours", code="author-missing", fields=("author",))
        )
    base, document = base_of({"base": "", **form}), changed_document(opened.document, form)
    document = with_levers(document, opened.network, levers)
    request.session["author"] = author
    if document == opened.document and base == opened.head.revision.number:
        notice(
            request,
            "No offset or lever differs from the plan: nothing was saved. "
            "Clocks, routes and sites not transmitting are not.",
        )
    else:
        store.save(opened.head.id, document, base_revision=base, author=author, reason=reason)
        notice(request, "Saved as a new revision. The sheets follow it.")
    asked = asked_by(form)
    return RedirectResponse(_address(opened, asked, WhatIf()), 303)


def _address(opened: Opened, asked: MapAddress, what: WhatIf) -> str:
    """The page's address in its shortest form."""
    return to("zones.show", opened.head.id, query=[*asked.query, *query_of(what)])


def _page(
    request: Request,
    opened: Opened,
    asked: MapAddress,
    what: WhatIf,
    *,
    now: Tried | None = None,
    wanted: Wanted | None = None,
    job: Job | None = None,
    ready: bool = False,
    problems: tuple[Problem, ...] = (),
) -> ZonesPage:
    """The page; without `now` and `wanted` the one that says why there is no map."""
    network, query = opened.network, urlencode(query_of(what.against(opened.network)))
    state = request.app.state
    over = overlay_choices(state.store, state.settings, opened.head.id, network)
    fetched = [one for one in over if not one.key.isdecimal()]
    return ZonesPage(
        network=opened.head,
        sites=site_tries(network, what, now.table) if now else (),
        window=window_tries(network, what) if now else None,
        layers=offered(network) if now else {},
        key=wanted.key if wanted else "",
        asked=asked,
        query=query,
        says=now.says if now else (),
        doubts=now.doubts if now else (),
        pixel_m=wanted.grid.pixel_m if wanted else 0.0,
        corners_deg=_corners(wanted.grid) if wanted else None,
        marks=_marks(now, what) if now else [],
        job=job.view() if job else None,
        ready=ready,
        levels_url="" if ready or job or not wanted else to("zones.start", opened.head.id, query=query),
        by_itself=not from_elsewhere(request.headers),
        smooth=network.terrain is None,
        smooth_says=smooth_says(network),
        overlays=request.app.state.store.overlays.of(opened.head.id),
        overlays_gone=request.app.state.store.overlays.gone_n(opened.head.id),
        country=tuple((one.key, one.label) for one in fetched),
        country_credits={one.key: one.credit for one in fetched if one.credit},
        country_usual=tuple(one.key for one in fetched if one.usual),
        complaints=complaints_of(request.app.state.store, opened.head.id),
        problems=problems,
        states=tuple(one.name for one in network.today.planned or ()),
    )


def _corners(grid: Grid) -> tuple[tuple[float, float], tuple[float, float]]:
    """South-west and north-east corner of a map. [degrees]"""
    south, west, north, east = grid.bounds_deg
    return (south, west), (north, east)


def _marks(now: Tried, what: WhatIf) -> list[dict[str, Any]]:
    """The sites of a network as the map marks them, with what is tried."""
    return [
        mark | {"clock_us": what.clock_errors_us.get(mark["id"], 0.0), "route": what.routes.get(mark["id"], MAIN)}
        for mark in site_marks(now.network)
    ]


def zones_of(opened: Opened, maps: Maps, key: str, what: WhatIf, *, drawn: bool = False) -> tuple[Zones, Tried]:
    """The map with what is tried; `drawn`: classes and figures by drawn shares, not by the quick estimate."""
    coverage_of(opened, maps, key)
    now = tried_over(maps, opened.network, what)
    rests_on = key_of_try(maps, opened.network, now.network, key)
    return maps.zones(opened.network, coverage_of(opened, maps, rests_on), now, key=rests_on, drawn=drawn), now


def summed_up(opened: Opened, maps: Maps, key: str, found: Zones, now: Tried) -> tuple[MapSummary, Zones]:
    """The map in numbers, against the plan by the same rule where something is tried; and the plan's map."""
    state = opened.network.state
    alone = WhatIf(state=state.name if state else "")
    planned = zones_of(opened, maps, key, alone, drawn=found.drawn)[0] if now.beyond_state else found
    against, said = compared(planned, found), maps.listeners(opened.network, found.coverage.grid).said
    short = in_short(against) if now.beyond_state else ""
    people, others, ground = (to(name, opened.head.id) for name in ("people.show", "others.show", "terrain.show"))
    shares = shares_said(found)
    return MapSummary(found, against, now.beyond_state, short, said, people, others, ground, shares), planned


def coverage_of(opened: Opened, maps: Maps, key: str) -> Coverage:
    """Levels that are in memory, of the sites that the network has now."""
    computed = computed_coverage(maps, key)
    if computed.sites != tuple(site.id for site in opened.network.sites):
        raise RefusedError(
            409, Problem("map", "the network has other sites now", "the page opened again", code="sites-changed-since")
        )
    return computed


def computed_coverage(maps: Maps, key: str) -> Coverage:
    """Levels that are in memory."""
    found = maps.find(key)
    if found is None:
        raise RefusedError(
            404,
            Problem("map", "these levels are no longer in memory", "the page opened again", code="no-longer-in-memory"),
        )
    return found


def known_pair(found: Zones, a: str, b: str) -> None:
    """Both sites exist and differ."""
    if a == b or not {a, b} <= set(found.coverage.sites):
        raise RefusedError(404)
