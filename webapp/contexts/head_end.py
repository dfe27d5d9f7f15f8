"""The head-end sheet, on the screen and on paper."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.sheet import FieldLine, RouteSheet
from webapp.contexts import Context, NetworkHead
from webapp.release import SheetLine


@dataclass(frozen=True, slots=True)
class HeadEndLine:
    """One delay that is sent in the stream."""

    line: SheetLine
    route: RouteSheet
    field: FieldLine
    transmitter_id: str
    """By which the head-end addresses the transmitter; empty where nobody said it."""


@dataclass(frozen=True, slots=True)
class HeadEndPage(Context):
    """Delays sent in the stream, by transmitter identifier."""

    TEMPLATE: ClassVar[str] = "head_end.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[HeadEndLine, ...]
    """One line a field and route."""
    issued: bool
    """Whether every one of them may be entered."""
    address: str
    """Where this page is found by others; empty where the application has no public address."""


@dataclass(frozen=True, slots=True)
class HeadEndPaper(Context):
    """The same on paper."""

    TEMPLATE: ClassVar[str] = "head_end_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[HeadEndLine, ...]
    """One line a field and route."""
    issued: bool
    """Whether every one of them may be entered."""
    address: str
    """Where this page is found by others; empty where the application has no public address."""
