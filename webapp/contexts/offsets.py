"""The search for offsets, and the sliders."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.by_hand import Slider
from sfn.errors import Problem
from sfn.solve.objective import Score
from webapp.contexts import Context, NetworkHead
from webapp.jobs import JobView


@dataclass(frozen=True, slots=True)
class OffsetsPage(Context):
    """Search for offsets, what it found, and the offsets by hand."""

    TEMPLATE: ClassVar[str] = "offsets.html"
    TAB: ClassVar[str] = "offsets"
    network: NetworkHead
    """Which network, in which revision."""
    sliders: tuple[Slider, ...]
    """A range for each site."""
    typed: dict[str, str]
    """What was typed into the search's form, or its usual values."""
    job: JobView | None
    """The search, while it runs or where it failed."""
    answer: dict[str, Any] | None
    """What it found, as the command answers it."""
    names: dict[str, str]
    """Names of the sites."""
    reason: str
    """Filled in where the offsets are saved."""
    key: str
    """Of the levels, where they are in memory; empty otherwise."""
    people_known: bool
    """Whether the network names people to count."""
    smooth: bool
    """Whether no terrain is named."""
    stale: bool
    """Whether what was found belongs to an earlier revision."""
    problems: tuple[Problem, ...]
    """What keeps the search from running."""


@dataclass(frozen=True, slots=True)
class OffsetsHand(Context):
    """What offsets set by hand do, in numbers, beside the sliders."""

    TEMPLATE: ClassVar[str] = "offsets_hand.html"
    now: Score
    """With the offsets of the saved revision."""
    tried: Score
    """With those of the sliders."""
    unit: str
    """People or km2."""
