"""A list of signals as text: what was measured or pasted, read with the place of whatever is wrong in it.

Columns by their names in the first line, in any order: ``level_dbuvm`` and ``delay_us``, and if you
have them ``level_1pct_dbuvm``, ``site`` (a name for people), and for FM ``carrier_offset_hz`` and
``deviation_mismatch_pct`` of each signal, which the direct simulation takes. Separated by comma, semicolon or
tab; with the latter two a decimal comma is understood. Empty lines don't count.
"""

import csv
from dataclasses import dataclass
from typing import Literal, cast

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import marks_of, number_in
from sfn.plan.rows import refuse, rows_of

REQUIRED = ("level_dbuvm", "delay_us")
OPTIONAL = ("level_1pct_dbuvm", "site", "carrier_offset_hz", "deviation_mismatch_pct")
RANGES = {
    "level_dbuvm": (-200.0, 200.0),
    "level_1pct_dbuvm": (-200.0, 200.0),
    "delay_us": (-1e9, 1e9),
    "carrier_offset_hz": (-2000.0, 2000.0),
    "deviation_mismatch_pct": (-50.0, 50.0),
}
MOST_SIGNALS = 10_000
Interference = Literal["steady", "tropospheric"]
INTERFERENCE: tuple[Interference, ...] = ("steady", "tropospheric")


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
    carrier_offset_hz, deviation_mismatch_pct : (S,) array or None
        FM: carrier less nominal, and deviation over nominal less 100 %. [Hz, %]
    """

    level_dbuvm: NDArray[np.float64]
    delay_us: NDArray[np.float64]
    level_1pct_dbuvm: NDArray[np.float64] | None
    site: tuple[str, ...]
    carrier_offset_hz: NDArray[np.float64] | None = None
    deviation_mismatch_pct: NDArray[np.float64] | None = None

    @property
    def needs_simulation(self) -> bool:
        """FM: carriers or deviations differ, which the table knows nothing of."""
        return any(v is not None and np.ptp(v) > 0 for v in (self.carrier_offset_hz, self.deviation_mismatch_pct))


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
    if text.count("\n") > 2 * MOST_SIGNALS:
        what = f"it has some {text.count(chr(10))} lines"
        raise PlanError([Problem("lines", what, f"from 1 to {MOST_SIGNALS} signals", code="too-many-signals")])
    lines = text.removeprefix("\ufeff").splitlines()
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" \t,;")]
    if not filled:
        raise PlanError(
            [Problem("line 1", "there is nothing in it", f"a first line {','.join(REQUIRED)}", code="file-empty")]
        )
    separator = next((s for s in (";", "\t") if s in filled[0][1]), ",")
    rows = [(number, [c.strip() for c in next(csv.reader([line], delimiter=separator))]) for number, line in filled]
    header = [name.lower() for name in rows[0][1]]
    problems = _header_problems(header, rows[0][0])
    if problems:
        raise PlanError(problems)
    marks = marks_of(cell for _, cells in rows[1:] for cell in cells)
    values: dict[str, list[float]] = {name: [] for name in header if name in RANGES}
    sites: list[str] = []
    for number, cells in rows[1:]:
        if len(cells) != len(header):
            problems.append(
                Problem(
                    f"line {number}",
                    f"has {len(cells)} columns",
                    f"{len(header)}: {','.join(header)}",
                    code="line-length",
                    values={"line": number},
                )
            )
            continue
        for name, cell in zip(header, cells, strict=True):
            if name == "site":
                sites.append(cell)
                continue
            least, greatest = RANGES[name]
            try:
                values[name].append(number_in(cell, least=least, greatest=greatest, marks=marks))
            except ValueError as error:
                expected = f"a number from {least:g} to {greatest:g}"
                problems.append(
                    Problem(
                        f"line {number}, column {name}",
                        str(error),
                        expected,
                        code="not-a-number",
                        values={"line": number},
                    )
                )
    if not problems and not 1 <= len(rows) - 1 <= MOST_SIGNALS:
        problems.append(
            Problem("lines", f"it lists {len(rows) - 1} signals", f"from 1 to {MOST_SIGNALS}", code="too-many-signals")
        )
    if problems:
        raise PlanError(problems)
    arrays = {name: np.array(column) for name, column in values.items()}
    return SignalList(
        arrays["level_dbuvm"],
        arrays["delay_us"],
        arrays.get("level_1pct_dbuvm"),
        tuple(sites),
        arrays.get("carrier_offset_hz"),
        arrays.get("deviation_mismatch_pct"),
    )


@dataclass(frozen=True, slots=True)
class Others:
    """Services with other programmes, shape (N,): carrier less the wanted one, level, how long it is there."""

    spacing_khz: NDArray[np.float64]
    level_dbuvm: NDArray[np.float64]
    interference: tuple[Interference, ...]


def read_others(text: str, *, source: str = "others") -> Others:
    """Read a table of other services: ``spacing_khz,level_dbuvm`` and, if wanted, ``interference``.

    Raises
    ------
    PlanError
        If anything in it cannot be used; every problem says line and column.
    """
    rows = rows_of(text, source=source, required=("spacing_khz", "level_dbuvm"), optional=("interference",))
    spacing = [r.number("spacing_khz", least=-1000, greatest=1000, unit="kHz") for r in rows]
    level = [r.number("level_dbuvm", least=-50, greatest=160, unit="dBuV/m") for r in rows]
    kinds = [r.one_of("interference", INTERFERENCE) if r.text("interference", empty=True) else "steady" for r in rows]
    refuse(rows)
    return Others(np.array(spacing), np.array(level), tuple(cast(Interference, kind) for kind in kinds))


def _header_problems(header: list[str], number: int) -> list[Problem]:
    """What is wrong with the names of the columns."""
    known = ", ".join((*REQUIRED, *OPTIONAL))
    return [
        *(
            Problem(
                f"line {number}, column {name or place + 1}",
                "there is no column of that name",
                f"one of {known}",
                code="column-unknown",
                values={"line": number},
            )
            for place, name in enumerate(header)
            if name not in REQUIRED + OPTIONAL
        ),
        *(
            Problem(
                f"line {number}, column {name}",
                "stands there more than once",
                "each column once",
                code="column-twice",
                values={"line": number},
            )
            for name in REQUIRED + OPTIONAL
            if header.count(name) > 1
        ),
        *(
            Problem(
                f"line {number}",
                f"the column {name} is missing",
                f"a first line with {','.join(REQUIRED)}",
                code="column-missing",
                values={"line": number},
            )
            for name in REQUIRED
            if name not in header
        ),
    ]
