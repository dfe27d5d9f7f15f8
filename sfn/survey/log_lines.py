"""The lines of a log as a receiver writes it: what stands above the table, its columns by any name, and its cells.

Columns are known by what they are called (`NAMES`), with a unit in brackets, at the end or in a line of its own. What
stands before the first line of names is the receiver's preamble; names may come again where the log was begun anew.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.plan.formula import unguarded
from sfn.plan.number_text import decimal
from sfn.plan.sheets import table_text
from sfn.survey.receiver_level import LevelUnit
from sfn.units import grouped

NAMES: dict[str, tuple[str, ...]] = {
    "lat": ("lat", "latitude", "gps lat", "gps latitude", "lat deg", "y lat"),
    "lon": ("lon", "long", "lng", "longitude", "gps lon", "gps long", "gps longitude", "lon deg", "x lon"),
    "north_south": ("n/s", "ns", "lat hemisphere", "north/south"),
    "east_west": ("e/w", "ew", "lon hemisphere", "east/west"),
    "position": ("position", "coordinates", "coordinate", "gps", "gps position", "location", "latlon", "lat lon"),
    "time": ("time", "when", "timestamp", "time stamp", "utc", "utc time", "gps time", "datetime", "date time",
             "date/time", "local time", "epoch", "unix time", "time of day", "measured at"),
    "date": ("date", "day", "gps date", "utc date"),
    "level": ("level", "field strength", "fieldstrength", "field", "signal", "signal level", "signal strength", "rssi",
              "power", "rx level", "rx power", "received power", "channel power", "input level", "strength",
              "amplitude", "voltage", "reading", "value", "measured level"),
    "unit": ("unit", "units", "level unit"),
    "frequency": ("frequency", "freq", "f", "carrier", "centre frequency", "center frequency", "tuned frequency"),
    "channel": ("channel", "ch", "chan", "channel number", "programme", "service"),
    "site": ("site", "transmitter", "site id"),
    "mark": ("mark", "grade", "impairment"),
    "quality_db": ("quality db", "quality", "snr", "s/n", "mer", "c/n"),
    "remark": ("remark", "remarks", "comment", "comments", "note", "notes"),
}  # fmt: skip
MOST_LINES, MOST_PREAMBLE = 400_000, 300
_LEVEL_UNITS: dict[str, LevelUnit] = {
    "dbuv/m": "dBuV/m", "dbuvm": "dBuV/m", "db(uv/m)": "dBuV/m", "dbuv/metre": "dBuV/m", "dbuv m": "dBuV/m",
    "dbuv": "dBuV", "db(uv)": "dBuV", "dbm": "dBm",
}  # fmt: skip
_UNIT_AT_END = re.compile(
    r"(?:^|[\s_])(db\s?\(?uv\)?\s?/\s?m\)?|dbuvm|dbuv[\s_]m|db\(uv\)|dbuv|dbm|mhz|khz|hz|deg|us|s|db)$"
)
_MARKS = ("#", "%", "//", "!", "*")
_SEPARATORS = (",", ";", "\t", "|")
_DETECTORS = ("avg", "average", "mean", "rms", "median")
_FREQUENCY = re.compile(r"(\d{2,4}(?:[.,]\d+)?)\s*(mhz|khz)?")


@dataclass(frozen=True, slots=True)
class Titled:
    """A column: as it is called, what it was taken for (empty: not used), its unit, and of which channel it is."""

    title: str
    key: str
    unit: str = ""
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table: its number in the file, and its cells under the columns in force there."""

    number: int
    cells: dict[int, str]
    columns: tuple[Titled, ...]
    wrong: str = ""
    """Why its cells cannot be told apart; empty where they can."""

    def text(self, key: str) -> str:
        """The first cell taken for something; empty where there is none."""
        return next((self.cells.get(k, "") for k, c in enumerate(self.columns) if c.key == key), "")


@dataclass(frozen=True, slots=True)
class LogTable:
    """All lines below the first line of names."""

    source: str
    columns: tuple[Titled, ...]
    lines: tuple[Line, ...]
    head_line: int
    unit_line: str = ""
    """Unit of the level in a line of units below the names."""


def level_unit(text: str) -> LevelUnit | None:
    """The unit that a text names: dBm, dBuV or dBuV/m in their usual spellings.

    Examples
    --------
    >>> [level_unit(t) for t in ("dBµV/m", "DB(uV)", "dBm", "volts")]
    ['dBuV/m', 'dBuV', 'dBm', None]
    """
    plain = " ".join(text.lower().replace("\u00b5", "u").replace("\u03bc", "u").replace("_", " ").split())
    return _LEVEL_UNITS.get(plain) or _LEVEL_UNITS.get(plain.replace(" ", ""))


def read_lines(content: bytes, *, source: str, needed: Sequence[frozenset[str]]) -> LogTable:
    """The table in a log.

    Parameters
    ----------
    content : bytes
        CSV with comma, semicolon, tab, bar or blanks between cells, or XLSX.
    source : str
        What messages call it.
    needed : sequence of set of str
        Columns of which one set must be there for a line to be the line of names.

    Raises
    ------
    PlanError
        If it is no text, or no line names such columns.
    """
    texts = table_text(content, source=source).splitlines()
    if len(texts) > MOST_LINES:
        what = f"has {grouped(len(texts))} lines"
        raise PlanError([Problem(source, what, f"{grouped(MOST_LINES)} at most", code="file-too-large")])
    at, separator = _head(texts, needed)
    if at is None:
        empty = not any(t.strip() for t in texts)
        what = "is empty" if empty else f"no line of it names its columns; it begins {_begin(texts)!r}"
        expected = "a line with the names of the columns, such as time,lat,lon,level (dBm)"
        raise PlanError([Problem(source, what, expected, code="file-empty" if empty else "columns-missing")])
    columns = tuple(titled(cell) for cell in _cells(_bare(texts[at]), separator))
    lines: list[Line] = []
    unit_line = ""
    for line in _below(texts, at, columns, separator, needed):
        unit = _unit_line(line) if not lines else None
        if unit is not None:
            unit_line = unit_line or unit
            continue
        lines.append(line)
    if not lines:
        what = "has a header but no lines"
        raise PlanError([Problem(source, what, "at least one line of values", code="file-empty")])
    return LogTable(source, columns, tuple(lines), at + 1, unit_line)


