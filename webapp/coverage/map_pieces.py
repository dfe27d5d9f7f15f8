"""Pieces of the overlap map that its page asks for: layers and legends, the map so far, shade, ribbons, lines."""

from fastapi.responses import JSONResponse, Response

from sfn.answer.zones import lines_document
from sfn.report.colours import painted
from sfn.report.legend import legend
from sfn.report.maps import png
from sfn.report.wavefronts import ribbon
from sfn.study.zones import pair_fields
from sfn.systems.of_network import service_of
from webapp.config.addresses import Room
from webapp.coverage.zones import DRAWN_LAYER, computed_coverage, known_pair, zones_of
from webapp.shell.dependencies import MapsDep, ReadableDep, ReadableStatedDep, SettingsDep
from webapp.shell.problems import RefusedError
from webapp.standing.tries import (
    TriesDep,
)

router = Room("zones")


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
def layer(
    opened: ReadableStatedDep, maps: MapsDep, key: str, name: str, tries: TriesDep, drawn: bool = False
) -> Response:
    """One layer as a picture that lies exactly on the map; `drawn`: by drawn shares, which take seconds."""
    found, _ = zones_of(opened, maps, key, tries, drawn=drawn or name == DRAWN_LAYER)
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

    return _picture(png(shaded(computed_coverage(maps, key))))


@router.get("/networks/{network_id}/map/ground.png")
def ground(opened: ReadableDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """The terrain under the usual map, shaded, before any level is computed."""
    from sfn.report.ground import usual_shade

    found = maps.ground_if_open(opened.network)
    if found is None or found.terrain is None:
        raise RefusedError(404)
    terrain = found.terrain
    wanted = maps.wanted(opened.network, bounds=None, pixel_m=None, most=settings.limits.grid_points)
    made = maps.worked_out(f"shade {wanted.key}", opened.network, lambda: usual_shade(terrain, wanted.grid))
    if made is None:
        raise RefusedError(404)
    return _picture(png(made))


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


def _picture(content: bytes) -> Response:
    """A PNG."""
    return Response(content, media_type="image/png")
