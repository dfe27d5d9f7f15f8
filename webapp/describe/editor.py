"""The one address that takes every form of the editing pages."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from fastapi import Request
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
from webapp.standing.told import doubts_of_save
from webapp.store.store import ConflictError, Revision

router = Room("editor")
Show = Callable[..., Response]


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
    if verb in VERBS:
        made, across_km = looked(draft.document, index, form)
        return _shown(request, replace(draft.with_document(made), across_km=across_km), view, index)
    if verb == "go":
        view, _, at = place.partition(" ")
        index = _index(at or str(index))
        if not draft.changed and not draft.deleted:
            return RedirectResponse(_address(network_id, view, index, draft.document), 303)
        return _shown(request, draft, view, index)
    draft = draft.with_document(act(draft.document, form["do"]))
    if form["do"] == "add sites" or verb == "add-like":
        view, index = "site", len(draft.document["sites"]) - 1
    return _shown(request, draft, view, index)


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
