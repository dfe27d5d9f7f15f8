"""Clocks and failures."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.clocks import Clocks
from sfn.answer.failures import FailureRow
from sfn.answer.muting import MutingOrder
from sfn.answer.standby_routes import StandbyRoute
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.forms.stream import Part


@dataclass(frozen=True, slots=True)
class ClocksPage(Context):
    """Holdover of the sites' clocks, and which failure leaves which sites in step."""

    TEMPLATE: ClassVar[str] = "clocks.html"
    TAB: ClassVar[str] = "clocks"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    found: Clocks | None
    """The clocks, unless a field is wrong."""
    assumed: bool
    """Whether no clock has been chosen yet."""
    note: str
    """What the classes' figures are."""
    chart: str
    """Error against time."""
    failures: tuple[FailureRow, ...]
    """Worst first."""
    no_row: tuple[str, ...]
    """Sites whose lost reference has no row there, and why, as sentences."""
    order: MutingOrder | None
    """Which site falls silent first; None while there are no field strengths to judge it by."""
    standby: tuple[StandbyRoute, ...]
    """Going over to each standby route."""
    references: tuple[tuple[str, str, float | None], ...]
    """Of every site that keeps time: name, time scale, error of its antenna cable. [us]"""
    reference_problems: tuple[Problem, ...]
    """What is wrong with them."""
    problems: tuple[Problem, ...]
    """What belongs to no field."""
