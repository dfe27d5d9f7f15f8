"""The delay page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.delays import Delays
from sfn.report.arrival_rows import ArrivalRows
from webapp.contexts import Context, NetworkHead
from webapp.sheet_stands import SheetStands


@dataclass(frozen=True, slots=True)
class DelaysPage(Context):
    """Delay table, pairs and loops of one network."""

    TEMPLATE: ClassVar[str] = "delays.html"
    TAB: ClassVar[str] = "delays"
    network: NetworkHead
    """Which network, in which revision."""
    found: Delays
    """The table, its pairs, loops and problems."""
    names: dict[str, str]
    """Site names by id."""
    picture: ArrivalRows
    """Launches of all routes against the common delay."""
    kinds: dict[str, str]
    """What the point of a pair's wish is, by its kind."""
    no_loop: dict[str, str]
    """Why there is no loop, by code."""
    sheets: Mapping[str, SheetStands]
    """How far each site's sheet is, by site; none of a planned state, which nobody signs."""
    states: tuple[str, ...]
    """Planned states that the table can be asked for."""
