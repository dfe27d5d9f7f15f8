"""The search for offsets, the sliders, and what counts."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.by_hand import Slider
from sfn.answer.effect import Effect
from sfn.answer.zones import Offered
from sfn.errors import Problem
from sfn.plan import Weight
from sfn.solve.objective import Score
from webapp.contexts import Context, NetworkHead
from webapp.jobs import JobView


@dataclass(frozen=True, slots=True)
class WeightLine:
    """One weight of the document: as it is, and in words."""

    weight: Weight
    said: str


@dataclass(frozen=True, slots=True)
class OffsetsPage(Context):
    """Search for offsets, what it found, the offsets by hand, and what counts."""

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
    layers: dict[str, Offered]
    """The overlap map's layers, by name."""
    drawn: dict[str, Any]
    """Sites, weights and bounds, for the map."""
    weights: tuple[WeightLine, ...]
    """What counts more or less."""
    new_weight: dict[str, str]
    """What was typed into the form for one more."""
    places: tuple[str, ...]
    """Names of the places that a weight may be about, the largest first."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_known: bool
    """Whether the network names people to count."""
    ofdm: bool
    """Whether the service is an OFDM one."""
    smooth: bool
    """Whether no terrain is named."""
    averaged_says: str
    """How terrain or cover behind the levels was made coarser, in words; empty where it is as in the files."""
    stale: bool
    """Whether what was found belongs to an earlier revision."""
    problems: tuple[Problem, ...]
    """What keeps the search from running, or a weight from being saved."""


@dataclass(frozen=True, slots=True)
class OffsetsHand(Context):
    """What offsets set by hand do, in numbers, beside the sliders."""

    TEMPLATE: ClassVar[str] = "offsets_hand.html"
    now: Score
    """With the offsets of the saved revision."""
    tried: Score
    """With those of the sliders."""
    unit: str
    """People or km2, as they are counted."""
    weighed: bool
    """Whether the network has weights."""
    doubts: tuple[Problem, ...]
    """Why the devices could not be set like that."""


@dataclass(frozen=True, slots=True)
class OffsetsEffect(Context):
    """Who gains and who loses by the sliders' offsets, beneath the map."""

    TEMPLATE: ClassVar[str] = "offsets_effect.html"
    network_id: int
    """Which network."""
    found: Effect
    """The change."""
