"""What happened to the sites, and what stands there now."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.timeline import Present, StateLine, Timeline
from sfn.errors import Problem
from sfn.plan import Site
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class TimelinePage(Context):
    """Everything that happened, in the order in which it held."""

    TEMPLATE: ClassVar[str] = "timeline.html"
    TAB: ClassVar[str] = "timeline"
    network: NetworkHead
    """Which network, in which revision."""
    found: Timeline
    """Events, present state and contradictions; of one site where it is narrowed."""
    shown: int
    """So many of the newest events are listed."""
    left_out: int
    """Older revisions that are not looked at."""
    sites: tuple[Site, ...]
    """Every site, to choose from."""
    names: Mapping[str, str]
    """What the sites are called, by id."""
    fields: tuple[Present, ...]
    """Of the chosen site: what can be told of it, in the order of the form's fields."""
    labels: Mapping[str, str]
    """Words for the texts of a reading."""
    now: str
    """The time, in UTC, to the minute."""
    typed: Mapping[str, str]
    """What was typed and not taken."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""
    states: tuple[StateLine, ...]
    """How the network is to stand later, in the order of the days."""
