"""Every arrival in a recording of I and Q."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class ArrivalsPage(Context):
    """Several sites' arrivals in one recording, and the measurements they make."""

    TEMPLATE: ClassVar[str] = "arrivals.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    answer: dict[str, Any]
    """As ``python -m sfn arrivals --json`` answers."""
    names: dict[str, str]
    """Site names by id."""
    problems: tuple[Problem, ...]
    """What is doubtful about the recording."""
    json_address: str
    """The same for scripts."""
