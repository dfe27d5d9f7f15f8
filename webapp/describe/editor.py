"""The one address that takes every form of the editing pages."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Annotated, Any

from fastapi import Path, Query, Request
from fastapi.responses import RedirectResponse, Response

from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId, whole_number
from webapp.describe import chain, document, network, off_air, site
from webapp.describe.looked import VERBS, looked
from webapp.describe.revisions import conflict_page
from webapp.forms.places import path_of
from webapp.forms.structure import act
from webapp.shell.dependencies import FormDep, StoreDep
from webapp.shell.render import anchor, notice
from webapp.standing.editing import Draft, asks, save, saved_says, typed
from webapp.standing.steps import draft_of, kept, redone, undone
from webapp.standing.told import doubts_of_save
from webapp.store.drafts import DAYS_KEPT
from webapp.store.store import ConflictError, Revision, Store

router = Room("editor")
Show = Callable[..., Response]
Step = Annotated[str, Path(max_length=40)]
View = Annotated[str, Query(max_length=20)]
Index = Annotated[int, Query(ge=0, le=10_000)]


@router.post("/networks/{network_id}/edit")
def change(request: Request, store: StoreDep, network_id: NetworkId, form: FormDep) -> Response:
    """Save what was typed, or do what the pressed button says and show the draft again."""
    draft = typed(store, network_id, form)
    view, index = form.get("view", "network"), _index(form.get("index", "0"))
    verb, _, place = form.get("do", "save").partition(" ")
    if verb == "revive":
        store.undelete(network_id)
    if verb in ("save", "revive"):
        try:
            outcome = save(request, store, draft)
        except ConflictError as conflict:
            return conflict_page(request, conflict, form)
        if isinstance(outcome, Revision):
            notice(request, f"{saved_says(outcome, draft)} {getattr(request.state, 'told', '')}".strip())
            if not asks(request):
                request.state.problems = doubts_of_save(store, network_id, draft.document)
            return RedirectResponse(_address(network_id, view, index, draft.document), 303)
        return _shown(request, outcome, *_asked(outcome, view, index), status=422)
    if draft.text is not None:
        return _shown(request, draft, "document", index, status=422)
    at_page = asks(request) and "x-part" not in request.headers
    if verb in ("undo", "redo"):
        key = undone(store, draft) if verb == "undo" else redone(store, draft)
        saved = _address(network_id, view, index, draft.base.document)
        return RedirectResponse(to("editor.show", network_id, key, view=view, index=index) if key else saved, 303)
    if verb in VERBS:
        made, across_km = looked(draft.document, index, form)
        return _shown(request, replace(draft.with_document(made), across_km=across_km), view, index)
    if verb == "go":
        view, _, at = place.partition(" ")
        index = _index(at or str(index))
        if not draft.changed and not draft.deleted:
            return RedirectResponse(_address(network_id, view, index, draft.document), 303)
        return _stepped(request, store, draft, view, index) if at_page else _shown(request, draft, view, index)
    known = len(draft.document.get("stages") or ())
    draft = draft.with_document(act(draft.document, form["do"]))
    if form["do"] == "add sites" or verb == "add-like":
        view, index, place = "site", len(draft.document["sites"]) - 1, ""
    elif len(draft.document.get("stages") or ()) > known:
        place = f"stages-{known}"  # the new stage, to be filled in
    return _stepped(request, store, draft, view, index, place) if at_page else _shown(request, draft, view, index)


@router.get("/networks/{network_id}/edit/{key}")
def show(
    request: Request, store: StoreDep, network_id: NetworkId, key: Step, view: View = "network", index: Index = 0
) -> Response:
    """A draft at its address: after Back, from a bookmark, undone or redone."""
    step = store.drafts.read(network_id, key)
    if step is None:
        store.read(network_id)  # a network that is not there is said by itself
        notice(request, f"That draft is no longer kept ({DAYS_KEPT} days at most); here is what is saved.")
        return RedirectResponse(to("network.show", network_id), 303)
    if damaged_n := store.drafts.damaged_n(network_id):
        steps = "1 kept step is" if damaged_n == 1 else f"{damaged_n} kept steps are"
        notice(request, f"{steps} damaged in the database: Undo and Redo may end early. This one is whole.")
    return _shown(request, draft_of(store, step), view, index)


@router.get("/networks/{network_id}/edit")
def begin(store: StoreDep, network_id: NetworkId, view: View = "network", index: Index = 0) -> Response:
    """Where forms are sent to, as an address: what is saved."""
    return RedirectResponse(_address(network_id, view, index, store.read(network_id).document), 303)


def _stepped(request: Request, store: Store, draft: Draft, view: str, index: int, place: str = "") -> Response:
    """The draft at an address of its own."""
    if draft.deleted:
        return _shown(request, draft, view, index)
    here = place if re.fullmatch(r"(sites|stages)(-[A-Za-z0-9_]+)+", place) else ""
    number = draft.base.revision.network_id
    return RedirectResponse(to("editor.show", number, kept(store, draft), view=view, index=index, fragment=here), 303)


def _asked(draft: Draft, view: str, index: int) -> tuple[str, int]:
    """The page of the first site whose position is to be confirmed, where that alone keeps a draft from being saved."""
    waiting = next((p for p in draft.problems if p.code == "position-unconfirmed"), None)
    path = path_of(anchor(waiting.where)) if waiting else ()
    return ("site", int(path[1])) if len(path) > 1 else (view, index)


VIEWS: Mapping[str, Show] = {
    "network": network.shown,
    "site": site.shown,
    "chain": chain.shown,
    "off-air": off_air.shown,
    "document": document.shown,
}
"""The editing pages by name."""


def _shown(request: Request, draft: Draft, view: str, index: int, *, status: int = 200) -> Response:
    """One of the editing pages; the network's, where there is no such view or no such site."""
    sites = draft.document.get("sites") or ()
    if view in ("site", "chain") and index < len(sites) and draft.text is None:
        return VIEWS[view](request, draft, index, status=status)
    if view == "off-air" and draft.text is None:
        return VIEWS[view](request, draft, status=status)
    name = "document" if draft.text is not None or view == "document" else "network"
    return VIEWS[name](request, draft, status=status)


def _address(network_id: int, view: str, index: int, document: Mapping[str, Any]) -> str:
    """Where a saved view is found again."""
    sites = document.get("sites") or ()
    if view in ("site", "chain") and index < len(sites):
        return to("site.show" if view == "site" else "chain.show", network_id, sites[index]["id"])
    whole = {"document": "document.show", "off-air": "off_air.show"}
    return to(whole.get(view, "network.show"), network_id)


def _index(text: str) -> int:
    return whole_number(text) or 0
