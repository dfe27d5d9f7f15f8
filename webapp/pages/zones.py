"""The overlap map: levels computed once in a job, layers drawn from them at every change."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.answer.compared import compared, in_short
from sfn.answer.what_if import Tried, WhatIf, tried
from sfn.answer.zones import LAYERS, Zones, lines_document, neighbours, offered, pair_fields, shares_said
from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from sfn.reception.coverage import Coverage
from sfn.report.colours import painted, site_colours
from sfn.report.legend import legend
from sfn.report.maps import png
from sfn.report.numbers import us
from sfn.report.wavefronts import ribbon
from sfn.systems.of_network import service_of
from webapp import addresses
from webapp.complaints import complaints_of
from webapp.contexts.zones import MapAddress, MapSummary, MapTry, ZonesPage
from webapp.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableStatedDep, SettingsDep, StoreDep
from webapp.jobs import Job
from webapp.maps import Maps, Wanted
from webapp.pages.jobs import as_json
from webapp.problems import RefusedError, is_api, wants_json
from webapp.render import html, notice, page
from webapp.saving import base_of
from webapp.security import from_elsewhere
from webapp.tries import TriesDep, area_of, by_form, changed_document, query_of, site_tries, window_tries

router = APIRouter(include_in_schema=False)
DRAWN_LAYER = "coverage_probability"  # of drawn levels: it takes seconds, the others follow at once
STREETS = "https://tile.openstreetmap.org"


def asked_of(bounds: str = "", pixel_m: str = "", streets: bool = False, layer: str = "") -> MapAddress:
    """What the page's address says, but for what is tried."""
    return MapAddress(bounds.strip(), pixel_m.strip(), streets, layer if layer in LAYERS else "quality_class")


AskedDep = Annotated[MapAddress, Depends(asked_of)]


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
        now = tried(network, tries, placed=place(network))
        area, pixel = area_of(asked.bounds, asked.pixel_m)
        wanted = maps.wanted(network, bounds=area, pixel_m=pixel, most=settings.limits.grid_points)
    except PlanError as error:
        return page(request, _page(request, opened, asked, tries, problems=error.problems), status=422)
    if asked.streets:
        request.state.image_origins = (STREETS,)
    job = None if maps.find(wanted.key) else jobs.under_way(wanted.key)
    shown = _page(request, opened, asked, tries, now=now, wanted=wanted, job=job, maps=maps)
    return page(request, shown, status=202 if job and is_api(request) else 200)


@router.post("/networks/{network_id}/map/levels")
def start(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, settings: SettingsDep, tries: TriesDep, form: FormDep
) -> Response:
    """Start computing the levels of a map; the page's script is told of the job, everybody else led to it."""
    asked = asked_of(form.get("bounds", ""), form.get("pixel_m", ""), bool(form.get("streets")), form.get("layer", ""))
    area, pixel = area_of(asked.bounds, asked.pixel_m)
    wanted = maps.wanted(opened.network, bounds=area, pixel_m=pixel, most=settings.limits.grid_points)
    back = _address(opened, asked, tries.against(opened.network))
    job = maps.start(opened.network, wanted, result_url=back)
    if job is not None and wants_json(request) and not is_api(request):
        return JSONResponse(as_json(job.view()), 202)
    return RedirectResponse(back if job is None else addresses.job(job.id), 303)


