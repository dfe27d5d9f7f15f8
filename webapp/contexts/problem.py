"""Pages that say no."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from webapp.contexts import Context


@dataclass(frozen=True, slots=True)
class ProblemPage(Context):
    """Something could not be done."""

    TEMPLATE: ClassVar[str] = "problem.html"
    status: int
    """HTTP status."""
    title: str
    """What happened, in a few words."""
    sentence: str
    """What to do about it."""
    technician: bool
    """Whether a signed link was opened: then nothing is offered that asks for the password."""
    problems: tuple[Problem, ...]
    """Each thing that is wrong, with its place."""
