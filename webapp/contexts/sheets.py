"""Field sheets: the list, one site's sheet, and the same on paper."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.sheet import Sheet
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.entries import Entry
from webapp.release import SheetLine, State


@dataclass(frozen=True, slots=True)
class SheetsPage(Context):
    """Every site's sheet, and whether it is issued."""

    TEMPLATE: ClassVar[str] = "sheets.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[SheetLine, ...]
    """One line a site."""
    release: tuple[str, ...]
    """Names of the sites that are set together."""
    missing: tuple[Problem, ...]
    """Sites that have no sheet, and why."""
    common_delay_us: float
    """The common delay."""
    frozen: bool
    """Whether the common delay stays as it is, whatever changes at one site."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""


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
    """The sign-off, if any."""
    issued: bool
    """Whether a technician may go by it."""
    address: str
    """Where this sheet is found by others; empty where the application has no public address."""
    state: State
    """How far it is: withheld, stale, needs sign-off, ready, issued."""
    issue: Entry | None
    """Who issued it, if anybody did."""
    copy_of: int | None
    """The revision of the copy that somebody came from, where that is another one than this; else None."""
    opens: str
    """What the code on the sheet opens, to whom."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""


@dataclass(frozen=True, slots=True)
class SheetPaper(Context):
    """One site's sheet as it is printed."""

    TEMPLATE: ClassVar[str] = "sheet_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    sheet: Sheet
    """The numbers."""
    signed: Entry | None
    """The sign-off, if any."""
    issued: bool
    """Whether a technician may go by it."""
    address: str
    """Where this sheet is found by others; empty where the application has no public address."""
    state: State
    """How far it is: withheld, stale, needs sign-off, ready, issued."""
    issue: Entry | None
    """Who issued it, if anybody did."""
    opens: str
    """What the code on the sheet opens, to whom."""
