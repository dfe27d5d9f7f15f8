"""What the editing pages share: the form's hidden part, the choices, and where each finding can be mended."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sfn.errors import Problem
from sfn.study.timeline import Present, present_fields
from webapp.config.addresses import to
from webapp.forms.fields import Group, Sheet, label_of
from webapp.forms.needed import missing_in, names_of
from webapp.forms.places import path_of
from webapp.shell.render import anchor
from webapp.standing.editing import Draft
from webapp.store.store import Store
from webapp.store.timeline import standing

_ODD = (KeyError, IndexError, TypeError, AttributeError)
"""What a draft that is not yet a document may answer with."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Something that the check found in a document that can be used."""

    problem: Problem
    go: str
    """The view where it can be mended, ``site 2`` or ``chain 0``; empty where it is on this page."""
    words: str
    """What the button that leads there says."""
    said: str = ""
    """What is needed, by the stage or site as it is called in the draft."""


@dataclass(frozen=True, slots=True)
class Editor:
    """What every form that edits the document carries."""

    base_revision: int
    """Revision that the form was made from."""
    draft: str
    """The document with what was changed but not saved, as JSON; empty where nothing was."""
    view: str
    """network, site, chain or document: the page to come back to."""
    index: int
    """Which site, by its position."""
    author: str
    """Name typed for the record."""
    reason: str
    """Reason typed for the record."""
    deleted: bool
    """The network was deleted while it was being edited."""
    problems: tuple[Problem, ...]
    """Everything that keeps it from being saved, with its place."""
    needed: tuple[Advice, ...]
    """What is not filled in yet, before anybody tried to save, each with the way to its field."""
    leads: dict[str, tuple[str, str]]
    """By the place of a problem that is not on this page: the view where it can be mended, and what the button says."""
    advice: tuple[Advice, ...]
    """What the check found in it, where nothing keeps it from being saved."""
    on_page: frozenset[str]
    """Names of the fields on this page that have a problem: the lists of problems lead there."""
    step: str = ""
    """The kept step that the form came from."""
    undo: bool = False
    """Whether there is a step before."""
    redo: bool = False
    """Whether a step was undone."""
    set_at: str = ""
    """Since when present values that are changed hold, as typed."""
    stands: tuple[Present, ...] = ()
    """What the page's site is set to by the latest reports."""


def sheet(draft: Draft) -> Sheet:
    """The draft's document with its problems and the choices among its sites and stages."""
    sites = tuple((str(s.get("id", "")), str(s.get("name") or s.get("id"))) for s in draft.document.get("sites") or ())
    passed = Counter(one for site in draft.document.get("sites") or () for one in _of_site(site))
    stages = tuple(
        (str(s.get("id", "")), f"{s.get('id')} ({s.get('kind')}{_shared(passed[s.get('id')])})")
        for s in draft.document.get("stages") or ()
    )
    return Sheet(
        draft.document,
        draft.problems or draft.advice,
        {"fed_off_air_from": (("", "no: it has a chain"), *sites), "stages": stages},
        needed=names_of(draft.needed),
    )


def _of_site(site: Mapping[str, Any]) -> set[str]:
    """Stages that a site's chains pass; drafts may have gaps."""
    return {str(one) for chain in site.get("chains") or () for one in chain.get("stages") or ()}


def _shared(sites_n: int) -> str:
    return f", at {sites_n} sites" if sites_n > 1 else ""


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
        needed=tuple(
            replace(_lead(problem, draft.document, on_page), said=_called(problem.where, draft.document))
            for problem in _single(draft.needed)
        ),
        leads={p.where: (a.go, a.words) for p in draft.problems if (a := _lead(p, draft.document, on_page)).go},
        advice=tuple(_advice(problem, draft.document, on_page) for problem in found),
        on_page=frozenset(
            anchor(p.where) for p in (*draft.problems, *_single(draft.needed), *found) if anchor(p.where) in on_page
        ),
        step=draft.step,
        undo=draft.changed or draft.undo,
        redo=draft.redo,
        set_at=draft.set_at,
        stands=stands,
    )


def _called(where: str, document: Mapping[str, Any]) -> str:
    """A place of a draft for people: ``south-link: latency``, ``new site: ground height``."""
    path = path_of(anchor(where))
    said = ", ".join(label_of(str(piece)) for piece in path[2:] if isinstance(piece, str) and piece != "position")
    try:
        entry = document[str(path[0])][path[1]]
    except (*_ODD, ValueError):
        return ": ".join(label_of(str(piece)) for piece in path)
    name = entry.get("name") or ("new site" if path[0] == "sites" else entry.get("id"))
    return f"{name}: {said}" if said else str(name)


def _single(needed: Iterable[Problem]) -> tuple[Problem, ...]:
    """Each at the field that would fill it: a stage without a latency at those of its kind."""
    return tuple(
        replace(problem, where=f"{problem.where}.{key}" if key else problem.where)
        for problem in needed
        for key in missing_in(problem) or ("",)
    )


def stands_now(store: Store, draft: Draft, site_id: str) -> tuple[Present, ...]:
    """What a site of the draft's base is set to by the latest reports; nothing of a site that is not saved."""
    found = present_fields(standing(store, draft.base)) if site_id else ()
    return tuple(one for one in found if one.site_id == site_id)


def _lead(problem: Problem, document: Mapping[str, Any], on_page: set[str]) -> Advice:
    """The same for what keeps a draft from being saved; no way where the draft is too odd to tell one."""
    try:
        return _advice(problem, document, on_page)
    except _ODD:
        return Advice(problem, "", "")


def _advice(problem: Problem, document: Mapping[str, Any], on_page: set[str]) -> Advice:
    """A finding with the way to where it can be mended."""
    if anchor(problem.where) in on_page or (way := _way(problem.where, document)) is None:
        return Advice(problem, "", "")
    view, index = way
    site = document["sites"][index]
    words = f"go to {'the chains of ' if view == 'chain' else ''}{site.get('name') or site['id']}"
    return Advice(problem, f"{view} {index}", words)


def _way(where: str, document: Mapping[str, Any]) -> tuple[str, int] | None:
    """The page and the site where a place of a document is edited; None for what stands on the network's own page."""
    path = path_of(anchor(where))
    if len(path) < 2 or not isinstance(path[1], int):
        return None
    if path[0] == "sites":
        return ("chain" if path[2:3] == ("chains",) else "site"), path[1]
    stage = document["stages"][path[1]]["id"]
    return "chain", next((n for n, site in enumerate(document["sites"]) if stage in _passed(site, document)), 0)


def place_of(where: str, document: Mapping[str, Any], network_id: int) -> str:
    """The page where a finding about a place of a saved document is mended; empty where none is told."""
    try:
        way = _way(where, document)
        return "" if way is None else to(f"{way[0]}.show", network_id, document["sites"][way[1]]["id"])
    except _ODD:
        return ""


def _passed(site: Mapping[str, Any], document: Mapping[str, Any]) -> set[str]:
    """Stages that a site's chains pass, those inside its sections too."""
    used = {entry for chain in site["chains"] for entry in chain["stages"]}
    return used | {e for stage in document["stages"] if stage["id"] in used for e in stage.get("inside") or ()}


def _names(group: Group) -> Iterable[str]:
    yield group.name
    for shown in group.fields:
        yield shown.name
    for inner in group.groups:
        yield from _names(inner)
