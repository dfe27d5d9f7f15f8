"""The overlap map and the signals at a point."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.compared import Compared
from sfn.answer.point import Judged
from sfn.answer.zones import Zones
from sfn.errors import Problem
from sfn.plan import Site
from webapp.contexts import Context, NetworkHead
from webapp.jobs import JobView


@dataclass(frozen=True, slots=True)
class ZonesPage(Context):
    """The overlap map of one network."""

    TEMPLATE: ClassVar[str] = "zones.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, for the offsets that may be tried."""
    key: str
    """Of the levels that the map is drawn from."""
    area: str
    """The area and pixel asked for, as the page's address has them; empty for the usual ones."""
    pixel_m: float
    """Side of a pixel on the ground. [m]"""
    job: JobView | None
    """The computation, while the levels are not there."""
    ready: bool
    """Whether the levels are there."""
    streets: bool
    """Whether the user turned street tiles on."""
    smooth: bool
    """Whether no terrain is named."""
    problems: tuple[Problem, ...]
    """Why there is no map, if so."""


@dataclass(frozen=True, slots=True)
class MapSummary(Context):
    """The overlap in numbers, beside the map."""

    TEMPLATE: ClassVar[str] = "map_summary.html"
    found: Zones
    """The map as it is drawn."""
    compared: Compared
    """Area and people by class and by site, as planned and as tried."""
    is_tried: bool
    """Whether anything is tried."""
    people_said: str
    """Where the people come from, or why they are not counted."""


@dataclass(frozen=True, slots=True)
class PointPage(Context):
    """Every signal at one receiving point."""

    TEMPLATE: ClassVar[str] = "point.html"
    TAB: ClassVar[str] = "point"
    network: NetworkHead
    """Which network, in which revision."""
    at: str
    """The place as it was typed."""
    rx_height_m: str
    """Height of the receiving antenna as it was typed."""
    found: Judged | None
    """The signals and what they make of reception, once a place is given."""
    direct: str
    """Where the direct simulation is found; empty where there is none."""
    problems: tuple[Problem, ...]
    """What is wrong with the place."""


@dataclass(frozen=True, slots=True)
class PointPart(Context):
    """The signals at a clicked point, for the map's side."""

    TEMPLATE: ClassVar[str] = "point_part.html"
    found: Judged
    """The signals and what they make of reception."""
    link: str
    """Address of the same point as a page of its own."""


@dataclass(frozen=True, slots=True)
class DirectPart(Context):
    """The direct simulation of FM reception at a point."""

    TEMPLATE: ClassVar[str] = "direct_part.html"
    answer: dict[str, Any]
    """As the command `signals` answers."""