@router.get("/networks/{network_id}/map/{key}/view.json")
def view(request: Request, opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """What the map is made of: bounds, layers with legends, sites, pairs, the summary as a piece of the page."""
    found, now = zones_of(opened, maps, key, tries)
    south, west, north, east = found.coverage.grid.bounds_deg
    summary = _summary(opened, maps, key, found, now)
    placed = place(opened.network)
    colours = site_colours(len(opened.network.sites))
    sites = [
        {
            "id": site.id,
            "name": site.name,
            "lat": placed[site.id].lat_deg,
            "lon": placed[site.id].lon_deg,
            "offset_us": site.offset_us,
            "on_air": site.on_air,
            "clock_us": tries.clock_errors_us.get(site.id, 0.0),
            "route": tries.routes.get(site.id, MAIN),
            "colour": colours[i],
        }
        for i, site in enumerate(now.network.sites)
    ]
    answer: dict[str, Any] = {
        "bounds": [[south, west], [north, east]],
        "layers": [{"name": layer.name, "label": layer.label} for layer in found.layers],
        "sites": sites,
        "pairs": [list(pair) for pair in neighbours(found)],
        "has_shade": not found.coverage.smooth,
        "says": html(request, MapTry(now.says, now.doubts, addresses.zones(opened.head.id))),
        "summary": html(request, summary),
        "short": summary.in_short,
        "tolerance": us(service_of(opened.network).tolerance_us),
    }
    return JSONResponse(answer)


@router.get("/networks/{network_id}/map/{key}/shares.json")
def shares(opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """OFDM: where most places are served with levels drawn, which follows the map."""
    found, _ = zones_of(opened, maps, key, tries, drawn=True)
    return JSONResponse({"says": shares_said(found)})


@router.get("/networks/{network_id}/map/{key}/so-far.json")
def so_far(maps: MapsDep, key: str) -> Response:
    """Which sites can be shown already, and where, while levels are being computed."""
    found = maps.so_far(key)
    if found is None:  # the last site may have become ready since the page asked how far it is: no fault
        return JSONResponse({"bounds": None, "sites": []})
    south, west, north, east = found.grid.bounds_deg
    return JSONResponse({"bounds": [[south, west], [north, east]], "sites": list(found.look()[2])})


@router.get("/networks/{network_id}/map/{key}/so-far.png")
def so_far_picture(maps: MapsDep, key: str) -> Response:
    """The level of the strongest of the sites that are finished."""
    found = maps.so_far(key)
    if found is None:
        raise RefusedError(404)
    layer, covered, _ = found.look()
    return _picture(png(painted(layer.values, layer.scale, covered=covered)))


@router.get("/networks/{network_id}/map/{key}/so-far.svg")
def so_far_legend(opened: ReadableStatedDep, maps: MapsDep, key: str) -> Response:
    """What its colours mean."""
    found = maps.so_far(key)
    if found is None:
        raise RefusedError(404)
    layer = found.look()[0]
    text = legend(layer.label, layer.scale, names=[], refractivity_n=opened.network.refractivity_n)
    return Response(text, media_type="image/svg+xml")


@router.get("/networks/{network_id}/map/{key}/layer/{name}.png")
def layer(opened: ReadableStatedDep, maps: MapsDep, key: str, name: str, tries: TriesDep) -> Response:
    """One layer as a picture that lies exactly on the map."""
    found, _ = zones_of(opened, maps, key, tries, drawn=name == DRAWN_LAYER)
    wanted = found.layer(name)
    if wanted is None:
        raise RefusedError(404)
    covered = found.coverage.covered.reshape(found.coverage.grid.shape)
    return _picture(png(painted(wanted.values, wanted.scale, covered=covered)))


@router.get("/networks/{network_id}/map/{key}/legend/{name}.svg")
def layer_legend(opened: ReadableStatedDep, maps: MapsDep, key: str, name: str, tries: TriesDep) -> Response:
    """What a layer's colours mean, with units, and kilometres beneath microseconds."""
    found, _ = zones_of(opened, maps, key, tries)
    wanted = found.layer(name)
    if wanted is None:
        raise RefusedError(404)
    names = [site.name for site in opened.network.sites]
    text = legend(wanted.label, wanted.scale, names=names, refractivity_n=opened.network.refractivity_n)
    return Response(text, media_type="image/svg+xml")


@router.get("/networks/{network_id}/map/{key}/shade.png")
def shade(maps: MapsDep, key: str) -> Response:
    """The ground, shaded, beneath the layers."""
    from sfn.report.ground import shaded

    return _picture(png(shaded(_coverage(maps, key))))


@router.get("/networks/{network_id}/map/{key}/ribbon.png")
def pair_ribbon(opened: ReadableStatedDep, maps: MapsDep, key: str, a: str, b: str, tries: TriesDep) -> Response:
    """Where the signals of a pair arrive within the tolerance."""
    found, now = zones_of(opened, maps, key, tries)
    known_pair(found, a, b)
    delay, level = pair_fields(found, now.launches, a, b)
    tolerance = service_of(opened.network).tolerance_us
    return _picture(png(ribbon(delay, level, tolerance_us=tolerance, equal_signal_db=found.counts.equal_signal_db)))


@router.get("/networks/{network_id}/map/{key}/lines.json")
def pair_lines(opened: ReadableStatedDep, maps: MapsDep, key: str, a: str, b: str, tries: TriesDep) -> Response:
    """The equal-delay lines and the equal-signal band of a pair."""
    found, now = zones_of(opened, maps, key, tries)
    known_pair(found, a, b)
    return JSONResponse(lines_document(found, now.launches, ((a, b),)))


@router.post("/networks/{network_id}/map/keep")
def keep(request: Request, opened: ReadableStatedDep, store: StoreDep, form: FormDep) -> Response:
    """Save the offsets that were tried as a new revision."""
    reason = form.get("reason", "").strip() or "offsets tried on the map"
    author = form.get("author", "").strip()
    if not author:
        raise RefusedError(
            422, Problem("author", "a save needs a name", "yours", code="author-missing", fields=("author",))
        )
    base, document = base_of({"base": "", **form}), changed_document(opened.document, form)
    request.session["author"] = author
    if document == opened.document and base == opened.head.revision.number:
        notice(request, "No offset differs from the plan: nothing was saved. Clocks, routes and sites off air are not.")
    else:
        store.save(opened.head.id, document, base_revision=base, author=author, reason=reason)
        notice(request, "Saved as a new revision. The sheets follow it.")
    asked = asked_of(form.get("bounds", ""), form.get("pixel_m", ""), bool(form.get("streets")), form.get("layer", ""))
    return RedirectResponse(_address(opened, asked, WhatIf()), 303)


def _address(opened: Opened, asked: MapAddress, what: WhatIf) -> str:
    """The page's address in its shortest form."""
    layer = "" if asked.layer == "quality_class" else asked.layer
    return addresses.zones(
        opened.head.id,
        bounds=asked.bounds,
        pixel_m=asked.pixel_m,
        streets=asked.streets,
        layer=layer,
        tries=query_of(what),
    )


def _page(
    request: Request,
    opened: Opened,
    asked: MapAddress,
    what: WhatIf,
    *,
    now: Tried | None = None,
    wanted: Wanted | None = None,
    job: Job | None = None,
    maps: Maps | None = None,
    problems: tuple[Problem, ...] = (),
) -> ZonesPage:
    """The page; without `now` and `wanted` the one that says why there is no map."""
    network, query = opened.network, urlencode(query_of(what.against(opened.network)))
    ready = bool(maps and wanted and maps.find(wanted.key))
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
        job=job.view() if job else None,
        ready=ready,
        levels_url="" if ready or job or not wanted else addresses.map_levels(opened.head.id, query),
        by_itself=not from_elsewhere(request.headers),
        smooth=network.terrain is None,
        complaints=complaints_of(request.app.state.store, opened.head.id),
        problems=problems,
        states=tuple(one.name for one in network.today.planned or ()),
    )


def zones_of(opened: Opened, maps: Maps, key: str, what: WhatIf, *, drawn: bool = False) -> tuple[Zones, Tried]:
    """The map with what is tried; `drawn`: with shares of places from drawn levels."""
    computed = coverage_of(opened, maps, key)
    now = tried(opened.network, what, placed=place(opened.network))
    return maps.zones(opened.network, computed, now, key=key, drawn=drawn), now


def _summary(opened: Opened, maps: Maps, key: str, found: Zones, now: Tried) -> MapSummary:
    """The map in numbers, against the plan where something is tried."""
    state = opened.network.state
    alone = WhatIf(state=state.name if state else "")
    planned = zones_of(opened, maps, key, alone)[0] if now.beyond_state else found
    against, said = compared(planned, found), maps.listeners(opened.network, found.coverage.grid).said
    short = in_short(against) if now.beyond_state else ""
    people, others = addresses.people(opened.head.id), addresses.others(opened.head.id)
    return MapSummary(found, against, now.beyond_state, short, said, people, others)


def coverage_of(opened: Opened, maps: Maps, key: str) -> Coverage:
    """Levels that are in memory, of the sites that the network has now."""
    computed = _coverage(maps, key)
    if computed.sites != tuple(site.id for site in opened.network.sites):
        raise RefusedError(
            409, Problem("map", "the network has other sites now", "the page opened again", code="sites-changed-since")
        )
    return computed


def _coverage(maps: Maps, key: str) -> Coverage:
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


def _picture(content: bytes) -> Response:
    """A PNG."""
    return Response(content, media_type="image/png")