def titled(title: str) -> Titled:
    """What a column is taken for by what it is called.

    Examples
    --------
    >>> titled("RSSI [dBm]"), titled("98.3 MHz (dBuV)").channel
    (Titled(title='RSSI [dBm]', key='level', unit='dBm', channel=''), '98.3 mhz')
    """
    plain = title.lower().replace("\u00b5", "u").replace("\u03bc", "u").replace("_", " ").strip().rstrip(".:")
    found = re.fullmatch(r"(.*?)\s*[\[(]([^\])]*(?:\([^)]*\))?[^\])]*)[\])]\s*", plain)
    name, unit = (found[1], found[2]) if found else (plain, "")
    if not unit and (end := _UNIT_AT_END.search(plain)):
        name, unit = plain[: end.start()], end[1]
    name = " ".join(name.replace(".", " ").split()) if not re.search(r"\d\.\d", name) else " ".join(name.split())
    level = level_unit(unit)
    key = next((key for key, names in NAMES.items() if name in names), "")
    if level is not None and key in ("", "level", "channel", "frequency", "quality_db"):
        channel = "" if key == "level" else _channel_of(name)
        return Titled(title, "level", level, channel)
    if key:
        return Titled(title, key, unit)
    words = name.split()
    if words and any(" ".join(words[:n]) in NAMES["level"] for n in range(1, len(words))):
        return Titled(title, "level", level or "", _channel_of(name))
    return Titled(title, "", unit)


def frequency_of(channel: str) -> float | None:
    """The frequency that the name of a channel tells. [MHz]"""
    found = _FREQUENCY.search(channel)
    if not found:
        return None
    value = decimal(found[1])
    return value / 1000.0 if found[2] == "khz" else value if found[2] == "mhz" or "." in found[1] else None


def average_of(channels: Sequence[str]) -> str | None:
    """Of several readings of one channel the average, where one is."""
    averages = [c for c in channels if c in _DETECTORS]
    others = {"max", "min", "peak", "maximum", "minimum", "qp", "std"}
    return averages[0] if len(averages) == 1 and {*channels} - {averages[0]} <= others else None


def _channel_of(name: str) -> str:
    """What is left of a title without the words for level."""
    words = [w for w in name.split() if w not in {"level", "rssi", "power", "signal", "field", "strength", "rx", "of"}]
    return " ".join(words)


def _head(texts: list[str], needed: Sequence[frozenset[str]]) -> tuple[int | None, str]:
    """Number of the line of names and what stands between its cells."""
    for k, text in enumerate(texts[:MOST_PREAMBLE]):
        bare = _bare(text)
        for separator in (*(s for s in _SEPARATORS if s in bare), " "):
            keys = {titled(cell).key for cell in _cells(bare, separator)} - {""}
            if any(one <= keys for one in needed):
                return k, separator
    return None, ""


def _below(
    texts: list[str], at: int, columns: tuple[Titled, ...], separator: str, needed: Sequence[frozenset[str]]
) -> Iterator[Line]:
    """Every line below the names that is neither empty, nor a remark, nor the names again."""
    for k in range(at + 1, len(texts)):
        text = texts[k]
        if not text.strip() or text.lstrip().startswith(_MARKS):
            continue
        try:
            cells = _cells(text, separator)
        except csv.Error as error:
            yield Line(k + 1, {}, columns, f"is no line of a table ({error})")
            continue
        if not any(c and c[-1:].isdigit() for c in cells):
            again = tuple(titled(cell) for cell in cells)
            if any(one <= {c.key for c in again} for one in needed):
                columns = again
                continue
        # What is short of cells was cut off in writing; a comma too many at the end does no harm.
        while len(cells) > len(columns) and not cells[-1]:
            cells.pop()
        wrong = f"has {len(cells)} cells; {len(columns)}, as the header has" if len(cells) != len(columns) else ""
        yield Line(k + 1, dict(enumerate(cells)), columns, wrong)


def _cells(text: str, separator: str) -> list[str]:
    """Cells of one line."""
    if separator == " ":
        return text.split()
    return [unguarded(cell.strip()) for cell in next(csv.reader([text], delimiter=separator), [])]


def _bare(text: str) -> str:
    """A line without the mark of a remark before it."""
    return text.strip().lstrip("#%/!* \ufeff")


def _unit_line(line: Line) -> str | None:
    """The unit of the level where a line holds units and nothing else; None where it does not."""
    filled = [cell for cell in line.cells.values() if cell]
    if not filled or any(re.search(r"\d", cell) for cell in filled):
        return None
    units = [unit for cell in filled if (unit := level_unit(cell.strip("[]() "))) is not None]
    return units[0] if units else None


def _begin(texts: list[str]) -> str:
    """How a file begins, for a message."""
    return next((t.strip() for t in texts if t.strip()), "")[:60]
