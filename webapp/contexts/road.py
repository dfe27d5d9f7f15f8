"""Reception along a road."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.road_plan import PlannedRoad
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.tries import SiteTry, WindowTried


@dataclass(frozen=True, slots=True)
class RoadTyped:
    """The form as it was typed."""

    line: str = ""
    spacing_m: str = ""
    rx_height_m: str = ""


@dataclass(frozen=True, slots=True)
class RoadPage(Context):
    """A line to drive along, and what a receiver gets on it."""

    TEMPLATE: ClassVar[str] = "road.html"
    TAB: ClassVar[str] = "road"
    network: NetworkHead
    """Which network, in which revision."""
    typed: RoadTyped
    """The form as it was typed."""
    job: str
    """Of the levels along the line; empty where no line was sent."""
    source: str
    """What the line is called."""
    made: PlannedRoad | None
    """The road as tried, and as planned."""
    sites: tuple[SiteTry, ...]
    """What may be tried at each site."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    names: dict[str, str]
    """Site names by id."""
    query: tuple[tuple[str, str], ...]
    """What is tried, as an address has it."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    drawn: dict[str, Any]
    """Sites and bounds, for the map."""
    shade: str
    """Where the shaded ground is found; empty where it is not in memory."""
    problems: tuple[Problem, ...]
    """What is wrong with the line, or doubtful."""
    usual_spacing_m: float
    """Distance of samples where none is typed."""
    rx_height_m: float
    """Of the network's receiver, where none is typed."""
    log_typed: Mapping[str, str]
    """What was typed of a log."""
    frequency_mhz: float
    """Of the network."""
