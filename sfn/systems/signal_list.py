"""A list of signals as text: what was measured or pasted, read with the place of whatever is wrong in it.

Columns by their names in the first line, in any order: ``level_dbuvm`` and ``delay_us``, and if you
have them ``level_1pct_dbuvm`` and ``site`` (a name for people). Separated by comma, semicolon or
tab; with the latter two a decimal comma is understood. Empty lines don't count.
"""

import csv
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem

REQUIRED = ("level_dbuvm", "delay_us")
OPTIONAL = ("level_1pct_dbuvm", "site")
RANGES = {"level_dbuvm": (-200.0, 200.0), "level_1pct_dbuvm": (-200.0, 200.0), "delay_us": (-1e9, 1e9)}
MOST_SIGNALS = 10_000


@dataclass(frozen=True, slots=True)
class SignalList:
    """Signals as arrays of one length.

    Parameters
    ----------
    level_dbuvm, delay_us : (S,) arrays
        [dBuV/m, us]
    level_1pct_dbuvm : (S,) array or None
        None where the list has no such column. [dBuV/m]
    site : tuple of str
        Names, empty where the list has none.
    """

    level_dbuvm: NDArray[np.float64]
    delay_us: NDArray[np.float64]
    level_1pct_dbuvm: NDArray[np.float64] | None
    site: tuple[str, ...]


def read_signal_list(text: str) -> SignalList:
    r"""Read a list of signals.

    Raises
    ------
    PlanError
        If anything in it can't be used; every problem says line and column.

    Examples
    --------
    >>> read_signal_list(chr(10).join(["level_dbuvm,delay_us", "60,0", "54,12.5"])).delay_us.tolist()
    [0.0, 12.5]
    """
    lines = text.removeprefix("\ufeff").splitlines()
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" \t,;")]
    if not filled:
        raise PlanError([Problem("line 1", "there is nothing in it", f"a first line {','.join(REQUIRED)}")])
    separator = next((s for s in (";", "\t") if s in filled[0][1]), ",")
    rows = [(number, [c.strip() for c in next(csv.reader([line], delimiter=separator))]) for number, line in filled]
    header = [name.lower() for name in rows[0][1]]
    problems = _header_problems(header, rows[0][0])
    if problems:
        raise PlanError(problems)
    values: dict[str, list[float]] = {name: [] for name in header if name in RANGES}
    sites: list[str] = []
    for number, cells in rows[1:]:
        if len(cells) != len(header):
            problems.append(
                Problem(f"line {number}", f"has {len(cells)} columns", f"{len(header)}: {','.join(header)}")
            )
            continue
        for name, cell in zip(header, cells, strict=True):
            if name == "site":
                sites.append(cell)
                continue
            value = _number(cell, decimal_comma=separator != ",")
            least, greatest = RANGES[name]
            if value is None or not least <= value <= greatest:
                expected = f"a number from {least:g} to {greatest:g}"
                problems.append(Problem(f"line {number}, column {name}", f"cannot be {cell!r}", expected))
            else:
                values[name].append(value)
    if not problems and not 1 <= len(rows) - 1 <= MOST_SIGNALS:
        problems.append(Problem("lines", f"it lists {len(rows) - 1} signals", f"from 1 to {MOST_SIGNALS}"))
    if problems:
        raise PlanError(problems)
    arrays = {name: np.array(column) for name, column in values.items()}
    return SignalList(arrays["level_dbuvm"], arrays["delay_us"], arrays.get("level_1pct_dbuvm"), tuple(sites))


def _header_problems(header: list[str], number: int) -> list[Problem]:
    """What is wrong with the names of the columns."""
    known = ", ".join((*REQUIRED, *OPTIONAL))
    return [
        *(
            Problem(f"line {number}, column {name or place + 1}", "there is no column of that name", f"one of {known}")
            for place, name in enumerate(header)
            if name not in REQUIRED + OPTIONAL
        ),
        *(
            Problem(f"line {number}, column {name}", "stands there more than once", "each column once")
            for name in REQUIRED + OPTIONAL
            if header.count(name) > 1
        ),
        *(
            Problem(f"line {number}", f"the column {name} is missing", f"a first line with {','.join(REQUIRED)}")
            for name in REQUIRED
            if name not in header
        ),
    ]


def _number(cell: str, *, decimal_comma: bool) -> float | None:
    """A finite number as it was written, or None."""
    try:
        value = float(cell.replace(",", ".") if decimal_comma else cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
