"""The overlap map: levels computed once in a job, layers drawn from them at every change."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.answer.compared import compared
from sfn.answer.what_if import Tried, WhatIf, tried
from sfn.answer.zones import Zones, lines_document, neighbours, pair_fields, zones
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from sfn.reception.coverage import Coverage
from sfn.report.colours import painted, site_colours
from sfn.report.legend import legend
from sfn.report.maps import png
from sfn.report.wavefronts import ribbon
from sfn.systems.service import service
from webapp import addresses
from webapp.contexts.zones import MapSummary, ZonesPage
from webapp.dependencies import FormDep, MapsDep, NetworkDep, Opened, SettingsDep, StoreDep
from webapp.maps import Maps
from webapp.problems import RefusedError
from webapp.render import html, notice, page
from webapp.tries import TriesDep, area_of, changed_document

router = APIRouter(include_in_schema=False)
STREETS = "https://tile.openstreetmap.org"


@router.get("/networks/{network_id}/map")
def show(
    request: Request,
    opened: NetworkDep,
    maps: MapsDep,
    settings: SettingsDep,
    bounds: str = "",
    pixel_m: str = "",
    streets: bool = False,
) -> Response:
    """The map; starts computing its levels when they are not there."""
    network = opened.network
    smooth = network.terrain is None
    try:
        area, pixel = area_of(bounds, pixel_m)
        wanted = maps.wanted(network, bounds=area, pixel_m=pixel, most=settings.limits.grid_points)
        url = addresses.zones(opened.head.id, bounds=bounds, pixel_m=pixel_m)
        job = maps.start(network, wanted, result_url=url)
    except PlanError as error:
        context = ZonesPage(opened.head, network.sites, "", "", 0.0, None, False, False, smooth, error.problems)
        return page(request, context, status=422)
    if streets:
        request.state.image_origins = (STREETS,)
    view = job.view() if job else None
    ready = maps.find(wanted.key) is not None
    context = ZonesPage(
        opened.head, network.sites, wanted.key, bounds, wanted.grid.pixel_m, view, ready, streets, smooth, ()
    )
    return page(request, context)


@router.get("/networks/{network_id}/map/{key}/view.json")
def view(request: Request, opened: NetworkDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """What the map is made of: bounds, layers with legends, sites, pairs, the summary as a piece of the page."""
    found, now = _zones(opened, maps, key, tries)
    south, west, north, east = found.coverage.grid.bounds_deg
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
        "summary": html(request, _summary(opened, maps, key, tries, found)),
    }
    return JSONResponse(answer)


@router.get("/networks/{network_id}/map/{key}/so-far.json")
def so_far(maps: MapsDep, key: str) -> Response:
    """Which sites can be shown already, and where, while levels are being computed."""
    found = maps.so_far(key)
    if found is None:
        raise RefusedError(404)
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
def so_far_legend(opened: NetworkDep, maps: MapsDep, key: str) -> Response:
    """What its colours mean."""
    found = maps.so_far(key)
    if found is None:
        raise RefusedError(404)
    layer = found.look()[0]
    text = legend(layer.label, layer.scale, names=[], refractivity_n=opened.network.refractivity_n)
    return Response(text, media_type="image/svg+xml")


@router.get("/networks/{network_id}/map/{key}/layer/{name}.png")
def layer(opened: NetworkDep, maps: MapsDep, key: str, name: str, tries: TriesDep) -> Response:
    """One layer as a picture that lies exactly on the map."""
    found, _ = _zones(opened, maps, key, tries)
    wanted = found.layer(name)
    if wanted is None:
        raise RefusedError(404)
    covered = found.coverage.covered.reshape(found.coverage.grid.shape)
    return _picture(png(painted(wanted.values, wanted.scale, covered=covered)))


@router.get("/networks/{network_id}/map/{key}/legend/{name}.svg")
def layer_legend(opened: NetworkDep, maps: MapsDep, key: str, name: str, tries: TriesDep) -> Response:
    """What a layer's colours mean, with units, and kilometres beneath microseconds."""
    found, _ = _zones(opened, maps, key, tries)
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
def pair_ribbon(opened: NetworkDep, maps: MapsDep, key: str, a: str, b: str, tries: TriesDep) -> Response:
    """Where the signals of a pair arrive within the tolerance."""
    found, now = _zones(opened, maps, key, tries)
    _known_pair(found, a, b)
    delay, level = pair_fields(found.coverage, now.launches, a, b)
    tolerance = service(opened.network.service).tolerance_us
    return _picture(png(ribbon(delay, level, tolerance_us=tolerance, equal_signal_db=found.counts.equal_signal_db)))


@router.get("/networks/{network_id}/map/{key}/lines.json")
def pair_lines(opened: NetworkDep, maps: MapsDep, key: str, a: str, b: str, tries: TriesDep) -> Response:
    """The equal-delay lines and the equal-signal band of a pair."""
    found, now = _zones(opened, maps, key, tries)
    _known_pair(found, a, b)
    return JSONResponse(lines_document(found, now.launches, ((a, b),)))


@router.post("/networks/{network_id}/map/keep")
def keep(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Save the offsets that were tried as a new revision."""
    reason = form.get("reason", "").strip() or "offsets tried on the map"
    author = form.get("author", "").strip()
    if not author:
        raise RefusedError(422, Problem("author", "a save needs a name", "yours"))
    document = changed_document(opened.document, form)
    store.save(opened.head.id, document, base_revision=int(form.get("base", "0")), author=author, reason=reason)
    request.session["author"] = author
    notice(request, "Saved as a new revision. The sheets follow it.")
    return RedirectResponse(addresses.zones(opened.head.id), 303)


def _zones(opened: Opened, maps: Maps, key: str, tries: WhatIf) -> tuple[Zones, Tried]:
    """The map with what is tried."""
    computed = coverage_of(opened, maps, key)
    now = tried(opened.network, tries, placed=place(opened.network))
    people = maps.listeners(opened.network, computed.grid).people
    return zones(now.network, computed, now.launches, people=people, executor=maps.executor), now


def _summary(opened: Opened, maps: Maps, key: str, tries: WhatIf, found: Zones) -> MapSummary:
    """The map in numbers, against the plan where something is tried."""
    is_tried = tries != WhatIf()
    planned = _zones(opened, maps, key, WhatIf())[0] if is_tried else found
    said = maps.listeners(opened.network, found.coverage.grid).said
    return MapSummary(found, compared(planned, found), is_tried, said)


def coverage_of(opened: Opened, maps: Maps, key: str) -> Coverage:
    """Levels that are in memory, of the sites that the network has now."""
    computed = _coverage(maps, key)
    if computed.sites != tuple(site.id for site in opened.network.sites):
        raise RefusedError(409, Problem("map", "the network has other sites now", "the page opened again"))
    return computed


def _coverage(maps: Maps, key: str) -> Coverage:
    """Levels that are in memory."""
    found = maps.find(key)
    if found is None:
        raise RefusedError(404, Problem("map", "these levels are no longer in memory", "the page opened again"))
    return found


def _known_pair(found: Zones, a: str, b: str) -> None:
    """Both sites exist and differ."""
    if a == b or not {a, b} <= set(found.coverage.sites):
        raise RefusedError(404)


def _picture(content: bytes) -> Response:
    """A PNG."""
    return Response(content, media_type="image/png")
