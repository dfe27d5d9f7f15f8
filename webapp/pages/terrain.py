"""The network's terrain: choose one, send files, take its ground heights."""

import copy
from typing import Annotated, Any

from fastapi import APIRouter, File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.check.heights import height_problems, offered_heights
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from webapp import addresses
from webapp.contexts.terrain import HeightLine, TerrainPage
from webapp.dependencies import FormDep, MapsDep, NetworkDep, Opened, StoreDep
from webapp.editing import Draft, save, typed
from webapp.maps import Maps
from webapp.pages.revisions import conflict_page
from webapp.problems import RefusedError
from webapp.render import notice, page
from webapp.store import ConflictError, Revision
from webapp.terrains import source_of, take_files, value_of

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/terrain")
def show(request: Request, opened: NetworkDep, maps: MapsDep) -> Response:
    """The terrain in force and those on offer."""
    return _shown(request, opened, maps)


@router.post("/networks/{network_id}/terrain")
def choose(request: Request, store: StoreDep, opened: NetworkDep, maps: MapsDep, form: FormDep) -> Response:
    """Save another terrain, and the terrain's height at the sites that are ticked."""
    try:
        draft = typed(store, opened.head.id, {key: form.get(key, "") for key in ("base_revision", "author", "reason")})
        document = _changed(draft.document, form)
        outcome = save(request, store, draft.with_document(document))
    except PlanError as refused:
        return _shown(request, opened, maps, refused.problems)
    except ConflictError as conflict:
        return conflict_page(request, conflict, form)
    if isinstance(outcome, Draft):
        return _shown(request, opened, maps, outcome.problems)
    notice(request, _told(outcome, draft))
    return RedirectResponse(addresses.terrain(opened.head.id), 303)


@router.post("/networks/{network_id}/terrain/upload")
def take(
    request: Request, opened: NetworkDep, maps: MapsDep, form: FormDep, files: Annotated[list[UploadFile], File()]
) -> Response:
    """Take terrain files into a folder of their own."""
    name = form.get("name", "").strip()
    try:
        count = take_files(maps.terrain_folder, name, [(f.filename or "", f.file) for f in files if f.filename])
    except PlanError as refused:
        return _shown(request, opened, maps, refused.problems)
    notice(request, f"{count} terrain files lie in {name}. Choose it below to stand the network on it.")
    return RedirectResponse(addresses.terrain(opened.head.id), 303)


def _changed(document: dict[str, Any], form: dict[str, str]) -> dict[str, Any]:
    """The document with the terrain and the heights that the form names."""
    made = copy.deepcopy(document)
    source = source_of(form.get("terrain", value_of(document.get("terrain"))))
    made.pop("terrain", None)
    if source is not None:
        made["terrain"] = source
    for site in made["sites"]:
        height = form.get(f"height-{site['id']}", "")
        if height:
            try:
                site["ground_m"] = float(height)
            except ValueError:
                raise RefusedError(422, Problem("ground_m", f"cannot be {height!r}", "a number of metres")) from None
    return made


def _told(outcome: Revision, draft: Draft) -> str:
    """What was done."""
    return "Nothing was changed." if outcome == draft.base.revision else f"Saved as revision {outcome.number}."


def _shown(request: Request, opened: Opened, maps: Maps, problems: tuple[Problem, ...] = ()) -> Response:
    """The page."""
    heights: tuple[HeightLine, ...] = ()
    wrong = problems
    try:
        heights = _heights(opened, maps)
    except PlanError as refused:
        wrong += refused.problems
    chosen = value_of(opened.document.get("terrain"))
    context = TerrainPage(opened.head, chosen, maps.terrains(), heights, wrong)
    return page(request, context, status=422 if problems else 200)


def _heights(opened: Opened, maps: Maps) -> tuple[HeightLine, ...]:
    """Typed heights beside the terrain's."""
    terrain, placed = maps.ground(opened.network).terrain, place(opened.network)
    if terrain is None:
        return ()
    offered = offered_heights(terrain, placed)
    questioned = {problem.where for problem in height_problems(opened.network, placed, terrain)}
    return tuple(
        HeightLine(s.id, s.name, s.ground_m, offered[s.id], f"sites[{n}].ground_m" in questioned)
        for n, s in enumerate(opened.network.sites)
    )
