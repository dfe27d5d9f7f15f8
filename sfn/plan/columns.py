"""Columns of a table under the names that people give them, and the unit that each is written in."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import marks_of
from sfn.plan.rows import Row
from sfn.plan.sheets import SheetTable

FOOT_M = 0.3048
LENGTHS = {"m": 1.0, "ft": FOOT_M, "feet": FOOT_M}
TIMES = {"us": 1.0, "\u00b5s": 1.0, "\u03bcs": 1.0, "ms": 1000.0, "ns": 1e-3}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: as it is called in the file, what it was taken for (empty: nothing), and the unit read into it."""

    title: str
    taken_for: str
    unit: str
    factor_ratio: float = 1.0
    """What turns the unit into ours."""


@dataclass(frozen=True, slots=True)
class Known:
    """Columns that are understood: other names by our own, and units by factor; the first of each is ours."""

    names: Mapping[str, tuple[str, ...]]
    units: Mapping[str, Mapping[str, float]]


def columns_of(table: SheetTable, known: Known) -> tuple[Column, ...]:
    """What every column of a table is taken for.

    Raises
    ------
    PlanError
        If two are taken for the same.
    """
    columns = tuple(_column(title, known) for title in table.head)
    taken = [c.taken_for for c in columns if c.taken_for]
    twice = sorted({name for name in taken if taken.count(name) > 1})
    if twice:
        where, what = f"{table.source} line {table.head_line}", f"two columns are taken for {', '.join(twice)}"
        raise PlanError([Problem(where, what, "each once", code="column-twice", fields=tuple(twice))])
    return columns


def rows_under(table: SheetTable, columns: tuple[Column, ...], known: Known) -> tuple[Row, ...]:
    """The table's lines under our names of the columns, each with a list of problems of its own."""
    # Numbers alone tell how numbers are written: a site may be called 1,5.
    counted = {k for k, column in enumerate(columns) if column.taken_for in known.units}
    marks = marks_of(cell for _, cells in table.lines for k, cell in enumerate(cells) if k in counted)
    taken = {c.taken_for: c for c in columns if c.taken_for}
    rows = []
    for line, cells in table.lines:
        named = {c.taken_for: cell for c, cell in zip(columns, cells, strict=False) if c.taken_for}
        row = Row(table.source, line, named, [], marks, {key: c.title for key, c in taken.items()},
                  {key: c.factor_ratio for key, c in taken.items()})  # fmt: skip
        if len(cells) > len(columns):
            row.no(None, f"has {len(cells)} cells", f"{len(columns)}, as the first line has", code="line-length")
        rows.append(row)
    return tuple(rows)


def _column(title: str, known: Known) -> Column:
    """What a column is taken for, and its unit: ``antenna height (ft)``, ``erp_h_w``."""
    plain = " ".join(title.lower().replace("_", " ").replace(".", " ").split())
    name, _, unit = plain.partition("(") if "(" in plain else plain.partition("[")
    name, unit = name.strip(), unit.strip(" )]")
    for key, others in known.names.items():
        names = {one.replace("_", " ") for one in others}
        units = known.units.get(key, {})
        if name in names and (not unit or unit in units or not units):
            found = unit or next(iter(units), "")
            return Column(title, key, found, units.get(found, 1.0))
        words = name.split()
        if not unit and len(words) > 1 and words[-1] in units and " ".join(words[:-1]) in names | _bare(key):
            return Column(title, key, words[-1], units[words[-1]])
    return Column(title, "", "")


def _bare(key: str) -> set[str]:
    """Our own name without its unit."""
    return {" ".join(key.split("_")[:-1])}
