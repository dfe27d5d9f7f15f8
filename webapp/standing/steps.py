"""A draft as a step that is kept: written down after each button, read back at its address, undone and redone."""

from dataclasses import replace

from sfn.errors import PlanError
from webapp.standing.editing import Draft
from webapp.store.drafts import KeptDraft
from webapp.store.store import Store


def kept(store: Store, draft: Draft) -> str:
    """Write a draft down as the step after the one that its form came from; gives its key.

    The first step of all is what the draft was made from, so that everything can be undone.
    """
    base = draft.base.revision
    follows = draft.step or _written(store, replace(draft, document=draft.base.document), "")
    try:
        before = store.drafts.read(base.network_id, follows)
    except PlanError:  # a disk has changed it: what was typed is kept all the same, as a first step
        before = None
    if before is not None and before.body["document"] == draft.document and before.base_revision == base.number:
        return follows
    return _written(store, draft, follows if before is not None else "")


def undone(store: Store, draft: Draft) -> str:
    """The step before a draft, which is kept itself where something was typed; empty where there is none."""
    key = kept(store, draft)
    step = store.drafts.read(draft.base.revision.network_id, key)
    return step.follows if step is not None else ""


def redone(store: Store, draft: Draft) -> str:
    """The step that was undone last; where something was typed instead, that."""
    key = kept(store, draft)
    return store.drafts.after(draft.base.revision.network_id, key) or key


def draft_of(store: Store, step: KeptDraft) -> Draft:
    """A kept step as the draft that it was.

    Raises
    ------
    MissingError
        If the revision that it was made from is not there.
    """
    body = step.body
    return Draft(
        store.read(step.network_id, step.base_revision, even_deleted=True),
        body["document"],
        author=body["author"],
        reason=body["reason"],
        set_at=body["set_at"],
        confirmed={int(index): place for index, place in body["confirmed"].items()},
        across_km=body["across_km"],
        step=step.key,
        undo=bool(step.follows),
        redo=bool(store.drafts.after(step.network_id, step.key)),
    )


def _written(store: Store, draft: Draft, follows: str) -> str:
    body = {
        "document": draft.document,
        "author": draft.author,
        "reason": draft.reason,
        "set_at": draft.set_at,
        "confirmed": dict(draft.confirmed),
        "across_km": draft.across_km,
    }
    base = draft.base.revision
    return store.drafts.keep(base.network_id, base_revision=base.number, follows=follows, body=body)
