"""Tables that people bring as CSV or XLSX, made into text cells: what a spreadsheet, a logger or an office writes."""

import csv
import functools
import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException

from sfn.errors import PlanError, Problem, at_most
from sfn.plan.formula import kept, unguarded
from sfn.units import grouped

MOST_ROWS_N = 20_000
MOST_BYTES = 20_000_000
MOST_SPAN_N = MOST_ROWS_N + 1000  # empty lines between
MOST_COLUMNS_N = 500
MOST_CELLS_N = 250_000
MOST_UNPACKED_BYTES = 3 * MOST_BYTES
_ELEMENTS_A_CELL = 4
_MOST_DEPTH_N = 1000
_BLOCK_BYTES = 1 << 16
MOST_MEMBERS_N = 1000
_MEMBER = b"PK\x01\x02"
_PLACE = re.compile(rb"<(?:\w+:)?(?:row\s[^<>]*?\br=[\"'](\d+)|c\s[^<>]*?\br=[\"']([A-Za-z]+)(\d+))")
EXPECTED = "a table as CSV or XLSX, with the names of its columns in the first line"
_TEXT = "CSV in UTF-8, UTF-16 or Windows-1252, or XLSX"
_FAILED = ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!")
_XLSX = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class SheetTable:
    """A table: the names in its first line, and its lines with the number that each has in the file."""

    source: str
    head: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    """As wide as the first line, or wider where more was written."""
    separator: str
    """Between cells; empty for XLSX."""

    head_line: int = 1
    """Line that the names stand in."""

    def as_csv(self, *, one_line: bool = False) -> str:
        """The same as CSV text with commas, lines where they were; cells without line breaks where asked for."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        at = 1
        for number, cells in ((self.head_line, self.head), *self.lines):
            out.write("\n" * (number - at))
            # Only what reading would change: this text is read again, and shown to people meanwhile.
            writer.writerow([kept(" ".join(cell.split()) if one_line else cell) for cell in cells])
            at = max(number, at) + 1
        return out.getvalue()


def content_of(path: Path, *, expected: str = EXPECTED) -> bytes:
    """A file's bytes.

    Raises
    ------
    PlanError
        If it cannot be opened.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refused(path.name, f"cannot be opened: {error.strerror}", expected, code="file-unreadable") from error


def read_sheet(content: bytes, *, source: str) -> SheetTable:
    """The table in a file: XLSX by what it holds (the first sheet), else CSV in UTF-8, UTF-16 or Windows-1252.

    Parameters
    ----------
    content : bytes
    source : str
        What messages call it.

    Raises
    ------
    PlanError
        If it is no table, is empty, or is too large.
    """
    if len(content) > MOST_BYTES:
        raise _refused(
            source,
            f"has {grouped(len(content))} bytes",
            f"{grouped(MOST_BYTES)} at most",
            code="file-too-large",
        )
    rows, separator = (_xlsx(content, source), "") if content[:4] == _XLSX else _csv(content, source)
    filled = [(n, cells) for n, cells in rows if any(cells)]
    if not filled:
        raise _refused(source, "is empty", EXPECTED, code="file-empty")
    if len(filled) > MOST_ROWS_N:
        raise _refused(
            source,
            f"has {grouped(len(filled))} lines",
            f"{grouped(MOST_ROWS_N)} at most",
            code="file-too-large",
        )
    head = filled[0][1]
    while head and not head[-1]:
        head = head[:-1]
    width = len(head)
    lines: list[tuple[int, tuple[str, ...]]] = []
    for number, cells in filled[1:]:
        used = cells if any(cells[width:]) else cells[:width]
        lines.append((number, (*used, *[""] * (width - len(cells)))))
    return SheetTable(source, head, tuple(lines), separator, filled[0][0])


def table_text(content: bytes, *, source: str) -> str:
    """The text of a table in a file; an XLSX's first sheet as CSV.

    Raises
    ------
    PlanError
        If it is neither text nor an XLSX that can be read.
    """
    if content[:4] == _XLSX:
        return read_sheet(content, source=source).as_csv(one_line=True)
    return decoded(content, source=source)


def decoded(content: bytes, *, source: str) -> str:
    """A file's text: UTF-8, UTF-16 with its mark, or Windows-1252. A character that is lost is never passed over.

    Raises
    ------
    PlanError
        If it is none of them, holds bytes of two, or a character was already lost when it was written.
    """
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            text = content.decode("utf-16")
        except UnicodeDecodeError as error:
            raise _refused(source, "begins as UTF-16 and breaks off or goes wrong", _TEXT, code="not-text") from error
    else:
        text = _without_mark(content, source)
    lost = text.find("\ufffd")
    if lost >= 0:
        where = f"{source} line {text.count(chr(10), 0, lost) + 1}"
        raise _refused(where, "holds a character that was lost when the file was written", _TEXT, code="character-lost")
    if "\x00" in text:
        raise _refused(source, "is not text", _TEXT, code="not-text")
    return text


