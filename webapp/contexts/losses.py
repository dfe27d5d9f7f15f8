"""Losses: given and measured."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.losses import Left, Records
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.forms.stream import Part


@dataclass(frozen=True, slots=True)
class LossesPage(Context):
    """What protections leave of given losses, and the form that takes records of a network."""

    TEMPLATE: ClassVar[str] = "losses.html"
    TAB: ClassVar[str] = "losses"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    upload: tuple[Part, ...]
    """The form beside the files."""
    left: tuple[Left, ...]
    """The usual protections, once asked."""
    problems: tuple[Problem, ...]
    """What belongs to no field."""


@dataclass(frozen=True, slots=True)
class MeasuredPage(Context):
    """What one or two records of a network say."""

    TEMPLATE: ClassVar[str] = "measured.html"
    TAB: ClassVar[str] = "losses"
    network: NetworkHead
    """Which network, in which revision."""
    records: Records
    """The records and what was found."""
    charts: tuple[str, ...]
    """Bursts, delays, hours."""
    as_model: str
    """Address of the losses page with the fitted model in it."""
    as_plan: str
    """Address of the link plan with the delay variation and the model in it."""
