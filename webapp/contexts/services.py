"""Services: the shipped ones and the user's own."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from sfn.systems.service import Service
from webapp.contexts import Context


@dataclass(frozen=True, slots=True)
class ServicesPage(Context):
    """Every service by family, and the user's own file."""

    TEMPLATE: ClassVar[str] = "services.html"
    families: tuple[tuple[str, Service, int], ...]
    """Of each family its name, its first service, and how many services it has."""
    own: str
    """The user's own file as text; empty without one."""
    typed: str
    """What was typed or sent last."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""
