"""A document on its way from a form to a revision: what was typed, what is wrong, who saved first."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

from fastapi import Request

from sfn.errors import PlanError, Problem
from sfn.plan import Network, read as network_of_text
from sfn.plan.json_parts import read_within
from sfn.plan.reading import MOST_PARTS
from sfn.study.standing import unconfirmed
from sfn.systems.service import service_named
from webapp.config.limits import whole_number
from webapp.forms.needed import parted
from webapp.forms.places import misshapen
from webapp.forms.structure import named_after
from webapp.forms.typed import applied, without_place
from webapp.shell.api_pages import PREFIX
from webapp.standing.told import SET_AT, contradictions, put_down, since
from webapp.store.differences import compared, in_words
from webapp.store.documents import network_of
from webapp.store.frozen import UNFROZEN
from webapp.store.store import MissingError, Revision, Saved, Store
from webapp.work.maps import Maps

LONGEST_NAME = 120
# What the boxes are called that confirm where a site stands.
CONFIRMS = "stands-"


@dataclass(frozen=True)
class Draft:
    """A document that is not saved yet, and the revision it was made from."""

    base: Saved
    document: dict[str, Any]
    text: str | None = None
    """JSON as it was typed, where it is none."""
    problems: tuple[Problem, ...] = ()
    """What keeps it from being saved."""
    needed: tuple[Problem, ...] = ()
    """What is not filled in yet, before anybody tried to save it."""
    advice: tuple[Problem, ...] = ()
    """What the check finds in it, where nothing keeps it from being saved."""
    author: str = ""
    reason: str = ""
    deleted: bool = False
    confirmed: Mapping[int, str] = field(default_factory=dict)
    """By a site's position in the list: the place that somebody has confirmed on the map."""
    set_at: str = ""
    """Since when present values that it changes hold, as typed; empty: since it is saved."""
    across_km: float | None = None
    """How much ground the small map shows; None: every site."""
    step: str = ""
    """The kept step that it was made from; empty where nothing of it is kept."""
    undo: bool = False
    """Whether a step is kept before it."""
    redo: bool = False
    """Whether one is kept that was undone."""
    asks: bool = True
    """Whether positions that nobody has confirmed keep it from being saved; not where it was typed as JSON."""

    @cached_property
    def network(self) -> Network:
        """What it would be saved as; raises `PlanError` as `network_of` does."""
        if self.document is self.base.document:
            return self.base.network
        return network_of(self.document, self.base.own_services)

    @property
    def changed(self) -> bool:
        """Whether it says anything else than its base."""
        return self.text is not None or bool(compared(self.base.document, self.document))

    def with_document(self, document: dict[str, Any]) -> "Draft":
        """The same with another document."""
        return replace(self, document=document, text=None)


def fresh(saved: Saved) -> Draft:
    """The draft that a page begins with: a revision as it is."""
    return Draft(saved, saved.document)


def typed(store: Store, network_id: int, form: Mapping[str, str]) -> Draft:
    """The draft that a form sends: its base, or the draft it carries, with every typed field in its place.

    Raises
    ------
    PlanError
        If the form names no revision, carries a draft that no form can show, or names a place that the draft has not.
    MissingError
        If there is no such network or revision.
    """
    base_text = form.get("base_revision", "")
    number = whole_number(base_text)
    if number is None:
        raise PlanError(
            [
                Problem(
                    "base_revision",
                    f"the form says {base_text[:40]!r}",
                    "the number of a revision",
                    code="revision-unreadable",
                    fields=("base_revision",),
                )
            ]
        )
    base = store.read(network_id, number, even_deleted=True)
    draft = Draft(
        base,
        base.document,
        author=form.get("author", "").strip(),
        reason=form.get("reason", "").strip(),
        set_at=form.get(SET_AT, "").strip(),
        confirmed=confirmed_in(form),
        step=form.get("step", ""),
    )
    if "document" in form:
        return _as_json(replace(draft, asks=False), form["document"])
    held = _carried(form["draft"]) if form.get("draft") else base.document
    wrong = misshapen(held)
    if wrong:
        raise PlanError(wrong)
    refuse_lost(held, form, of=f"revision {number}")
    made = named_after(applied(held, form), base.document)
    return draft.with_document(with_service_id(made, base.own_services))


def with_service_id(document: dict[str, Any], own_services: str) -> dict[str, Any]:
    """The document with its service by the id, also where its name was typed."""
    typed_as = document.get("service")
    if not isinstance(typed_as, str):
        return document
    try:
        return document | {"service": service_named(typed_as, own_services=own_services)}
    except PlanError:
        return document  # the user's file of services cannot be read: the check says it


def refuse_lost(document: Mapping[str, Any], form: Mapping[str, str], *, of: str) -> None:
    """Say no to fields whose place a document has not.

    Raises
    ------
    PlanError
        With each of them.
    """
    if lost := without_place(document, form):
        raise PlanError(
            Problem(name[:80], f"{of} has no place {name[:80]!r}, and what it holds would be lost",
                    "a site, stage or field that it has, counted from 0; add it first", code="form-name-unknown",
                    fields=(name[:80],))
            for name in lost[:20]
        )  # fmt: skip


