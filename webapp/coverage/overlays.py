"""Lines and places of one's own over the map, and coast, borders and roads where `country` brought them."""

from dataclasses import asdict
from typing import Literal

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.errors import Problem
from sfn.study.overlay import read_overlay
from webapp.config.addresses import Room, to
from webapp.config.limits import OverlayId
from webapp.coverage.map_address import asked_by
from webapp.shell.dependencies import FormDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep, UploadsDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice
from webapp.standing.overlaid import country_shapes, overlay_choices, places_shapes, usual_area
from webapp.work.measurements import safe_name

router = Room("overlays")
LONGEST_NAME, LONGEST_ATTRIBUTION = 80, 200


@router.post("/networks/{network_id}/map/overlays/upload")
def add(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, form: FormDep,
    files: UploadsDep,
) -> Response:  # fmt: skip
    """Keep the lines and places of a file, clipped to the network's area and simplified."""
    if not files.get("file"):
        raise RefusedError(
            422, Problem("file", "none was chosen", "a file of lines or places", code="file-missing", fields=("file",))
        )
    chosen = files["file"][0]
    name = _typed(form, "name", LONGEST_NAME) or safe_name(chosen.filename or "overlay")[:LONGEST_NAME]
    attribution = _typed(form, "attribution", LONGEST_ATTRIBUTION)
    made = read_overlay(chosen.file.read(), bounds_deg=usual_area(maps, settings, opened.network))
    store.overlays.add(opened.head.id, name=name, attribution=attribution, document=made.document, says=made.says)
    notice(request, f"{name} lies over the map. {' '.join(made.says)}")
    return RedirectResponse(_back(opened, form), 303)


def _typed(form: dict[str, str], field: str, longest: int) -> str:
    """A line as it was typed; refused where it is longer than is kept."""
    typed = form.get(field, "").strip()
    if len(typed) > longest:
        what = f"is {len(typed)} characters long"
        raise RefusedError(422, Problem(field, what, f"at most {longest}", code="text-too-long", fields=(field,)))
    return typed


@router.post("/networks/{network_id}/map/overlays/{overlay_id}/delete")
def drop(request: Request, opened: ReadableDep, store: StoreDep, form: FormDep, overlay_id: OverlayId) -> Response:
    """Delete one; the file it came from is nobody's of ours."""
    if not store.overlays.drop(opened.head.id, overlay_id):
        raise RefusedError(404)
    notice(request, "The overlay is deleted.")
    return RedirectResponse(_back(opened, form), 303)


@router.get("/networks/{network_id}/map/overlays.json")
def choices(opened: ReadableDep, store: StoreDep, settings: SettingsDep) -> Response:
    """What may lie over the maps of a network: key, label, whose data, where its shapes are, whether it is usual."""
    return JSONResponse(
        {"overlays": [asdict(one) for one in overlay_choices(store, settings, opened.head.id, opened.network)]}
    )


@router.get("/networks/{network_id}/map/overlays/{overlay_id}.json")
def shapes(opened: ReadableDep, store: StoreDep, overlay_id: OverlayId) -> Response:
    """The shapes of one as GeoJSON."""
    found = store.overlays.document(opened.head.id, overlay_id)
    if found is None:
        raise RefusedError(404)
    return Response(found, media_type="application/geo+json")


@router.get("/networks/{network_id}/map/country/{key}.json")
def country(
    opened: ReadableDep,
    maps: MapsDep,
    settings: SettingsDep,
    key: Literal["coast", "borders", "roads", "names", "places"],
) -> Response:
    """Coast, borders, roads or names that were fetched, in the network's area, or places where people are counted."""
    found = (
        places_shapes(maps, settings, opened.network)
        if key == "places"
        else country_shapes(maps, settings, opened.network, key)
    )
    if found is None:
        raise RefusedError(404)
    return JSONResponse(found)


def _back(opened: Opened, form: dict[str, str]) -> str:
    """The map as it stood, with its overlays beside it."""
    asked = asked_by(form)
    layer = "" if asked.layer == "quality_class" else asked.layer
    stands = [(name, value) for name, value in asked.stands if value and name != "panel"]
    return to("zones.show", opened.head.id, layer=layer, panel="overlays", query=stands)
