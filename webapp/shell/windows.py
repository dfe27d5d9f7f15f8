"""Long tables in parts: which rows a page shows, and of how many."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar

from fastapi import Query

from webapp.config.limits import whole_number

Row = TypeVar("Row")

USUAL_ROWS_N = 200
Shown = Annotated[str, Query(max_length=9)]
"""Which part of a table, as an address asks for it."""
Sought = Annotated[str, Query(max_length=200)]
"""Words that the rows of a table are looked through for."""


@dataclass(frozen=True, slots=True)
class Window(Generic[Row]):
    """Some rows of a table."""

    rows: tuple[Row, ...]
    number: int
    """Which part, from 1."""
    first: int
    """Number of its first row, from 1; 0 of an empty table."""
    rows_n: int
    """Of the whole table."""
    parts_n: int

    @property
    def last(self) -> int:
        """Number of its last row."""
        return self.first + len(self.rows) - 1 if self.rows else 0

    @property
    def whole(self) -> bool:
        """Whether nothing is left out."""
        return self.parts_n == 1


def window(rows: Sequence[Row], asked: str, *, most: int = USUAL_ROWS_N) -> Window[Row]:
    """The part of a table that an address asks for; the first where it asks for none, the nearest where there is none.

    Parameters
    ----------
    rows : sequence
    asked : str
        Number of the part, as it stands in the address.
    most : int
        Rows of a part.
    """
    parts_n = max(1, -(-len(rows) // most))
    number = min(max(whole_number(asked) or 1, 1), parts_n)
    begin = (number - 1) * most
    shown = tuple(rows[begin : begin + most])
    return Window(shown, number, begin + 1 if shown else 0, len(rows), parts_n)


def has_words(sought: str, *texts: str) -> bool:
    """Whether every word that is looked for stands somewhere in the texts, whatever its letter case."""
    whole = "\n".join(texts).casefold()
    return all(word in whole for word in sought.casefold().split())
