"""The delay table as CSV and XLSX: full precision, columns named as in the JSON answer, revision and checksum."""

import csv
import io
from collections.abc import Iterator

from sfn.plan import Network, checksum
from sfn.report.numbers import native
from sfn.timing import DelayRow, DelayTable

_COLUMNS = (
    "route",
    "latency_us",
    "tolerance_us",
    "rss_us",
    "assumed_us",
    "offset_us",
    "least_offset_us",
    "added_us",
    "set_us",
    "rounding_us",
    "launch_us",
    "now_us",
    "change_us",
    "headroom_us",
    "jump_us",
    "coarse_headroom_us",
)
# What a spreadsheet would run as a formula when it stands first in a cell.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def _plain(text: str) -> str:
    """Text that a spreadsheet takes as text."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def _lines(table: DelayTable) -> Iterator[list[str | float | None]]:
    """Header and rows."""
    most = max((len(row.fields) for row in table.rows), default=0)
    yield [
        "id",
        "name",
        *_COLUMNS,
        *(f"field_{i + 1}" for i in range(most)),
        *(f"setting_{i + 1}" for i in range(most)),
    ]
    for row in table.rows:
        yield [_plain(row.site_id), _plain(row.site_name), *_figures(row), *_fields(row, most)]


def _figures(row: DelayRow) -> list[str | float | None]:
    """The row's figures in the order of the columns."""
    return [getattr(row, name) for name in _COLUMNS]


def _fields(row: DelayRow, most: int) -> list[str | float | None]:
    """Names of the fields, then their settings in native units, each padded to `most`."""
    gap = [""] * (most - len(row.fields))
    names = [_plain(field.name) for field in row.fields]
    return [*names, *gap, *(native(f.value, f.unit).replace("\u202f", " ") for f in row.fields), *gap]


def delays_csv(table: DelayTable, network: Network, *, revision: int | None) -> str:
    """The delay table as CSV, UTF-8, one row per site and route.

    Parameters
    ----------
    table : DelayTable
    network : Network
    revision : int or None
        Revision in the store.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerows(_lines(table))
    writer.writerow([])
    for key, value in _about(table, network, revision):
        writer.writerow([key, value])
    return out.getvalue()


def delays_xlsx(table: DelayTable, network: Network, *, revision: int | None) -> bytes:
    """The delay table as an XLSX workbook of one sheet; arguments as `delays_csv`."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("Delays")
        bold, figure = book.add_format({"bold": True}), book.add_format({"num_format": "#,##0.0000"})
        lines = list(_lines(table))
        for r, line in enumerate(lines):
            for c, value in enumerate(line):
                if isinstance(value, float):
                    sheet.write_number(r, c, value, figure)
                elif value is not None:
                    sheet.write_string(r, c, str(value), bold if r == 0 else None)
        for r, (key, value) in enumerate(_about(table, network, revision), start=len(lines) + 1):
            sheet.write_string(r, 0, key, bold)
            sheet.write_string(r, 1, str(value))
        sheet.freeze_panes(1, 2)
        sheet.set_column(0, len(lines[0]), 15)
    return out.getvalue()


def _about(table: DelayTable, network: Network, revision: int | None) -> list[tuple[str, str | float]]:
    """What the file is about, so that a stale copy can be told from a current one."""
    return [
        ("network", _plain(network.name)),
        ("revision", "" if revision is None else str(revision)),
        ("checksum", checksum(network)),
        ("common_delay_us", table.common_delay_us),
        *(("missing", _plain(one.problem.what)) for one in table.missing),
    ]
