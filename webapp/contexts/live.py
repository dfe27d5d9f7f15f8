"""The change under way."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.live_change import Step
from webapp.contexts import Context, NetworkHead
from webapp.live import Live


@dataclass(frozen=True, slots=True)
class LivePage(Context):
    """Each step, its reading, the time to the deadline, and the way back of every site."""

    TEMPLATE: ClassVar[str] = "live.html"
    TAB: ClassVar[str] = "change"
    network: NetworkHead
    """Which network, in which revision."""
    live: Live | None
    """The change under way; None where none is."""
    steps: tuple[Step, ...]
    """What a change that begins now would do."""
    why_not: str
    """Why none can begin now; empty where one can."""
    deadline: str
    """By when the old values go back, as the work order says it."""
    now: str
    """When this was looked up, in UTC."""
