"""One path from a site to a place."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.path import PathAnswer
from sfn.errors import Problem
from sfn.plan import Site
from sfn.report.derivation import Part
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class PathTyped:
    """What was typed into the form."""

    site: str = ""
    at: str = ""
    rx_height_m: str = ""
    rx_ground_m: str = ""
    time_pct: str = ""


@dataclass(frozen=True, slots=True)
class PathPage(Context):
    """Profile, field strength and every intermediate of one path."""

    TEMPLATE: ClassVar[str] = "path.html"
    TAB: ClassVar[str] = "path"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, to choose from."""
    typed: PathTyped
    """What was typed."""
    answer: PathAnswer | None
    """The path, once a place is given."""
    rests_on: str
    """What the answer rests on, in words."""
    parts: tuple[Part, ...]
    """The derivation."""
    picture: str
    """Address of the profile as SVG; the same with .png in its place is the other form."""
    problems: tuple[Problem, ...]
    """What is wrong with what was typed."""
