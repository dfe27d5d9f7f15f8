"""Saving a revision out of a page's form: who, on which revision, and the name kept for the next form."""

from collections.abc import Mapping
from typing import Any

from fastapi import Request

from sfn.errors import PlanError, Problem
from webapp.config.limits import whole_number
from webapp.shell.dependencies import Opened
from webapp.shell.problems import RefusedError
from webapp.store.frozen import unfrozen
from webapp.store.store import Store


def author_of(form: Mapping[str, str]) -> str:
    """Who saves.

    Raises
    ------
    PlanError
        If nobody is named.
    """
    author = form.get("author", "").strip()
    if not author:
        raise PlanError([Problem("author", "a save needs a name", "yours", code="author-missing", fields=("author",))])
    return author


def base_of(form: Mapping[str, str]) -> int:
    """The revision that the form was made from; 0, which conflicts with all, where it does not say.

    Raises
    ------
    RefusedError
        If it is no number.
    """
    text = form.get("base", "0")
    base = whole_number(text)
    if base is None:
        raise RefusedError(
            422,
            Problem(
                "base",
                f"the form says {text[:40]!r}",
                "the number of a revision",
                code="revision-unreadable",
                fields=("base",),
            ),
        )
    return base


def save(
    request: Request, store: Store, opened: Opened, document: dict[str, Any], form: Mapping[str, str], *, author: str,
    reason: str,
) -> None:  # fmt: skip
    """A new revision of the open network; `author` stands in the next form.

    Raises
    ------
    PlanError
        If the document cannot be used.
    ConflictError
        If somebody saved since the form was made.
    RefusedError
        If the form's revision is no number.
    """
    store.save(opened.head.id, document, base_revision=base_of(form), author=author, reason=reason)
    request.session["author"] = author
    request.state.problems = unfrozen(store, opened.head.id, document)
