"""How old and how sure the numbers are, and a site's history."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.ages import Ages
from sfn.answer.history import History
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class ChangeTyped:
    """A change of firmware or mode as it was typed."""

    stages: tuple[str, ...] = ()
    firmware: str = ""
    day: str = ""


@dataclass(frozen=True, slots=True)
class AgesPage(Context):
    """Every site's number: how old, how sure, what must be measured again."""

    TEMPLATE: ClassVar[str] = "ages.html"
    TAB: ClassVar[str] = "ages"
    network: NetworkHead
    """Which network, in which revision."""
    found: Ages
    """Sites and stages, the worst first."""
    typed: ChangeTyped
    """The change as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""


@dataclass(frozen=True, slots=True)
class HistoryPage(Context):
    """One site over time."""

    TEMPLATE: ClassVar[str] = "history.html"
    TAB: ClassVar[str] = "ages"
    network: NetworkHead
    """Which network, in which revision."""
    found: History
    """Settings and readings, the oldest first."""
    left_out: int
    """Older revisions that are not looked at."""
