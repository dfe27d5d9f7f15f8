"""Who is counted on the map."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.people import Looked
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.people import HeldFile


@dataclass(frozen=True, slots=True)
class PeoplePage(Context):
    """Where the people come from, and files of people."""

    TEMPLATE: ClassVar[str] = "people.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    chosen: str
    """What the form sends for who is counted."""
    said: str
    """Where the people of the saved revision come from, or why they are not counted."""
    total_people: float | None
    """Of them on the usual map; None where they are not known."""
    document_places: int
    """Places that the document holds itself."""
    world: bool
    """Whether the optional list of the world's places is installed."""
    files: tuple[HeldFile, ...]
    """Files that were sent."""
    looked: Looked | None
    """A file that was just sent or is asked for."""
    looked_name: str
    """The name under which it is kept; empty where it cannot be used."""
    rule: str
    """How places are spread."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, or with the people in force."""