def separator_of(line: str) -> str:
    """What stands between the cells of a first line: comma, semicolon or tab."""
    return max((",", ";", "\t"), key=line.count)


def _line(content: bytes, place: int) -> int:
    """Number of the line that a byte stands in."""
    return content.count(b"\n", 0, place) + 1


def _without_mark(content: bytes, source: str) -> str:
    """UTF-8, else Windows-1252; not a mixture."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        where = f"{source} line {_line(content, error.start)}"
        partly = content.decode("utf-8", errors="surrogateescape")
        if any("\x7f" < c < "\ud800" or c > "\udfff" for c in partly):
            raise _refused(where, "breaks the UTF-8 of the rest of the file", _TEXT, code="encoding-mixed") from None
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError as error:
        where = f"{source} line {_line(content, error.start)}"
        raise _refused(where, "is not text", _TEXT, code="not-text") from None


def _csv(content: bytes, source: str) -> tuple[list[tuple[int, tuple[str, ...]]], str]:
    """Lines of a CSV file, and what stands between its cells."""
    text = decoded(content, source=source)
    first = text.lstrip()[: MOST_BYTES // 100].partition("\n")[0].partition("\r")[0]
    separator = separator_of(first)
    # Counted before anything is taken apart: a cell costs many times its byte.
    _few(text.count("\n"), 2 * MOST_SPAN_N, "lines", source)
    _few(text.count(separator), MOST_CELLS_N, "cells", source)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)  # a cell in quotes may hold a line break
    try:
        rows, begins = [], 1
        for cells in reader:
            _few(len(cells), MOST_COLUMNS_N, "columns", f"{source} line {begins}")
            rows.append((begins, tuple(unguarded(_one_break(cell.strip())) for cell in cells)))
            begins = reader.line_num + 1
    except csv.Error as error:
        where = f"{source} line {reader.line_num}"
        raise _refused(where, f"is no line of a table ({error})", EXPECTED, code="line-unreadable") from error
    return rows, separator


def _xlsx(content: bytes, source: str) -> list[tuple[int, tuple[str, ...]]]:
    """Rows of the first sheet; numbers as Python writes them, days as 2026-09-14."""
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        _few(content.count(_MEMBER), MOST_MEMBERS_N, "parts", source)
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            _looked_through(packed, source)
        # Once for what cells hold, once for what they show: a formula that was never worked out shows nothing.
        books = [load_workbook(io.BytesIO(content), read_only=True, data_only=shown) for shown in (False, True)]
        rows, problems = list[tuple[int, tuple[str, ...]]](), list[Problem]()
        _spanned(books[0].worksheets[0], source)
        columns_n = _reach(content, str(books[0].worksheets[0]._worksheet_path).lstrip("/"), source)
        # Bounded also where a file says nothing of its size, or not the truth.
        most = {"max_row": MOST_SPAN_N, "max_col": columns_n, "values_only": True}
        pair = (book.worksheets[0].iter_rows(**most) for book in books)
        for number, (held, padded) in enumerate(zip(*pair, strict=False), start=1):
            if held.count(None) == len(held) and padded.count(None) == len(padded):  # of most places there is nothing
                rows.append((number, ()))
                continue
            cells = padded[: max((n for n, cell in enumerate(padded, 1) if cell is not None), default=0)]
            rows.append((number, tuple(unguarded(_shown(cell)) for cell in cells)))
            problems += _lost(held, padded, where=f"{source} line {number}")
        for book in books:
            book.close()
    except (
        InvalidFileException, zipfile.BadZipFile, zlib.error, ParseError, DefusedXmlException, KeyError, TypeError,
        ValueError, IndexError, AttributeError, NotImplementedError, RuntimeError, OSError,
    ) as error:  # fmt: skip
        what = f"is no XLSX that can be read ({str(error)[:100]})"
        raise _refused(source, what, EXPECTED, code="file-unreadable") from error
    if problems:
        raise PlanError(at_most(problems, source=source))
    return rows


def _few(found: int, most: int, name: str, where: str) -> None:
    """Refuse what is more than any table has."""
    if found > most:
        raise _refused(where, f"has {grouped(found)} {name}", f"{grouped(most)} at most", code="file-too-large")


def _looked_through(packed: zipfile.ZipFile, source: str) -> None:
    """Refuse an XLSX that unpacks to too much, or whose XML has more rows, cells or depth than a table.

    Its parts are unpacked once in blocks and counted, nothing is built: a megabyte may unpack to a million cells.
    """
    if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED_BYTES:
        most = f"{MOST_UNPACKED_BYTES // 1_000_000} MB"
        raise _refused(source, f"unpacks to more than {most}", "a smaller table", code="file-too-large")
    for part in packed.infolist():
        if not part.filename.lower().endswith((".xml", ".rels")):
            continue
        opened = closed = cells = rows = 0
        last = b""
        with packed.open(part) as file:
            while block := file.read(_BLOCK_BYTES):
                text, last = last + block, block[-3:]
                ends = text.count(b"</") - last.count(b"</")
                opened += text.count(b"<") - last.count(b"<") - ends
                closed += ends + text.count(b"/>") - last.count(b"/>")
                cells += sum(text.count(tag) for tag in (b"<c ", b"<c>", b"<c/"))
                rows += sum(text.count(tag) for tag in (b"<row", b":row"))
                _few(rows, 2 * MOST_SPAN_N, "lines", source)
                _few(cells, MOST_CELLS_N, "cells", source)
                _few(opened, _ELEMENTS_A_CELL * MOST_CELLS_N, "pieces", source)
                _few(opened - closed, _MOST_DEPTH_N, "pieces within each other", source)


def _reach(content: bytes, path: str, source: str) -> int:
    """How many columns a sheet reaches over, as far as its cells say; refuses one that reaches further than any table.

    Every line before a far one, and every place of a line, would be made, empty or not.
    """
    lines_n = columns_n = placed = cells = 0
    carried = b""
    with zipfile.ZipFile(io.BytesIO(content)) as packed, packed.open(path) as file:
        while block := file.read(_BLOCK_BYTES):
            text = carried + block
            carried = text[text.rfind(b"<") :]
            text = text[: len(text) - len(carried)]
            for row, letters, line in _PLACE.findall(text):
                lines_n = max(lines_n, int(row[:9] or 0), int(line[:9] or 0))
                columns_n = max(columns_n, functools.reduce(_column, letters[:4].upper(), 0))
                placed += bool(letters)
            cells += sum(text.count(tag) for tag in (b"<c ", b"<c>", b"<c/"))
            _few_reached(lines_n, MOST_SPAN_N, "lines", source)
            _few_reached(columns_n, MOST_COLUMNS_N, "columns", source)
    return columns_n if 0 < cells <= placed else MOST_COLUMNS_N


def _column(found: int, letter: int) -> int:
    """The number of a column, letter by letter: A is 1, AA is 27."""
    return 26 * found + letter - ord("A") + 1


def _few_reached(span: int, most: int, name: str, source: str) -> None:
    """Refuse a sheet that reaches further than any table."""
    if span > most:
        what = f"its first sheet reaches over {grouped(span)} {name}"
        expected = f"{grouped(most)} at most: far cells and formats removed"
        raise _refused(source, what, expected, code="file-too-large")


def _spanned(sheet: Any, source: str) -> None:
    """Refuse a sheet that reaches further than any table: one far cell would fill the memory with empty ones."""
    for span, most, name in (
        (sheet.max_row, MOST_SPAN_N, "lines"),
        (sheet.max_column, MOST_COLUMNS_N, "columns"),
    ):
        _few_reached(span or 0, most, name, source)


def _lost(held: tuple[object, ...], shown: tuple[object, ...], *, where: str) -> list[Problem]:
    """Cells of a row whose value is not in the file."""
    found = []
    for place, (formula, value) in enumerate(zip(held, shown, strict=False), start=1):
        if value is None and isinstance(formula, str) and formula.startswith("="):
            what = f"holds the formula {formula[:60]!r} without its value"
            found.append(
                Problem(
                    f"{where} column {place}",
                    what,
                    "a file saved by a spreadsheet, or values",
                    code="formula-without-value",
                )
            )
        elif value in _FAILED:
            found.append(Problem(f"{where} column {place}", f"shows {value}", "a value", code="formula-failed"))
    return found


def _shown(cell: object) -> str:
    """A cell as text."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if hasattr(cell, "strftime"):
        text = str(cell)
        return text.removesuffix(" 00:00:00")
    return _one_break(str(cell).strip())


def _one_break(text: str) -> str:
    """Line breaks inside a cell in one form, whatever passed it on."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _refused(where: str, what: str, expected: str, *, code: str) -> PlanError:
    """One thing that keeps the whole from being read."""
    return PlanError([Problem(where, what, expected, code=code)])
