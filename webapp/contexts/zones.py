"""The overlap map and the signals at a point."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.compared import Compared
from sfn.answer.point import Judged
from sfn.answer.zones import Offered, Zones
from sfn.errors import Problem
from webapp.complaints import Complaint
from webapp.contexts import Context, NetworkHead
from webapp.jobs import JobView
from webapp.tries import SiteTry, WindowTried


@dataclass(frozen=True, slots=True)
class MapAddress:
    """What the page's address says, but for what is tried."""

    bounds: str = ""
    """South, west, north, east; empty for the usual area."""
    pixel_m: str = ""
    """Side of a pixel as it was typed; empty for the usual one."""
    streets: bool = False
    """Whether the user turned street tiles on."""
    layer: str = ""
    """The layer that is shown."""


@dataclass(frozen=True, slots=True)
class ZonesPage(Context):
    """The overlap map of one network."""

    TEMPLATE: ClassVar[str] = "zones.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    states: tuple[str, ...]
    """Planned states that the map can be asked for."""
    sites: tuple[SiteTry, ...]
    """Its sites, with what may be tried and what is."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    layers: dict[str, Offered]
    """The layers on offer, by name."""
    key: str
    """Of the levels that the map is drawn from; empty where there is no map."""
    asked: MapAddress
    """What the page's address says, but for what is tried."""
    query: str
    """What is tried, as an address has it."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    pixel_m: float
    """Side of a pixel on the ground. [m]"""
    job: JobView | None
    """The computation, while the levels are not there."""
    ready: bool
    """Whether the levels are there."""
    levels_url: str
    """Where their computation is started, by POST; empty where they are there, on their way, or cannot be."""
    by_itself: bool
    """Whether the page's script starts it: not behind a link from another site."""
    smooth: bool
    """Whether no terrain is named."""
    complaints: tuple[Complaint, ...]
    """What listeners complained of, the newest first."""
    problems: tuple[Problem, ...]
    """Why there is no map, if so."""


@dataclass(frozen=True, slots=True)
class MapTry(Context):
    """What is tried on the map, and the way back to the plan."""

    TEMPLATE: ClassVar[str] = "map_try.html"
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    back: str
    """Address of the same map with the plan."""


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
    in_short: str
    """What the try changes, in a sentence."""
    people_said: str
    """Where the people come from, or why they are not counted."""
    people_page: str
    """Where that is changed."""
    others_page: str
    """Where transmitters of other programmes are listed."""


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
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    trying: tuple[tuple[str, str], ...]
    """The same as an address has it."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    found: Judged | None
    """The signals and what they make of reception, once a place is given."""
    direct: str
    """Where the direct simulation is asked for, by POST; empty where there is none."""
    by_itself: bool
    """Whether the page's script asks for it: not behind a link from another site."""
    problems: tuple[Problem, ...]
    """What is wrong with the place."""


@dataclass(frozen=True, slots=True)
class PointPart(Context):
    """The signals at a clicked point, for the map's side."""

    TEMPLATE: ClassVar[str] = "point_part.html"
    found: Judged
    """The signals and what they make of reception."""
    is_tried: bool
    """Whether anything is tried."""
    link: str
    """Address of the same point as a page of its own."""


@dataclass(frozen=True, slots=True)
class DirectPart(Context):
    """The direct simulation of FM reception at a point."""

    TEMPLATE: ClassVar[str] = "direct_part.html"
    answer: dict[str, Any]
    """As the command `signals` answers."""
