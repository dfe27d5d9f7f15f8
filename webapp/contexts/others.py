"""Transmitters of other programmes on this channel and beside it."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from sfn.plan import OtherTransmitter
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class OthersPage(Context):
    """The list, and the table that it is edited as."""

    TEMPLATE: ClassVar[str] = "others.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    listed: tuple[tuple[OtherTransmitter, str], ...]
    """Those of the saved revision, each with its ratios in words."""
    says: str
    """What figures know of other programmes."""
    table: str
    """The list as a table, as it was typed."""
    columns: str
    """Columns that a table may have."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent."""
