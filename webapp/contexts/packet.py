"""The work packet."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class PacketPage(Context):
    """What the packet holds, or why there is none."""

    TEMPLATE: ClassVar[str] = "packet.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    refused: tuple[Problem, ...]
    """Every reason why there is none."""
    not_issued: tuple[str, ...]
    """Names of the sites whose sheets would go with it stamped, or keep it back."""
    reachable: bool
    """Whether the application has an address that a telephone can reach."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""
    days: int
    """How long a link lasts, if nothing else is asked for."""
    most_days: int
    """How long it may last."""
