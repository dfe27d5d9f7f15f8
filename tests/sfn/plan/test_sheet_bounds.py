"""A spreadsheet of a few kilobytes that would fill the memory is refused at once, and nothing is cut off silently."""

import io
import resource
import time
import zipfile

import openpyxl
import pytest

from sfn.errors import PlanError
from sfn.plan.sheets import MOST_COLUMNS_N, MOST_SPAN_N, read_sheet


def book(**cells: object) -> bytes:
    """An XLSX with a table of two columns, and further cells."""
    made = openpyxl.Workbook()
    made.active.append(["id", "lat"])
    made.active.append(["north", 36.3])
    for place, value in cells.items():
        made.active[place] = value
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


@pytest.mark.parametrize("cells", [{"XFD1": "x"}, {"A1048576": "y"}, {"XFD1048576": 1.0}])
def test_one_far_cell_is_refused_at_once(cells: dict[str, object]) -> None:
    """It took 163 s and 2.7 GB for a file of 5 kB."""
    content = book(**cells)
    started, before = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(PlanError) as refused:
        read_sheet(content, source="far.xlsx")
    assert "reaches over" in refused.value.problems[0].what
    assert refused.value.problems[0].code == "file-too-large"
    assert time.process_time() - started < 5.0
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


def test_a_file_that_lies_about_its_size_is_bounded_too() -> None:
    """Without its dimension, or with a false one: refused by its farthest cell, and never cut without a word."""
    content = book(XFD1="x", A1048576="y")
    for said in (b"", b'<dimension ref="A1:B2"/>'):
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
            for name in source.namelist():
                part = source.read(name)
                if name.endswith("sheet1.xml"):
                    start = part.index(b"<dimension")
                    part = part[:start] + said + part[part.index(b"/>", start) + 2 :]
                target.writestr(name, part)
        started = time.process_time()
        with pytest.raises(PlanError, match=r"reaches over 1.048.576 lines"):
            read_sheet(out.getvalue(), source="lies.xlsx")
        assert time.process_time() - started < 1.0


def test_the_edges_are_read() -> None:
    """As many columns and lines as are allowed, and soon: of most places there is nothing."""
    started = time.process_time()
    last = openpyxl.utils.get_column_letter(MOST_COLUMNS_N)
    found = read_sheet(book(**{f"{last}1": "far", f"A{MOST_SPAN_N}": "low"}), source="edge.xlsx")
    assert len(found.head) == MOST_COLUMNS_N
    assert found.head[-1] == "far"
    assert found.lines[-1][:1] == (MOST_SPAN_N,)
    assert found.lines[-1][1][0] == "low"
    assert time.process_time() - started < 2.0


@pytest.mark.parametrize("place", [{"r": "1048576", "c": "XFD1048576"}, {"r": "", "c": "B1048576"}])
def test_one_far_cell_is_refused_before_the_lines_before_it_are_made(place: dict[str, str]) -> None:
    """A file of 1.6 kB that held a processor for five seconds, and was called empty."""
    row = f'<row r="{place["r"]}">' if place["r"] else "<row>"
    sheet = f'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{row}<c r="'
    sheet += f'{place["c"]}"><v>1</v></c></row></sheetData></worksheet>'
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book())) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, sheet if name.endswith("sheet1.xml") else source.read(name))
    started = time.process_time()
    with pytest.raises(PlanError, match=r"lines; 21.000 at most"):
        read_sheet(out.getvalue(), source="far.xlsx")
    assert time.process_time() - started < 0.5


def test_an_archive_of_many_parts_is_no_workbook() -> None:
    """Counted before any of them is listed."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for n in range(20_000):
            target.writestr(f"e{n}", "")
    started = time.process_time()
    with pytest.raises(PlanError, match=r"parts; 1.000 at most"):
        read_sheet(out.getvalue(), source="parts.xlsx")
    assert time.process_time() - started < 0.5
