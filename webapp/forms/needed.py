"""What a draft still needs, apart from what is wrong in it: a form that nobody has filled in is no mistake."""

from collections.abc import Iterable, Mapping
from typing import Any

from sfn.errors import Problem
from webapp.forms.places import anchor, path_of


def parted(problems: Iterable[Problem], document: Mapping[str, Any]) -> tuple[tuple[Problem, ...], tuple[Problem, ...]]:
    """Problems of places where nothing stands yet, and all others.

    Parameters
    ----------
    problems : iterable of Problem
        What keeps a draft from being read.
    document : mapping
        The draft.
    """
    needed: list[Problem] = []
    wrong: list[Problem] = []
    for problem in problems:
        (needed if _empty(problem, document) else wrong).append(problem)
    return tuple(needed), tuple(wrong)


def names_of(needed: Iterable[Problem]) -> frozenset[str]:
    """Names of the fields that would fill it."""
    return frozenset(
        name
        for problem in needed
        for name in (anchor(problem.where), *(f"{anchor(problem.where)}-{key}" for key in missing_in(problem)))
    )


def missing_in(problem: Problem) -> tuple[str, ...]:
    """Keys of a record that one would fill in: of a stage without a latency those of its kind."""
    return tuple(key for key in str(problem.values.get("missing") or "").split() if key)


def _empty(problem: Problem, document: Mapping[str, Any]) -> bool:
    if problem.code == "key-missing" or missing_in(problem):
        return True
    return problem.code == "value-unusable" and _at(document, problem.where) in (None, "", [], {})


def _at(document: Mapping[str, Any], where: str) -> Any:
    """What stands at a place; None where nothing does."""
    at: Any = document
    for piece in path_of(anchor(where)):
        try:
            at = at[piece]
        except (KeyError, IndexError, TypeError):
            return None
    return at
