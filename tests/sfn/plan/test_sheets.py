"""Tables that people bring: encodings, what stands between cells, lines where they were, nothing lost in silence."""

import io
from pathlib import Path

import pytest
from openpyxl import Workbook

from sfn.errors import PlanError
from sfn.plan.rows import read_rows, refuse
from sfn.plan.sheets import decoded, read_sheet, table_text

TEXT = "name;lat\nBärenfels;36,25\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_three_encodings_are_read(encoding: str, tmp_path: Path) -> None:
    """The same from all of them, for sheets and for rows."""
    content = TEXT.encode(encoding)
    assert TEXT == decoded(content, source="a.csv")
    assert ("Bärenfels", "36,25") == read_sheet(content, source="a.csv").lines[0][1]

    (tmp_path / "a.csv").write_bytes(content)
    (row,) = read_rows(tmp_path / "a.csv", required=("name", "lat"))
    assert ("Bärenfels", 36.25) == (row.text("name"), row.number("lat", least=-90, greatest=90, unit="degrees"))
    refuse([row])


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("name\nBären\n".encode() + b"H\xfcgel\n", "a.csv line 3: breaks the UTF-8 of the rest of the file"),
        (b"name\n\x81\x8d\n", "a.csv line 2: is not text"),
        ("name\nB\ufffdren\n".encode(), "a.csv line 2: holds a character that was lost when the file was written"),
        ("name\nB".encode("utf-16") + b"x", "a.csv: begins as UTF-16 and breaks off or goes wrong"),
        (b"name\n\x00\n", "a.csv: is not text"),
    ],
)
def test_a_lost_character_is_never_passed_over(content: bytes, says: str) -> None:
    """Mixtures, broken bytes and characters lost before are refused with their line."""
    with pytest.raises(PlanError) as refused:
        read_sheet(content, source="a.csv")

    assert says in str(refused.value)


def test_lines_of_a_spreadsheet_stay_where_they_were() -> None:
    """Empty rows above and between are kept, so that a message names the row that people see."""
    book = Workbook()
    for cells in ([], ["lat", "lon"], [36.1, -84.0], [], ["two\nlines", -84.1]):
        book.active.append(cells)
    out = io.BytesIO()
    book.save(out)
    table = read_sheet(out.getvalue(), source="a.xlsx")

    assert (2, [3, 5]) == (table.head_line, [line for line, _ in table.lines])
    assert "\nlat,lon\n36.1,-84\n\ntwo lines,-84.1\n" == table_text(out.getvalue(), source="a.xlsx")
    again = read_sheet(table.as_csv().encode(), source="a.xlsx")
    assert (table.head_line, table.lines) == (again.head_line, again.lines)


def test_cells_without_their_value_are_named() -> None:
    """A formula that was never worked out, and one that failed, are no empty cells."""
    book = Workbook()
    for cells in (["lat", "lon"], [36.1, "=A2-120"], ["#REF!", -84.1]):
        book.active.append(cells)
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(PlanError) as refused:
        read_sheet(out.getvalue(), source="a.xlsx")

    assert [
        ("a.xlsx line 2 column 2", "holds the formula '=A2-120' without its value"),
        ("a.xlsx line 3 column 1", "shows #REF!"),
    ] == [(p.where, p.what) for p in refused.value.problems]
