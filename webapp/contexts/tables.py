"""Sites as a table: what was understood of one that was sent."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.site_table import Understood
from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class TablesPage(Context):
    """Sites in and out as a table."""

    TEMPLATE: ClassVar[str] = "tables.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    site_names: tuple[tuple[str, str], ...]
    """Sites that new ones may be like: id and name."""
    like: str
    """The one chosen."""
    columns: tuple[str, ...]
    """Names of columns that are known."""
    found: Understood | None
    """What was understood, once a table was sent."""
    content: str
    """The table that was sent, as CSV text, to be sent again on saving."""
    doubts: tuple[Problem, ...]
    """What keeps the changed document from being saved, or should be given a second look."""
    problems: tuple[Problem, ...]
    """What is wrong with the file."""
