"""Transmitters of other programmes as a table: read from a file or typed text, and written to be edited.

The whole table stands for the whole list. Antenna patterns have no column: those of a transmitter that stays, by its
short name, stay with it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.geodesy.cells import COLUMNS as PLACE_COLUMNS, UNITS as PLACE_UNITS, position_of
from sfn.plan import OtherTransmitter
from sfn.plan.columns import LENGTHS, Column, Known, columns_of, rows_under
from sfn.plan.rows import Row
from sfn.plan.sheets import read_sheet
from sfn.report.tables import csv_text

COLUMNS: dict[str, tuple[str, ...]] = {
    "id": ("id", "short name", "code"),
    "name": ("name", "station", "site"),
    **PLACE_COLUMNS,
    "ground_m": ("ground_m", "ground", "ground height", "site height", "elevation", "amsl"),
    "antenna_m": ("antenna_m", "antenna", "antenna height", "height above ground", "agl"),
    "erp_h_kw": ("erp_h_kw", "erp h", "erp horizontal"),
    "erp_v_kw": ("erp_v_kw", "erp v", "erp vertical"),
    "on_air": ("on_air", "on air", "active"),
    "spacing_khz": ("spacing_khz", "spacing", "frequency offset", "channel spacing"),
    "steady_ratio_db": ("steady_ratio_db", "steady ratio", "protection ratio steady"),
    "tropospheric_ratio_db": ("tropospheric_ratio_db", "tropospheric ratio", "protection ratio tropospheric"),
    "source": ("source",),
}
_UNITS: dict[str, dict[str, float]] = {
    **PLACE_UNITS,
    "ground_m": LENGTHS,
    "antenna_m": LENGTHS,
    "erp_h_kw": {"kw": 1.0, "w": 1e-3},
    "erp_v_kw": {"kw": 1.0, "w": 1e-3},
    "spacing_khz": {"khz": 1.0, "mhz": 1000.0},
    "steady_ratio_db": {"db": 1.0},
    "tropospheric_ratio_db": {"db": 1.0},
}
_KNOWN = Known(COLUMNS, _UNITS)
# As in `sfn.plan.others`; (least, greatest, unit, needed).
_NUMBERS = {
    "ground_m": (-500.0, 9000.0, "m", True),
    "antenna_m": (0.0, 1000.0, "m", True),
    "erp_h_kw": (0.0, 10_000.0, "kW", False),
    "erp_v_kw": (0.0, 10_000.0, "kW", False),
    "spacing_khz": (-50_000.0, 50_000.0, "kHz", False),
    "steady_ratio_db": (-100.0, 100.0, "dB", False),
    "tropospheric_ratio_db": (-100.0, 100.0, "dB", False),
}
_YES, _NO = ("yes", "y", "true", "1", "on", ""), ("no", "n", "false", "0", "off")
MOST_N = 200  # as in `sfn.plan.document`
HEAD = tuple(name for name in COLUMNS if name not in PLACE_COLUMNS or name in ("position", "crs"))


@dataclass(frozen=True, slots=True)
class OtherTable:
    """What a table of other transmitters says: entries for the document, and what each column was taken for."""

    entries: tuple[dict[str, Any], ...]
    columns: tuple[Column, ...]


def others_csv(listed: tuple[OtherTransmitter, ...] | None) -> str:
    """The list as a table that `understood_others` reads; its head alone where nothing is listed."""
    rows: list[list[Any]] = [list(HEAD)]
    for one in listed or ():
        held = one.model_dump()
        cells = held | {
            "position": one.position.typed,
            "crs": one.position.crs,
            "erp_h_kw": one.erp_kw.h,
            "erp_v_kw": one.erp_kw.v,
            "on_air": "yes" if one.on_air else "no",
        }
        rows.append(["" if cells[name] is None else cells[name] for name in HEAD])
    return csv_text(rows)


def understood_others(content: bytes, *, source: str, before: list[Mapping[str, Any]] | None = None) -> OtherTable:
    """The transmitters in a table.

    Parameters
    ----------
    content : bytes
        CSV or XLSX; the first line names the columns.
    source : str
        What messages call it.
    before : list of mapping, optional
        The document's present list, for patterns that stay.

    Raises
    ------
    PlanError
        With a problem for each line that cannot be used: a list with holes would count some stations and not others.
    """
    table = read_sheet(content, source=source)
    columns = columns_of(table, _KNOWN)
    if "name" not in {column.taken_for for column in columns}:
        titles = ", ".join(filter(None, table.head)) or "nothing"
        raise PlanError(
            [
                Problem(
                    f"{source} line {table.head_line}", f"has {titles}", f"a first line with {', '.join(HEAD)}",
                    code="column-missing", fields=("name",),
                )
            ]
        )  # fmt: skip
    patterns = {one["id"]: one["antenna"] for one in before or () if one.get("antenna") is not None}
    rows = rows_under(table, columns, _KNOWN)
    made = [_entry(row, patterns) for row in rows]
    problems = [problem for row in rows for problem in row.problems]
    ids = [one["id"] for one in made]
    problems += [
        Problem(source, f"has the id {one} {ids.count(one)} times", "each once", code="others-alike", fields=("id",))
        for one in sorted({one for one in ids if one and ids.count(one) > 1})
    ]
    if len(made) > MOST_N:
        problems.append(Problem(source, f"has {len(made)} lines", f"{MOST_N} at most", code="too-many-others"))
    if problems:
        raise PlanError(problems)
    return OtherTable(tuple(made), columns)


def _entry(row: Row, patterns: Mapping[str, Any]) -> dict[str, Any]:
    """One line as the document has it."""
    name = row.text("name")
    made: dict[str, Any] = {"id": row.text("id", empty=True) or _id_of(name), "name": name}
    place = position_of(row)
    if place is None and not row.problems:
        row.no(None, "has no position", "position, or lat and lon", code="position-missing")
    if place is not None:
        made["position"] = place[0]
    numbers: dict[str, float] = {}
    for key, (least, greatest, unit, needed) in _NUMBERS.items():
        value = row.number(key, least=least, greatest=greatest, unit=unit, empty=not needed)
        if not math.isnan(value):
            numbers[key] = value
    if not numbers.get("erp_h_kw") and not numbers.get("erp_v_kw"):
        row.no(None, f"{name} radiates nothing", "erp_h_kw or erp_v_kw", code="power-missing")
    if ("steady_ratio_db" in numbers) != ("tropospheric_ratio_db" in numbers):
        row.no(None, f"{name} has one ratio of two", "both ratios or neither", code="half-a-ratio")
    made["erp_kw"] = {plane: numbers.pop(f"erp_{plane}_kw", 0.0) for plane in "hv"}
    made |= numbers
    said = row.text("on_air", empty=True).casefold()
    if said not in (*_YES, *_NO):
        row.no("on_air", f"is {said}", "yes or no", code="not-on-offer")
    made["on_air"] = said in _YES
    if source := row.text("source", empty=True):
        made["source"] = source
    if made["id"] in patterns:
        made["antenna"] = patterns[made["id"]]
    return made


def _id_of(name: str) -> str:
    """A short name out of a name."""
    kept = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.casefold()).strip("-")
    return kept[:60] or "other"
