"""What the editing pages share: the form's hidden part, the choices, the one address that takes every form."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.timeline import Present, present_fields
from sfn.errors import Problem
from webapp import addresses
from webapp.contexts.network import Advice, Editor
from webapp.dependencies import FormDep, StoreDep
from webapp.editing import Draft, asks, save, typed
from webapp.forms.fields import Group, Sheet
from webapp.forms.places import path_of
from webapp.forms.structure import act
from webapp.limits import NetworkId, whole_number
from webapp.pages.revisions import conflict_page
from webapp.render import anchor, notice
from webapp.store import ConflictError, Revision, Store
from webapp.timeline import standing
from webapp.told import doubts_of_save

router = APIRouter(include_in_schema=False)
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
            told = "Nothing was changed." if outcome == draft.base.revision else f"Saved as revision {outcome.number}."
            notice(request, f"{told} {getattr(request.state, 'told', '')}".strip())
            if not asks(request):
                request.state.problems = doubts_of_save(store, network_id, draft.document)
            return RedirectResponse(_address(network_id, view, index, draft.document), 303)
        return _shown(request, outcome, *_asked(outcome, view, index), status=422)
    if draft.text is not None:
        return _shown(request, draft, "document", index, status=422)
    if verb == "look":
        return _shown(request, draft, view, index)
    if verb == "go":
        view, _, at = place.partition(" ")
        index = _index(at or str(index))
        if not draft.changed and not draft.deleted:
            return RedirectResponse(_address(network_id, view, index, draft.document), 303)
        return _shown(request, draft, view, index)
    draft = draft.with_document(act(draft.document, form["do"]))
    if form["do"] == "add sites":
        view, index = "site", len(draft.document["sites"]) - 1
    return _shown(request, draft, view, index)


def _asked(draft: Draft, view: str, index: int) -> tuple[str, int]:
    """The page of the first site whose position is to be confirmed, where that alone keeps a draft from being saved."""
    waiting = next((p for p in draft.problems if p.code == "position-unconfirmed"), None)
    path = path_of(anchor(waiting.where)) if waiting else ()
    return ("site", int(path[1])) if len(path) > 1 else (view, index)


def sheet(draft: Draft) -> Sheet:
    """The draft's document with its problems and the choices among its sites and stages."""
    sites = tuple((str(s.get("id", "")), str(s.get("name") or s.get("id"))) for s in draft.document.get("sites") or ())
    stages = tuple(
        (str(s.get("id", "")), f"{s.get('id')} ({s.get('kind')})") for s in draft.document.get("stages") or ()
    )
    return Sheet(
        draft.document,
        draft.problems or draft.advice,
        {"fed_off_air_from": (("", "no: it has a chain"), *sites), "stages": stages},
    )


def editor(
    draft: Draft,
    view: str,
    *,
    index: int = 0,
    groups: Iterable[Group] = (),
    names: Iterable[str] = (),
    about: Sequence[str] = ("",),
    stands: tuple[Present, ...] = (),
) -> Editor:
    """The hidden part of a form, and the lists of problems; `about` are the places that the page is about."""
    places = [path_of(anchor(place)) if place else () for place in about]
    found = [p for p in draft.advice if any(path_of(anchor(p.where))[: len(place)] == place for place in places)]
    on_page = {name for group in groups for name in _names(group)} | set(names)
    return Editor(
        base_revision=draft.base.revision.number,
        draft=json.dumps(draft.document, ensure_ascii=False) if draft.changed and draft.text is None else "",
        view=view,
        index=index,
        author=draft.author,
        reason=draft.reason,
        deleted=draft.deleted,
        problems=draft.problems,
        leads={p.where: (a.go, a.words) for p in draft.problems if (a := _lead(p, draft.document, on_page)).go},
        advice=tuple(_advice(problem, draft.document, on_page) for problem in found),
        on_page=frozenset(anchor(p.where) for p in (*draft.problems, *found) if anchor(p.where) in on_page),
        set_at=draft.set_at,
        stands=stands,
    )


def stands_now(store: Store, draft: Draft, site_id: str) -> tuple[Present, ...]:
    """What a site of the draft's base is set to by the latest reports; nothing of a site that is not saved."""
    found = present_fields(standing(store, draft.base)) if site_id else ()
    return tuple(one for one in found if one.site_id == site_id)


def _lead(problem: Problem, document: Mapping[str, Any], on_page: set[str]) -> Advice:
    """The same for what keeps a draft from being saved; no way where the draft is too odd to tell one."""
    try:
        return _advice(problem, document, on_page)
    except (KeyError, IndexError, TypeError, AttributeError):
        return Advice(problem, "", "")


def _advice(problem: Problem, document: Mapping[str, Any], on_page: set[str]) -> Advice:
    """A finding with the way to where it can be mended."""
    path = path_of(anchor(problem.where))
    if anchor(problem.where) in on_page or len(path) < 2 or not isinstance(path[1], int):
        return Advice(problem, "", "")
    sites = document["sites"]
    if path[0] == "sites":
        view, index = ("chain" if path[2:3] == ("chains",) else "site"), path[1]
    else:
        stage = document["stages"][path[1]]["id"]
        view, index = "chain", next((n for n, s in enumerate(sites) if stage in _passed(s, document)), 0)
    return Advice(
        problem,
        f"{view} {index}",
        f"go to {'the chains of ' if view == 'chain' else ''}{sites[index].get('name') or sites[index]['id']}",
    )


def _passed(site: Mapping[str, Any], document: Mapping[str, Any]) -> set[str]:
    """Stages that a site's chains pass, those inside its sections too."""
    used = {entry for chain in site["chains"] for entry in chain["stages"]}
    return used | {e for stage in document["stages"] if stage["id"] in used for e in stage.get("inside") or ()}


def views() -> Mapping[str, Show]:
    """The editing pages by name."""
    from webapp.pages import chain, document, network, off_air, site

    return {
        "network": network.shown,
        "site": site.shown,
        "chain": chain.shown,
        "off-air": off_air.shown,
        "document": document.shown,
    }


def _shown(request: Request, draft: Draft, view: str, index: int, *, status: int = 200) -> Response:
    """One of the editing pages; the network's, where there is no such view or no such site."""
    sites = draft.document.get("sites") or ()
    if view in ("site", "chain") and index < len(sites) and draft.text is None:
        return views()[view](request, draft, index, status=status)
    if view == "off-air" and draft.text is None:
        return views()[view](request, draft, status=status)
    name = "document" if draft.text is not None or view == "document" else "network"
    return views()[name](request, draft, status=status)


def _address(network_id: int, view: str, index: int, document: Mapping[str, Any]) -> str:
    """Where a saved view is found again."""
    sites = document.get("sites") or ()
    if view in ("site", "chain") and index < len(sites):
        make = addresses.site if view == "site" else addresses.chain
        return make(network_id, sites[index]["id"])
    whole = {"document": addresses.document, "off-air": addresses.off_air}
    return whole.get(view, addresses.network)(network_id)


def _index(text: str) -> int:
    return whole_number(text) or 0


def _names(group: Group) -> Iterable[str]:
    yield group.name
    for shown in group.fields:
        yield shown.name
    for inner in group.groups:
        yield from _names(inner)
