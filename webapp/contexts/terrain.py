"""The network's terrain, and a site's antenna."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from sfn.plan import Antenna
from sfn.terrain.census import Census
from webapp.contexts import Context, NetworkHead
from webapp.forms.ground import ClassRow, SourceTyped
from webapp.terrains import TerrainLine


@dataclass(frozen=True, slots=True)
class HeightLine:
    """One site's ground height, typed and by the terrain."""

    site_id: str
    name: str
    typed_m: float
    terrain_m: float | None
    """None where the terrain does not cover the site."""
    questioned: bool
    """Whether they differ by more than is likely."""
    ticked: bool
    """Whether the terrain's is to be taken."""


@dataclass(frozen=True, slots=True)
class SourcePart:
    """Ground cover, or zones, in the form."""

    key: str
    """``cover`` or ``zones``."""
    typed: SourceTyped
    """What is chosen, and the heights or zones of its classes."""
    rows: tuple[ClassRow, ...]
    """Classes to show; empty where none are asked for."""
    census: Census | None
    """What the chosen files hold; None where nothing is chosen or they cannot be read."""


@dataclass(frozen=True, slots=True)
class TerrainPage(Context):
    """Which terrain the network stands on."""

    TEMPLATE: ClassVar[str] = "terrain.html"
    TAB: ClassVar[str] = "terrain"
    network: NetworkHead
    """Which network, in which revision."""
    chosen: str
    """What the form sends for the terrain."""
    lines: tuple[TerrainLine, ...]
    """Every terrain on offer."""
    heights: tuple[HeightLine, ...]
    """The sites' ground heights beside the terrain's; empty without terrain."""
    cover: SourcePart
    """What stands on the ground."""
    zones: SourcePart
    """Sea, coast and inland."""
    sending: dict[str, str]
    """What was typed beside files that were refused: name, unit, crs, of."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, or with the terrain in force."""
    surface: bool
    """Whether its heights are those of treetops and roofs."""


@dataclass(frozen=True, slots=True)
class AntennaPage(Context):
    """One site's antenna."""

    TEMPLATE: ClassVar[str] = "antenna.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    site_id: str
    """Id of the site."""
    name: str
    """Its name."""
    antenna: Antenna | None
    """The antenna in force; None: alike in all directions."""
    true_deg: float | None
    """Its azimuth from true north."""
    typed: dict[str, str]
    """What the form's fields hold."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, and doubts about the tables."""
