"""Tables that people bring (CSV): every cell that cannot be used is named by file, line and column."""

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sfn.errors import PlanError, Problem, at_most
from sfn.plan.formula import unguarded
from sfn.plan.number_text import FORM, Marks, float_written, marks_of
from sfn.plan.sheets import content_of, separator_of, table_text
from sfn.units import grouped

MOST_LINES_N = 300_000
MOST_CELLS_N = 10 * MOST_LINES_N


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table; what cannot be read is noted in `problems`, and reading goes on."""

    source: str
    line: int
    cells: dict[str, str]
    problems: list[Problem] = field(repr=False, compare=False)
    marks: Marks = FORM
    """Decimal marks of the whole table."""
    titles: Mapping[str, str] = field(default_factory=dict)
    """Names of columns as the file has them, where they are not ours."""
    factors: Mapping[str, float] = field(default_factory=dict)
    """What turns a column's unit into ours, where it is another."""

    def where(self, column: str | None = None) -> str:
        """``FILE line 7 column lat``."""
        return f"{self.source} line {self.line}" + (f" column {self.titles.get(column, column)}" if column else "")

    def no(self, column: str | None, what: str, expected: str, *, code: str) -> None:
        """Note a problem."""
        fields = () if column is None else (column,)
        self.problems.append(
            Problem(self.where(column), what, expected, code=code, fields=fields, values={"line": self.line})
        )

    def text(self, column: str, *, empty: bool = False) -> str:
        """The cell's text; an empty one is a problem unless allowed."""
        value = self.cells.get(column, "")
        if not value and not empty:
            self.no(column, "is empty", "a value", code="cell-empty")
        return value

    def number(self, column: str, *, least: float, greatest: float, unit: str, empty: bool = False) -> float:
        """The cell's number in our unit, within a range; NaN, with a problem noted, when it is none."""
        text = self.text(column, empty=empty)
        if not text:
            return math.nan
        try:
            value = float_written(text, self.marks) * self.factors.get(column, 1.0)
        except ValueError as error:
            what, code = str(error), "not-a-number"
        else:
            if least <= value <= greatest:
                return value
            what, code = f"{text} is out of range", "out-of-range"
        self.no(column, what, f"a number from {least:.12g} to {greatest:.12g} {unit}", code=code)
        return math.nan

    def one_of(self, column: str, known: tuple[str, ...]) -> str:
        """The cell's text when it is one of those known."""
        value = self.text(column)
        if value and value not in known:
            self.no(column, f"{value!r} is not known", f"one of {', '.join(known)}", code="not-on-offer")
        return value


def read_rows(
    path: Path | str, *, required: tuple[str, ...], optional: tuple[str, ...] = (), source: str | None = None
) -> list[Row]:
    """Lines of a CSV or XLSX file with a header; comma, semicolon or tab between cells.

    Parameters
    ----------
    path : path
    required, optional : tuple of str
        Columns that must and may be there, in any order.
    source : str, optional
        What messages call it; the file's name.

    Returns
    -------
    list of Row
        All share one list of problems: look at it when the last row was used, see `refuse`.

    Raises
    ------
    PlanError
        If the file cannot be read, holds no line, or a column is missing, unknown or there twice.
    """
    path = Path(path)
    source = source or path.name
    content = content_of(path, expected=f"a CSV or XLSX file with the columns {','.join(required)}")
    return rows_of(table_text(content, source=source), source=source, required=required, optional=optional)


def rows_of(text: str, *, source: str, required: tuple[str, ...], optional: tuple[str, ...] = ()) -> list[Row]:
    """The same from text that is already here, `source` being what messages call it."""
    # Counted before anything is taken apart: a cell costs many times its byte.
    cells_n = max(text.count(sign) for sign in (",", ";", "\t"))
    for found, most, name in ((text.count("\n"), MOST_LINES_N, "lines"), (cells_n, MOST_CELLS_N, "cells")):
        if found > most:
            what = f"has some {grouped(found)} {name}"
            raise PlanError([Problem(source, what, f"{grouped(most)} at most", code="file-too-large")])
    lines = text.splitlines()
    head = next((k for k, line in enumerate(lines) if line.strip()), None)
    if head is None:
        raise PlanError([Problem(source, "is empty", f"the columns {','.join(required)}", code="file-empty")])
    read: list[tuple[int, list[str]]] = []
    reader = csv.reader(lines[head:], delimiter=separator_of(lines[head]))
    try:
        read = [(head + reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        where, what = f"{source} line {head + reader.line_num}", f"is no line of a table ({error})"
        raise PlanError([Problem(where, what, "cells without NUL bytes", code="line-unreadable")]) from error
    names = [name.strip() for name in read[0][1]]
    problems = _header(names, where=f"{source} line {head + 1}", required=required, optional=optional)
    if problems:
        raise PlanError(problems)
    rows: list[Row] = []
    noted: list[Problem] = []
    marks = marks_of(cell for _, cells in read[1:] for cell in cells)
    for number, cells in read[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(names):
            where, what, expected = (
                f"{source} line {number}",
                f"has {len(cells)} cells",
                f"{len(names)}, as the header has",
            )
            noted.append(Problem(where, what, expected, code="line-length", values={"line": number}))
            continue
        rows.append(
            Row(source, number, dict(zip(names, (unguarded(c.strip()) for c in cells), strict=True)), noted, marks)
        )
    if not rows and not noted:
        raise PlanError(
            [Problem(source, "has a header but no lines", "at least one line of values", code="file-empty")]
        )
    if not rows:
        raise PlanError(at_most(noted, source=source))
    return rows


def refuse(rows: list[Row]) -> None:
    """Raise what was noted while the rows were read.

    Raises
    ------
    PlanError
        With the first 20 problems, in the order of the lines.
    """
    if rows[0].problems:
        raise PlanError(at_most(rows[0].problems, source=rows[0].source))


def _header(names: list[str], *, where: str, required: tuple[str, ...], optional: tuple[str, ...]) -> list[Problem]:
    """What is wrong with the first line."""
    all_columns = ",".join(required) + (f" and, if wanted, {','.join(optional)}" if optional else "")
    missing = [n for n in required if n not in names]
    unknown = [n for n in names if n not in required + optional]
    twice = sorted({n for n in names if names.count(n) > 1})
    listed = [
        ("lacks the column", "column-missing", missing),
        ("has the unknown column", "column-unknown", unknown),
        ("has twice the column", "column-twice", twice),
    ]
    return [
        Problem(where, f"{what} {', '.join(which)}", all_columns, code=code, fields=tuple(which))
        for what, code, which in listed
        if which
    ]
