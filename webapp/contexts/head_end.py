"""The head-end sheet, on the screen and on paper."""

from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.sheet import FieldLine, RouteSheet
from sfn.answer.veil import field_veiled, route_veiled, why_withheld
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

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Its plain data: a delay that may not be entered yet is not told."""
        if self.line.issued and self.route.verdict.state != "withheld":
            return made
        why = why_withheld(self.route.verdict.reasons) or f"not issued: {self.line.state}"
        return made | {"field": field_veiled(made["field"], why), "route": route_veiled(made["route"], why)}


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
