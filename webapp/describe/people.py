"""Who is counted on the map: places of the document, a file that is sent, or the world's list of places."""

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.extent import extent_says
from sfn.geodesy.grid import Grid
from sfn.reception.listeners import RULE, Listeners, world_installed
from sfn.study.people import Beside, Looked
from webapp.config.addresses import Room, to
from webapp.describe.revisions import save_part
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep
from webapp.shell.render import page
from webapp.work.maps import Maps
from webapp.work.people import HeldFile, beside_now, held_files, listeners_of, look_at, take, value_of

router = Room("people")


@dataclass(frozen=True, slots=True)
class PeoplePage(Context):
    """Where the people come from, and files of people."""

    TEMPLATE: ClassVar[str] = "describe/people.html"
    TAB: ClassVar[str] = "people"
    network: NetworkHead
    """Which network, in which revision."""
    chosen: str
    """What the form sends for who is counted."""
    said: str
    """Where the people of the saved revision come from, or why they are not counted."""
    total_people: float | None
    """Of them on the usual map; None where they are not known."""
    frame_says: str
    """How large that map is: what its figures count over; empty where there is none."""
    document_places: int
    """Places that the document holds itself."""
    world: bool
    """Whether the optional list of the world's places is installed."""
    files: tuple[HeldFile, ...]
    """Files that were sent."""
    looked: Looked | None
    """A file that was just sent or is asked for."""
    compared: Beside | None
    """It beside who is counted now; None where nobody is, or it is who is counted."""
    looked_name: str
    """The name under which it is kept; empty where it cannot be used."""
    rule: str
    """How places are spread."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, or with the people in force."""


@router.get("/networks/{network_id}/people")
def show(request: Request, opened: ReadableDep, maps: MapsDep, settings: SettingsDep, file: str = "") -> Response:
    """Who is counted, and what a file holds."""
    grid = _grid(opened, maps, settings.limits.grid_points)
    looked = look_at(maps.terrain_folder, file, grid=grid) if file else None
    return page(request, _page(request, opened, maps, grid, looked=looked, looked_name=file if looked else ""))


@router.post("/networks/{network_id}/people/upload")
def send(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep,
    file: Annotated[UploadFile, File()],
) -> Response:  # fmt: skip
    """Look at a file; keep it when it can be used."""
    grid = _grid(opened, maps, settings.limits.grid_points)
    try:
        name, looked = take(maps.terrain_folder, file.filename or "", file.file, grid=grid)
    except PlanError as refused:
        return page(request, _page(request, opened, maps, grid, problems=refused.problems), status=422)
    if not name:
        return page(request, _page(request, opened, maps, grid, looked=looked), status=422)
    told = {"sent_as": (file.filename or "")[:200]}
    store.audit.add("people file", subject=name, network_id=opened.head.id, body=told)
    return RedirectResponse(to("people.show", opened.head.id, file=name), 303)


@router.post("/networks/{network_id}/people")
def choose(
    request: Request, store: StoreDep, opened: ReadableDep, maps: MapsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Save who is counted."""
    grid = _grid(opened, maps, settings.limits.grid_points)

    def changed(document: dict[str, Any]) -> dict[str, Any]:
        """The document with who is chosen."""
        now = document.pop("listeners", None)
        chosen = listeners_of(form.get("listeners", value_of(now)), now, folder=maps.terrain_folder)
        return document | ({} if chosen is None else {"listeners": chosen})

    return save_part(
        request, store, opened.head.id, form, changed, then=to("people.show", opened.head.id),
        refused=lambda problems: page(
            request, _page(request, opened, maps, grid, form=form, problems=problems), status=422
        ),
    )  # fmt: skip


def _grid(opened: Opened, maps: Maps, most: int) -> Grid | None:
    """The usual map's pixels; None where the network has no map."""
    try:
        return maps.wanted(opened.network, bounds=None, pixel_m=None, most=most).grid
    except PlanError:
        return None  # the map's own page says why there is none


def _page(
    request: Request,
    opened: Opened,
    maps: Maps,
    grid: Grid | None,
    *,
    looked: Looked | None = None,
    looked_name: str = "",
    form: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> PeoplePage:
    """The page, with what a form sent as it was typed."""
    sent, heard = form or {}, Listeners(None, "the network has no map to count on")
    if grid is not None:
        try:
            heard = maps.listeners(opened.network, grid)
        except PlanError as refused:
            problems += refused.problems
            heard = Listeners(None, "people are not counted: their source cannot be used")
    in_force = opened.document.get("listeners")
    return PeoplePage(
        network=opened.head,
        chosen=sent.get("listeners", looked_name or value_of(in_force)),
        said=heard.said,
        total_people=heard.total_people,
        frame_says="" if grid is None else extent_says(grid.bounds_deg),
        document_places=len((in_force or {}).get("places", ())),
        world=world_installed(),
        files=held_files(maps.terrain_folder),
        looked=looked,
        compared=None
        if value_of(in_force) == looked_name
        else beside_now(maps.terrain_folder, looked_name, heard, grid=grid),
        looked_name=looked_name,
        rule=RULE,
        author=sent.get("author", str(request.session.get("author", ""))),
        reason=sent.get("reason", ""),
        problems=problems,
    )
