"""Revisions of one network: listed, compared, restored; and two people's changes put together."""

import copy
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId, RevisionNumber, whole_number
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, NetworkDep, StoreDep, head_of, read_network
from webapp.shell.render import notice, page
from webapp.shell.windows import Shown, Window, window
from webapp.standing.editing import Draft, save, saved_says, typed, typed_beside
from webapp.standing.set_aside import DamagedEntry, damaged_entries, row_anew, set_aside
from webapp.standing.told import put_down
from webapp.store.differences import clashes, compared, merged, shown
from webapp.store.documents import as_text
from webapp.store.frozen import unfrozen
from webapp.store.network_rows import Anew
from webapp.store.revision_rows import UNKNOWN
from webapp.store.store import ConflictError, Revision, Store

router = Room("revisions")
MOST_ROWS_N = 100
CHOICE = "choice "


@dataclass(frozen=True, slots=True)
class RevisionsPage(Context):
    """Every save of a network."""

    TEMPLATE: ClassVar[str] = "describe/revisions.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in which revision."""
    revisions: tuple[Revision, ...]
    """The newest first."""
    rows: Window[Revision]
    """Those of them that stand here."""
    problems: tuple[Problem, ...] = ()
    """Why nothing can be shown of the newest: the database is damaged."""
    damaged: frozenset[int] = frozenset()
    """Numbers of the revisions whose document is not what was saved."""
    entries: tuple[DamagedEntry, ...] = ()
    """Readings, sign-offs and issues that are not what was written."""
    anew: Anew | None = None
    """What the network's row can be made anew of, where nothing opens before that."""
    gone: tuple[int, ...] = ()
    """Numbers of revisions that were saved and are not there."""


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """One key that differs, as text."""

    where: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class ComparePage(Context):
    """Two revisions field by field."""

    TEMPLATE: ClassVar[str] = "describe/compare.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in which revision."""
    old: Revision
    """The one compared."""
    new: Revision
    """The one it is compared with."""
    differences: tuple[DifferenceLine, ...]
    """Every key that differs."""


@dataclass(frozen=True, slots=True)
class ClashLine:
    """One key that one of two savers changed, or both."""

    where: str
    base: str
    mine: str
    theirs: str
    settled: str
    """mine or theirs where it need not be asked; empty where one must choose."""
    chosen: str
    """What was chosen, so far."""


@dataclass(frozen=True, slots=True)
class ConflictPage(Context):
    """Someone saved first: both versions, and a choice for every key that both changed."""

    TEMPLATE: ClassVar[str] = "describe/conflict.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in their revision."""
    base_revision: int
    """The revision that both began with."""
    theirs: Revision
    """What was saved first."""
    clashes: tuple[ClashLine, ...]
    """Every key that either changed."""
    draft: str
    """My document, whole, as JSON."""
    author: str
    """Name typed for the record."""
    reason: str
    """Reason typed for the record."""
    problems: tuple[Problem, ...]
    """What keeps the two from being put together as chosen."""


@router.get("/networks/{network_id}/revisions")
def show(request: Request, store: StoreDep, network_id: NetworkId, revisions: Shown = "") -> Response:
    """Every revision, of many the part that is asked for; of a damaged network too, with what is whole."""
    try:
        head = read_network(request, store, network_id).head
    except PlanError as refused:
        if not any(problem.code == "store-damaged" for problem in refused.problems):
            raise
        return _damaged_page(request, store, network_id, refused.problems, revisions)
    found = store.history(network_id)
    return page(request, RevisionsPage(head, found, window(found, revisions, most=MOST_ROWS_N), gone=_gone(found)))


def _damaged_page(
    request: Request, store: Store, network_id: int, problems: tuple[Problem, ...], revisions: str
) -> Response:
    """What is left of a damaged network, and the ways out of it."""
    anew, damaged = store.anew(network_id), store.damaged(network_id)
    newest = anew.newest or Revision(network_id, 0, UNKNOWN, "", "", "", damaged=True)
    found = store.history(network_id, even_damaged=True)
    try:
        network = store.read(network_id).network
    except PlanError:
        network = None
    context = RevisionsPage(
        NetworkHead(network_id, str(anew.row.get("name") or f"Network {network_id}"), newest), found,
        window(found, revisions, most=MOST_ROWS_N), problems, damaged,
        entries=() if anew.needed else damaged_entries(store, network_id, network),
        anew=anew if anew.needed else None, gone=_gone(found),
    )  # fmt: skip
    return page(request, context)


def _gone(found: tuple[Revision, ...]) -> tuple[int, ...]:
    """Numbers that are missing below the newest."""
    there = {one.number for one in found}
    return tuple(number for number in range(1, max(there, default=0)) if number not in there)[:MOST_ROWS_N]


@router.post("/networks/{network_id}/damaged/row")
def make_row_anew(request: Request, store: StoreDep, network_id: NetworkId, form: FormDep) -> Response:
    """Go on from a damaged row of the network: made anew of what is whole; what may be gone counts as unknown."""
    by, reason = form.get("author", "").strip(), form.get("reason", "").strip()
    unknown = row_anew(store, network_id, by=by, reason=reason)
    request.session["author"] = by
    until = f" What is set at {', '.join(map(format, unknown))} is not known until it is read again." if unknown else ""
    notice(request, f"The line of network {network_id} in the list is written anew.{until}")
    there = any(one.id == network_id for one in store.summaries())
    return RedirectResponse(to("revisions.show", network_id) if there else to("networks.show"), 303)


