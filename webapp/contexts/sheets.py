"""Field sheets: the list, one site's sheet, and the same on paper."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.sheet import Sheet
from webapp.contexts import Context, NetworkHead
from webapp.entries import Entry


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One site in the list of sheets."""

    sheet: Sheet
    signed: Entry | None
    issued: bool


@dataclass(frozen=True, slots=True)
class SheetsPage(Context):
    """Every site's sheet, and whether it is issued."""

    TEMPLATE: ClassVar[str] = "sheets.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[SheetLine, ...]
    """One line a site."""


@dataclass(frozen=True, slots=True)
class SheetPage(Context):
    """One site's sheet on the screen."""

    TEMPLATE: ClassVar[str] = "sheet.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    sheet: Sheet
    """The numbers."""
    signed: Entry | None
    """The sign-off for what is assumed, if any."""
    issued: bool
    """Whether a technician may go by it."""
    address: str
    """Where this sheet is found on the screen."""


@dataclass(frozen=True, slots=True)
class SheetPaper(Context):
    """One site's sheet as it is printed."""

    TEMPLATE: ClassVar[str] = "sheet_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    sheet: Sheet
    """The numbers."""
    signed: Entry | None
    """The sign-off for what is assumed, if any."""
    issued: bool
    """Whether a technician may go by it."""
    address: str
    """Where this sheet is found on the screen."""
