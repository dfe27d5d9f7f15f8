"""The first screen: networks, demos to load, a document to import, an empty network; and deleted ones."""

import json
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError
from sfn.plan.demos import demo_files
from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId
from webapp.front import lacking
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, MapsDep, PersonDep, StoreDep
from webapp.shell.problems import RefusedError, wants_json
from webapp.shell.render import notice, page
from webapp.shell.windows import Shown, Sought, Window, has_words, window
from webapp.store.documents import parsed
from webapp.store.store import Summary

router = Room("networks")
MOST_ROWS_N = 100


@dataclass(frozen=True, slots=True)
class Demo:
    """A demo network on offer."""

    key: str
    name: str
    notes: str
    sites: int


@dataclass(frozen=True, slots=True)
class NetworksPage(Context):
    """The first screen."""

    TEMPLATE: ClassVar[str] = "front/networks.html"
    networks: tuple[Summary, ...]
    """The last saved first; of those that are looked for where something is."""
    rows: Window[Summary]
    """Those of them that stand here."""
    find: str
    """What is looked for."""
    demos: tuple[Demo, ...]
    """Demo networks that can be loaded."""
    documents_damaged: frozenset[int]
    """Of those that stand here, the numbers of the networks whose newest document is not what was saved."""


@dataclass(frozen=True, slots=True)
class DeletedPage(Context):
    """Deleted networks."""

    TEMPLATE: ClassVar[str] = "front/deleted.html"
    networks: tuple[Summary, ...]
    """Each can be brought back."""
    rows: Window[Summary]
    """Those of them that stand here."""


@router.get("/")
def show(request: Request, store: StoreDep, find: Sought = "", networks: Shown = "") -> Response:
    """The list of networks, or of those that are looked for; and the ways to a new one."""
    found = tuple(one for one in store.summaries() if has_words(find, one.name, one.service, one.author))
    rows = window(found, networks, most=MOST_ROWS_N)
    return page(request, NetworksPage(found, rows, find, demos(), store.documents_damaged(rows.rows)))


@router.post("/networks/demo/{key}")
def load_demo(person: PersonDep, store: StoreDep, key: str) -> Response:
    """A network of one's own from a demo."""
    for file in demo_files():
        if file.stem == key:
            document = parsed(file.read_bytes(), source=file.name)
            made = store.create(document, author=person.name or "demo", reason=f"demo network {key}")
            return RedirectResponse(to("network.show", made.network_id), 303)
    raise RefusedError(404)


@router.post("/networks/import")
def take_in(
    request: Request, store: StoreDep, maps: MapsDep, form: FormDep, file: Annotated[UploadFile, File()]
) -> Response:
    """A network from a document; one whose sites lack their ground alone is asked for it on a page of its own."""
    source, content = file.filename or "the document", file.file.read()
    author = form.get("author", "").strip() or "unnamed"
    try:
        document = parsed(content, source=source)
    except PlanError as refused:
        held = None if wants_json(request) else lacking.held_in(content, refused, store.own_services())
        if held is None:
            raise
        return lacking.shown(request, maps, held, source=source, author=author, problems=refused.problems, status=422)
    made = store.create(document, author=author, reason=f"imported from {source}")
    return RedirectResponse(to("network.show", made.network_id), 303)


@router.get("/deleted")
def deleted(request: Request, store: StoreDep, networks: Shown = "") -> Response:
    """Deleted networks."""
    found = store.summaries(deleted=True)
    return page(request, DeletedPage(found, window(found, networks, most=MOST_ROWS_N)))


@router.post("/networks/{network_id}/delete")
def delete(request: Request, store: StoreDep, network_id: NetworkId) -> Response:
    """Take a network off the list."""
    store.delete(network_id)
    notice(request, "The network is deleted. It can be brought back from the list of deleted networks.")
    return RedirectResponse(to("networks.show"), 303)


@router.post("/networks/{network_id}/undelete")
def undelete(request: Request, store: StoreDep, network_id: NetworkId) -> Response:
    """Bring a deleted network back."""
    store.undelete(network_id)
    notice(request, "The network is back.")
    return RedirectResponse(to("network.show", network_id), 303)


def demos() -> tuple[Demo, ...]:
    """The demo networks, as the first screen offers them."""
    found = []
    for file in demo_files():
        document = json.loads(file.read_text(encoding="utf-8"))
        found.append(Demo(file.stem, document["name"], str(document.get("notes", "")), len(document["sites"])))
    return tuple(found)