def confirmed_in(form: Mapping[str, str]) -> dict[int, str]:
    """The places that a form confirms, ``stands-0`` by the site's position in the list."""
    named = ((name.removeprefix(CONFIRMS), text) for name, text in form.items() if name.startswith(CONFIRMS))
    return {index: text for number, text in named if (index := whole_number(number)) is not None}


def asks(request: Request) -> bool:
    """Whether a person at a page is asked to confirm positions; scripts under ``/api`` get the doubts instead."""
    return not request.url.path.startswith(PREFIX)


def _against(draft: Draft, maps: Maps, store: Store) -> tuple[Problem, ...]:
    """What the reports say against a draft; of one that nobody edited, as it was worked out for the revision."""
    if draft.document != draft.base.document:
        return contradictions(store, draft.base.revision.network_id, draft.network)
    reported = maps.standing(store, draft.base).reported
    return () if reported is None else tuple(one for one in reported.problems if one.code != UNFROZEN)


def looked_at(draft: Draft, maps: Maps, store: Store) -> Draft:
    """The draft with what keeps it from being saved, or else with what the check and the reports say against it.

    Of one that nobody tried to save, what is merely not filled in yet is told apart.
    """
    if draft.problems:
        return draft
    try:
        found = maps.checked(draft.network)
        against = _against(draft, maps, store)
        return replace(draft, advice=(*found, *against))
    except PlanError as refused:
        needed, wrong = parted(refused.problems, draft.document)
        return replace(draft, needed=needed, problems=wrong)


def typed_beside(store: Store, network_id: int, form: Mapping[str, str]) -> Draft:
    """The draft of a page that puts its own part into the document: of the form only base, author and reason are read.

    Raises
    ------
    PlanError, MissingError
        As `typed`.
    """
    return typed(store, network_id, {key: form.get(key, "") for key in ("base_revision", "author", "reason")})


def saved_says(outcome: Revision, draft: Draft) -> str:
    """What a save came to, in a sentence."""
    return "Nothing was changed." if outcome == draft.base.revision else f"Saved as revision {outcome.number}."


def save(request: Request, store: Store, draft: Draft) -> Revision | Draft:
    """Save a draft: the new revision, or the draft with what is wrong.

    Raises
    ------
    ConflictError
        If someone saved first.
    """
    problems = _refusals(draft)
    if not draft.author or len(draft.author) > LONGEST_NAME:
        problems += (
            Problem(
                "author",
                "the record needs to know who changes this",
                "your name, in 120 characters",
                code="author-missing",
                fields=("author",),
            ),
        )
    if not problems and draft.asks and asks(request):
        problems = unconfirmed(draft.document, before=draft.base.document, confirmed=draft.confirmed)
    try:
        at = since({SET_AT: draft.set_at}, now=datetime.now(UTC))
    except PlanError as refused:
        problems += refused.problems
    if problems:
        return replace(draft, problems=problems)
    request.session["author"] = draft.author
    differences = compared(draft.base.document, draft.document)
    if not differences:
        return draft.base.revision
    base = draft.base.revision
    try:
        made = store.save(
            base.network_id,
            draft.document,
            base_revision=base.number,
            author=draft.author,
            reason=draft.reason or in_words(differences),
        )
    except MissingError:
        what = "was deleted by someone while you were editing it; nothing you typed is lost"
        return replace(
            draft, deleted=True, problems=(Problem("network", what, "bring it back and save", code="network-put-away"),)
        )
    # A whole document may be an old export: what it says is set now is told only where it says since when.
    tells = draft.asks or at is not None
    request.state.told = put_down(
        store, draft.base, draft.document, number=made.number, author=draft.author, at=at, tells=tells
    )
    return made


def _as_json(draft: Draft, text: str) -> Draft:
    """A draft out of the area in which the document is typed as JSON."""
    try:
        network_of_text(text)
        problems: tuple[Problem, ...] = ()
    except PlanError as refused:
        problems = refused.problems
    try:
        document = read_within(text, MOST_PARTS, "document")
    except (PlanError, ValueError, RecursionError):
        return replace(draft, text=text, problems=problems)
    # What `document` cannot show (a key given twice, NaN) or no form can: the text stays as it was typed.
    unshown = misshapen(document) or tuple(p for p in problems if p.where == "document" or p.code == "key-given-twice")
    return replace(draft, text=text, problems=unshown) if unshown else replace(draft, document=document)


def _refusals(draft: Draft) -> tuple[Problem, ...]:
    """What keeps a draft from being saved."""
    if draft.problems:
        return draft.problems
    try:
        _ = draft.network
    except PlanError as refused:
        return refused.problems
    return ()


def _carried(text: str) -> Any:
    """The draft that a page of ours put into its form."""
    try:
        return read_within(text, MOST_PARTS, "draft")
    except (ValueError, RecursionError) as wrong:
        raise PlanError(
            [
                Problem(
                    "draft",
                    "the form's draft is not JSON",
                    "the draft as the page made it",
                    code="draft-unreadable",
                    fields=("draft",),
                )
            ]
        ) from wrong
