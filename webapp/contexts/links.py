"""The link plan and its advice."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from sfn.stream.advise import Choice
from sfn.stream.link import LinkPlan
from webapp.contexts import Context, NetworkHead
from webapp.forms.stream import Part


@dataclass(frozen=True, slots=True)
class ChainChoice:
    """A chain that a plan may go into."""

    site_id: str
    site_name: str
    route: str
    stages: tuple[str, ...]
    likely: str
    """The stage that a stream most likely replaces."""
    plan: str
    """Fields of the plan that is there now, if one is."""


@dataclass(frozen=True, slots=True)
class Compared:
    """The same stream at another packet time."""

    packet_time_us: float
    packets_per_s: float
    ip_mbps: float
    wire_mbps: float
    latency_us: float
    fits_mtu: bool


@dataclass(frozen=True, slots=True)
class LinksPage(Context):
    """One stream planned."""

    TEMPLATE: ClassVar[str] = "links.html"
    TAB: ClassVar[str] = "links"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    wanted: tuple[Part, ...]
    """The form of the advice."""
    typed: str
    """The plan's fields as text, for the forms beneath."""
    plan: LinkPlan | None
    """The plan, once asked for."""
    range_db: tuple[float, float] | None
    """Dynamic range of the sample size, without and with dither, where samples are sent."""
    slots: int
    """Time slots of 64 kbit/s that the payload fills on a TDM link."""
    compared: tuple[Compared, ...]
    """Other packet times."""
    chart: str
    """The latency, element by element."""
    chains: tuple[ChainChoice, ...]
    """Where the plan may go."""
    problems: tuple[Problem, ...]
    """What is wrong, or doubtful, with the plan as a whole."""


@dataclass(frozen=True, slots=True)
class AdvicePage(Context):
    """Every protection for a target, ranked."""

    TEMPLATE: ClassVar[str] = "advice.html"
    TAB: ClassVar[str] = "links"
    network: NetworkHead
    """Which network, in which revision."""
    choices: tuple[Choice, ...]
    """Those that meet the target first."""
    meeting: int
    """How many do."""
    links: tuple[str, ...]
    """Address of the plan with each choice in it."""
    chart: str
    """Time between errors against latency."""
    back: str
    """Address of the plan that was asked about."""
