"""What is left out of a network because it cannot be read: which sites, whose fault it is, and what that means."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sfn.errors import Problem

UNJUDGED = "withheld while a site on air is left out: what it serves, and what it disturbs, is not known"
"""In the place of figures and advice whose meaning would be wrong without its signal."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A site that answers do without.

    `whose` is the id of the site whose fault it is: itself, or one that feeds it. `problems` say what is wrong.
    """

    site_id: str
    site_name: str
    whose: str
    problems: tuple[Problem, ...]


def left_out_says(left_out: Sequence[LeftOut]) -> str:
    """In words who is left out, why, and what the figures then are; empty where nobody is."""
    if not left_out:
        return ""
    names = [f"{one.site_name}" for one in left_out]
    said = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    its, it = ("its", "it") if len(names) == 1 else ("their", "them")
    why = "; ".join(dict.fromkeys(problem.what for one in left_out for problem in one.problems))
    return (
        f"Without {said}: {its} levels, delays and pairs are missing; areas and people are those of the other sites, "
        f"self-interference from {it} is not counted. Why: {why}"
    )


def left_out_document(left_out: Sequence[LeftOut]) -> list[dict[str, Any]]:
    """The same as data, under the key ``left_out_sites`` of answers; empty where nobody is."""
    return [
        {
            "site": one.site_id,
            "name": one.site_name,
            "whose": one.whose,
            "problems": [problem.as_json() for problem in one.problems],
        }
        for one in left_out
    ]


def why_left_out(left_out: Sequence[LeftOut], asked: Iterable[str]) -> tuple[Problem, ...]:
    """What is wrong with the sites that are asked for and left out: they exist, and are no unknown ids."""
    wanted = set(asked)
    return tuple(dict.fromkeys(p for one in left_out if one.site_id in wanted for p in one.problems))
