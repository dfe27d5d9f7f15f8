"""Broadcast services: the shipped ones with their sources, and a file of the user's own beside them."""

import hashlib
from dataclasses import dataclass, replace
from importlib.resources import files as package_files
from pathlib import Path
from typing import Annotated, ClassVar

from fastapi import Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.systems.find_service import Found, find_services
from sfn.systems.mode_table import parse, shipped, text_of_own
from sfn.systems.service import Service, services
from webapp.config.addresses import Room, to
from webapp.config.settings import SERVICES_FILE
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, SettingsDep, StoreDep, UploadsDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.work.measurements import text_of

router = Room("services")
Words = Annotated[str, Query(max_length=200)]


@dataclass(frozen=True, slots=True)
class ServicesPage(Context):
    """Every service by family, and the user's own file."""

    TEMPLATE: ClassVar[str] = "front/services.html"
    families: tuple[tuple[str, Service, int], ...]
    """Of each family its name, its first service, and how many services it has."""
    found: tuple[Found, ...]
    """Services that the words were found in; without words the usual modes."""
    words: str
    """What was looked for."""
    own: str
    """The user's own file as text; empty without one."""
    typed: str
    """What was typed or sent last."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""


@router.get("/services")
def show(request: Request, settings: SettingsDep, q: Words = "") -> Response:
    """Services by the words that were typed, every family with its source, and the user's own file."""
    mine = _own(settings.data_folder)
    return page(request, _page(mine, mine, words=q.strip()))


@router.get("/services/found.json")
def found(store: StoreDep, q: Words = "") -> Response:
    """Services by the words that are typed, for the list under a field."""
    services_found = [
        {"id": one.service.id, "name": one.service.name, "says": one.says, "usual_in": one.usual_in}
        for one in _found(q, store.own_services())
    ]
    return JSONResponse({"services": services_found})


@router.post("/services/upload")
def keep(request: Request, store: StoreDep, settings: SettingsDep, form: FormDep, files: UploadsDep) -> Response:
    """Use a file of one's own, or none when it is empty."""
    if "text" not in form and not files.get("file"):
        what, expected = "is missing", "the file, or its text; an empty text takes your own services away"
        raise RefusedError(422, Problem("text", what, expected, code="field-missing", fields=("text", "file")))
    typed = form.get("text", "")
    place = settings.data_folder / SERVICES_FILE
    try:
        for file in files.get("file", ()):
            typed = text_of(file)
        if typed.strip():
            parse(typed, above=shipped().service)
            settings.data_folder.mkdir(parents=True, exist_ok=True)
            part = place.with_suffix(".part")
            part.write_text(typed, encoding="utf-8")
            part.replace(place)
        else:
            place.unlink(missing_ok=True)
    except PlanError as error:
        problems = tuple(replace(p, where=f"{SERVICES_FILE} {p.where}".strip()) for p in error.problems)
        return page(request, _page(_own(settings.data_folder), typed, problems), status=422)
    told = {"characters": len(typed.strip()), "sha256": hashlib.sha256(typed.encode()).hexdigest()}
    store.audit.add("own services" if typed.strip() else "own services taken away", subject=SERVICES_FILE, body=told)
    notice(request, "Your services are in use." if typed.strip() else "Only the shipped services are in use.")
    return RedirectResponse(to("services.show"), 303)


@router.get("/services/shipped.toml")
def shipped_file() -> Response:
    """The shipped file, to be learned from."""
    text = package_files("sfn.systems").joinpath("modes.toml").read_text(encoding="utf-8")
    named = {"Content-Disposition": 'attachment; filename="shipped-services.toml"'}
    return Response(text, media_type="application/toml; charset=utf-8", headers=named)


def _own(folder: Path) -> str:
    """The user's file as text; empty without one."""
    place = folder / SERVICES_FILE
    return text_of_own(place) if place.is_file() else ""


def _found(words: str, own: str) -> tuple[Found, ...]:
    """What the words find; among the shipped ones alone while the user's own file cannot be read: the page says so."""
    try:
        return find_services(words, own_services=own)
    except PlanError:
        return find_services(words)


def _page(own: str, typed: str, problems: tuple[Problem, ...] = (), words: str = "") -> ServicesPage:
    """The page."""
    try:
        known = services(own_services=own)
    except PlanError as error:  # changed by hand into something else
        known, problems = services(), problems or error.problems
    first = {one.family: one for one in reversed(known)}
    count = {family: sum(one.family == family for one in known) for family in first}
    families = tuple((family, first[family], count[family]) for family in dict.fromkeys(one.family for one in known))
    return ServicesPage(families, _found(words, own), words, own=own, typed=typed, problems=problems)
