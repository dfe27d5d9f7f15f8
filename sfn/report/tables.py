"""CSV as it leaves; the delay table as CSV and XLSX: full precision, columns named as in the JSON answer, checksum."""

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence

from sfn.check.on_sheet import on_sheet, to_enter
from sfn.check.review import Review
from sfn.plan import Network, Site
from sfn.plan.formula import guarded
from sfn.report.numbers import native
from sfn.systems.of_network import stamped_checksum
from sfn.timing import DelayRow, DelayTable
from sfn.units import THIN

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
# Of every field, beside its name and its setting in words.
_OF_A_FIELD = ("value", "unit", "step", "least", "greatest", "sign", "before", "change", "set_us")

# Of every field as its sheet gives it; they stand last, so that no older column moves.
_ON_SHEET = ("entry", "enter", "sheet_value", "sheet_enter")

Value = str | float | None


def figure(value: float) -> str:
    """A number for a machine: every digit that it has, a point, no grouping."""
    return repr(float(value) + 0.0).removesuffix(".0") if math.isfinite(value) else ""


def csv_cell(value: Value) -> str:
    """One cell of every CSV that leaves: text can be no formula, a number stays a number, nothing is empty."""
    if value is None:
        return ""
    return guarded(value) if isinstance(value, str) else figure(value)


def csv_text(lines: Iterable[Iterable[Value]]) -> str:
    """Lines as CSV (RFC 4180)."""
    out = io.StringIO(newline="")
    csv.writer(out).writerows([csv_cell(value) for value in line] for line in lines)
    return out.getvalue()


def _lines(reviewed: Review) -> Iterator[list[Value]]:
    """Header and rows."""
    table, network = reviewed.table, reviewed.network
    most = max((len(row.fields) for row in table.rows), default=0)
    numbers = range(1, most + 1)
    yield [
        "id",
        "name",
        *_COLUMNS,
        *(f"field_{n}" for n in numbers),
        *(f"setting_{n}" for n in numbers),
        *(f"{key}_{n}" for n in numbers for key in _OF_A_FIELD),
        "verdict",
        "reasons",
        *(f"{key}_{n}" for n in numbers for key in _ON_SHEET),
    ]
    asked = on_sheet(network, table, reviewed.verdicts)
    sites = {site.id: site for site in network.sites}
    for row in table.rows:
        verdict = reviewed.of(row.site_id, row.route)
        said = [verdict.state, ", ".join(verdict.codes)]
        width = len(_OF_A_FIELD) * (most - len(row.fields))
        gap: list[Value] = [""] * width
        site = sites[row.site_id]
        entered: list[Value] = []
        for made, field, one in zip(row.fields, site.delay_fields, asked[row.site_id, row.route], strict=True):
            entered += [field.entry, to_enter(site, row.route, field, made), one.value, one.enter]
        entered += [""] * (len(_ON_SHEET) * (most - len(row.fields)))
        yield [row.site_id, row.site_name, *_figures(row), *_fields(row, site, most), *gap, *said, *entered]


def _figures(row: DelayRow) -> list[Value]:
    """The row's figures in the order of the columns."""
    return [getattr(row, name) for name in _COLUMNS]


def _fields(row: DelayRow, site: Site, most: int) -> list[Value]:
    """Names of the fields, their settings in words, then every figure of each; each padded to `most`."""
    gap: list[Value] = [""] * (most - len(row.fields))
    own = {field.name: field for field in site.delay_fields}
    words = [native(f.value, f.unit).replace(THIN, " ") for f in row.fields]
    figures: list[Value] = []
    for f in row.fields:
        device = own[f.name]
        figures += [
            f.value,
            f.unit,
            device.step,
            device.least,
            device.greatest,
            device.sign,
            f.before,
            f.change,
            f.set_us,
        ]
    return [*(f.name for f in row.fields), *gap, *words, *gap, *figures]


def delays_csv(reviewed: Review, *, revision: int | None, urgent: Sequence[str] = ()) -> str:
    """The delay table as CSV, UTF-8, one row per site and route, each with the verdict of its sheet.

    Parameters
    ----------
    reviewed : Review
        The network with its table and what stands against its sheets.
    revision : int or None
        Revision in the store.
    urgent : sequence of str
        Which sheets were issued in an emergency and nobody has approved, a sentence each.
    """
    return csv_text([*_lines(reviewed), [], *_about(reviewed.table, reviewed.network, revision, urgent)])


def delays_xlsx(reviewed: Review, *, revision: int | None, urgent: Sequence[str] = ()) -> bytes:
    """The delay table as an XLSX workbook of one sheet; arguments as `delays_csv`."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("Delays")
        bold, four = book.add_format({"bold": True}), book.add_format({"num_format": "0.0000"})
        lines = list(_lines(reviewed))
        about = _about(reviewed.table, reviewed.network, revision, urgent)
        for r, line in enumerate(lines):
            for c, value in enumerate(line):
                if isinstance(value, int | float):
                    sheet.write_number(r, c, value, four)
                elif value is not None:
                    sheet.write_string(r, c, str(value), bold if r == 0 else None)
        for r, (key, value) in enumerate(about, start=len(lines) + 1):
            sheet.write_string(r, 0, key, bold)
            if isinstance(value, str):
                sheet.write_string(r, 1, value)
            else:
                sheet.write_number(r, 1, value, four)
        sheet.freeze_panes(1, 2)
        sheet.set_column(0, len(lines[0]), 15)
    return out.getvalue()


def _about(
    table: DelayTable, network: Network, revision: int | None, urgent: Sequence[str]
) -> list[tuple[str, str | float]]:
    """What the file is about, below the lines: `network`, `revision`, `checksum`, `common_delay_us` [us], `missing`.

    `urgent`: what was issued in an emergency and nobody has approved.

    So a stale copy can be told from a current one. Numbers stay numbers, in full precision.
    """
    return [
        ("network", network.name),
        ("revision", "" if revision is None else revision),
        ("checksum", stamped_checksum(network)),
        ("common_delay_us", table.common_delay_us),
        *(("missing", one.problem.what) for one in table.missing),
        *(("urgent", f"ISSUED IN AN EMERGENCY, NOT APPROVED: {said}") for said in urgent),
    ]
