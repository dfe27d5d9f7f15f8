"""Pages on the sites and chains of one network."""

from dataclasses import dataclass
from typing import ClassVar

from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class ChainLine:
    """One route of a site, in words."""

    route: str
    stages: tuple[str, ...]
    """Ids of the stages, from the reference point to the antenna."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site in the network's list."""

    index: int
    id: str
    name: str
    position: str
    on_air: bool
    offset_us: float
    chains: tuple[ChainLine, ...]


@dataclass(frozen=True, slots=True)
class NetworkPage(Context):
    """Sites and chains of one network."""

    TEMPLATE: ClassVar[str] = "network.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[SiteLine, ...]
    """Its sites, in the order of the document."""
