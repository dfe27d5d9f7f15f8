"""Any list of signals, and what a programme sounds like at a point."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.heard import Heard
from sfn.answer.signals import Listed
from sfn.errors import Problem
from sfn.systems.ofdm_window import MAP_STRATEGY
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class SignalsTyped:
    """The form as it was typed."""

    table: str = ""
    service: str = ""
    frequency_mhz: str = ""
    threshold_db: str = ""
    others: str = ""
    direct: bool = False
    strategy: str = MAP_STRATEGY
    backoff_us: str = ""


@dataclass(frozen=True, slots=True)
class SignalsPage(Context):
    """What a receiver makes of a pasted list of signals."""

    TEMPLATE: ClassVar[str] = "signals.html"
    TAB: ClassVar[str] = "signals"
    network: NetworkHead
    """Which network, in which revision."""
    typed: SignalsTyped
    """The form as it was typed."""
    services: tuple[str, ...]
    """Ids on offer, to choose from."""
    strategies: tuple[str, ...]
    """Window strategies on offer."""
    made: Listed | None
    """The answer, names, what other services ask for, and the picture."""
    problems: tuple[Problem, ...]
    """What is wrong with the list or the form."""


@dataclass(frozen=True, slots=True)
class HeardPage(Context):
    """A programme as heard at a point, beside the same undisturbed."""

    TEMPLATE: ClassVar[str] = "heard.html"
    TAB: ClassVar[str] = "point"
    network: NetworkHead
    """Which network, in which revision."""
    found: Heard
    """The two sounds and how they came about."""
    at: str
    """The point."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    job: str
    """Where the sounds are kept."""
    back: str
    """Address of the point."""
