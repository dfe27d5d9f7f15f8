"""Tables that people bring as CSV or XLSX, made into text cells: what a spreadsheet, a logger or an office writes."""

import csv
import io
import zipfile
from dataclasses import dataclass

from sfn.errors import PlanError, Problem

MOST_ROWS_N = 20_000
MOST_BYTES = 20_000_000
EXPECTED = "a table as CSV or XLSX, with the names of its columns in the first line"


@dataclass(frozen=True, slots=True)
class SheetTable:
    """A table: the names in its first line, and its lines with the number that each has in the file."""

    source: str
    head: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    separator: str
    """Between cells; empty for XLSX."""

    def as_csv(self) -> str:
        """The same as CSV text with commas, lines where they were."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(self.head)
        writer.writerows(cells for _, cells in self.lines)
        return out.getvalue()


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
        raise PlanError([Problem(source, f"has {len(content):,} bytes", f"{MOST_BYTES:,} at most")])
    rows, separator = (_xlsx(content, source), "") if content[:4] == b"PK\x03\x04" else _csv(content, source)
    filled = [(n, cells) for n, cells in rows if any(cells)]
    if not filled:
        raise PlanError([Problem(source, "is empty", EXPECTED)])
    if len(filled) > MOST_ROWS_N:
        raise PlanError([Problem(source, f"has {len(filled):,} lines", f"{MOST_ROWS_N:,} at most")])
    head = filled[0][1]
    while head and not head[-1]:
        head = head[:-1]
    width = len(head)
    lines = []
    for number, cells in filled[1:]:
        if any(cells[width:]):
            what = f"has {len(cells)} cells"
            raise PlanError([Problem(f"{source} line {number}", what, f"{width}, as the first line has")])
        lines.append((number, (*cells[:width], *[""] * (width - len(cells)))))
    return SheetTable(source, head, tuple(lines), separator)


def _csv(content: bytes, source: str) -> tuple[list[tuple[int, tuple[str, ...]]], str]:
    """Lines of a CSV file, and what stands between its cells."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16", errors="replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", errors="replace")
    if "\x00" in text:
        raise PlanError([Problem(source, "is not text", EXPECTED)])
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max((",", ";", "\t"), key=first.count)
    reader = csv.reader(text.splitlines(), delimiter=separator)
    try:
        return [(reader.line_num, tuple(cell.strip() for cell in cells)) for cells in reader], separator
    except csv.Error as error:
        where = f"{source} line {reader.line_num}"
        raise PlanError([Problem(where, f"is no line of a table ({error})", EXPECTED)]) from error


def _xlsx(content: bytes, source: str) -> list[tuple[int, tuple[str, ...]]]:
    """Rows of the first sheet; numbers as Python writes them, days as 2026-09-14."""
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > 10 * MOST_BYTES:
                raise PlanError([Problem(source, "unpacks to more than 200 MB", "a smaller table")])
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        rows = []
        for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
            if number > MOST_ROWS_N + 1000:
                break
            rows.append((number, tuple(_shown(cell) for cell in cells)))
        book.close()
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, IndexError, OSError) as error:
        what = f"is no XLSX that can be read ({str(error)[:100]})"
        raise PlanError([Problem(source, what, EXPECTED)]) from error
    return rows


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
    return str(cell).strip()