@router.post("/networks/{network_id}/damaged/{entry_id}/set-aside")
def put_aside(request: Request, store: StoreDep, network_id: NetworkId, entry_id: NetworkId, form: FormDep) -> Response:
    """Go on without a damaged entry: what it may have said is set counts as unknown."""
    by, reason = form.get("author", "").strip(), form.get("reason", "").strip()
    unknown = set_aside(store, network_id, entry_id, by=by, reason=reason)
    request.session["author"] = by
    until = f" What is set at {', '.join(map(format, unknown))} is not known until it is read again." if unknown else ""
    notice(request, f"Entry {entry_id} is set aside.{until}")
    return RedirectResponse(to("revisions.show", network_id), 303)


@router.get("/networks/{network_id}/compare")
def compare(
    request: Request, store: StoreDep, network: NetworkDep, old: RevisionNumber, new: RevisionNumber
) -> Response:
    """Two revisions, field by field."""
    before, after = store.read(network.head.id, old), store.read(network.head.id, new)
    lines = tuple(
        DifferenceLine(d.where, shown(d.old), shown(d.new)) for d in compared(before.document, after.document)
    )
    return page(request, ComparePage(network.head, before.revision, after.revision, lines))


@router.post("/networks/{network_id}/revisions/{number}/restore")
def restore(
    request: Request, store: StoreDep, network_id: NetworkId, number: RevisionNumber, form: FormDep
) -> Response:
    """Make an old revision the newest."""
    author = form.get("author", "").strip()
    if not author:
        raise PlanError(
            [
                Problem(
                    "author",
                    "the record needs to know who restores this",
                    "your name",
                    code="author-missing",
                    fields=("author",),
                )
            ]
        )
    request.session["author"] = author
    newest = store.newest(network_id)[1].number
    made = store.restore(network_id, number, base_revision=newest, author=author)
    request.state.problems = unfrozen(store, network_id, store.read(network_id, made.number).document)
    notice(request, f"Revision {number} is restored, as revision {made.number}.")
    return RedirectResponse(to("revisions.show", network_id), 303)


@router.post("/networks/{network_id}/merge")
def merge(request: Request, store: StoreDep, network_id: NetworkId, form: FormDep) -> Response:
    """Save both people's changes together, as chosen key by key."""
    draft = typed(store, network_id, form)
    number = form.get("their_revision", "")
    theirs = store.read(network_id, whole_number(number))
    choices = {name.removeprefix(CHOICE): value for name, value in form.items() if name.startswith(CHOICE)}
    conflict = ConflictError(base=draft.base, theirs=theirs, mine=draft.document)
    open_questions = [
        Problem(c.where, "both of you changed this", "one of the two", code="changed-by-both")
        for c in clashes(draft.base.document, draft.document, theirs.document)
        if not c.settled and choices.get(c.where) not in ("mine", "theirs")
    ]
    document = merged(draft.base.document, draft.document, theirs.document, choices)
    author, reason = draft.author or "unnamed", draft.reason or f"put together with revision {theirs.revision.number}"
    try:
        if open_questions:
            raise PlanError(open_questions)
        made = store.save(network_id, document, base_revision=theirs.revision.number, author=author, reason=reason)
    except PlanError as refused:
        return conflict_page(request, conflict, form, choices=choices, problems=refused.problems)
    request.state.problems = unfrozen(store, network_id, document)
    said = put_down(store, theirs, document, number=made.number, author=author, tells=False)
    notice(request, f"Both changes are saved, as revision {made.number}. {said}".strip())
    return RedirectResponse(to("network.show", network_id), 303)


def save_part(
    request: Request, store: Store, network_id: int, form: dict[str, str],
    change: Callable[[dict[str, Any]], dict[str, Any]],
    *, refused: Callable[[tuple[Problem, ...]], Response], then: str, also: Callable[[Revision], str] = lambda _: "",
) -> Response:  # fmt: skip
    """Save what a page of its own changes in the document, beside everything else in it.

    Parameters
    ----------
    form : dict
        Of it base, author and reason are read; the page's own fields are for `change`.
    change : callable
        The document to be saved, of a copy of its own; raises `PlanError` with what cannot be used.
    refused : callable
        The page with what keeps it from being saved.
    then : str
        Where a browser goes on.
    also : callable
        What is told besides of what was saved.
    """
    try:
        draft = typed_beside(store, network_id, form)
        outcome = save(request, store, draft.with_document(change(copy.deepcopy(draft.document))))
    except PlanError as refusal:
        return refused(refusal.problems)
    except ConflictError as conflict:
        return conflict_page(request, conflict, form)
    if isinstance(outcome, Draft):
        return refused(outcome.problems)
    notice(request, f"{saved_says(outcome, draft)} {also(outcome)}".strip())
    return RedirectResponse(then, 303)


def conflict_page(
    request: Request,
    conflict: ConflictError,
    form: dict[str, str],
    *,
    choices: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> Response:
    """Both versions side by side; what was typed travels along."""
    lines = tuple(
        ClashLine(c.where, shown(c.base), shown(c.mine), shown(c.theirs), c.settled, (choices or {}).get(c.where, ""))
        for c in clashes(conflict.base.document, conflict.mine, conflict.theirs.document)
    )
    context = ConflictPage(
        network=head_of(conflict.theirs),
        base_revision=conflict.base.revision.number,
        theirs=conflict.theirs.revision,
        clashes=lines,
        draft=as_text(conflict.mine),
        author=form.get("author", ""),
        reason=form.get("reason", ""),
        problems=problems,
    )
    return page(request, context, status=409)
