"""The delay page and its files show the engine's numbers, and nothing else."""

import csv
import io
from typing import Any

import openpyxl
from starlette.testclient import TestClient

from sfn.plan import read
from sfn.timing import delay_table
from webapp.documents import as_text
from webapp.store import Store


def saved(store: Store, document: dict[str, Any]) -> int:
    """A network in the store."""
    return store.create(document, author="test", reason="test").network_id


def test_the_page_shows_settings_in_the_device_s_unit_and_the_arithmetic(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """106 ms and 382.7 us for the south, with every term of the sum beside it."""
    html = client.get(f"/networks/{saved(store, example)}/delays").text.replace("\u202f", " ")

    for text in ("106 ms", "382.7 µs", "122 600.4549 µs", "106 382.6682 µs", "south-link", "only assumed"):
        assert text in html


def test_a_name_that_is_markup_stays_text(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Whatever was typed is escaped everywhere."""
    example["sites"][0]["name"] = "<script>alert(1)</script>"
    number = saved(store, example)
    for page in ("delays", "sheets", "sheets/north"):
        html = client.get(f"/networks/{number}/{page}").text
        assert "<script>alert" not in html
        assert "&lt;script&gt;alert" in html


def test_the_csv_holds_the_table_in_full_precision(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Figures as the engine has them, columns as in the JSON answer, revision and checksum beneath."""
    number = saved(store, example)
    lines = list(csv.reader(io.StringIO(client.get(f"/networks/{number}/delays.csv").text)))
    rows = [dict(zip(lines[0], line, strict=False)) for line in lines[1:4]]
    table = delay_table(read(as_text(example)))

    assert [row.added_us for row in table.rows] == [float(row["added_us"]) for row in rows]
    assert rows[1]["setting_2"] == "382.7 µs"
    assert ["revision", "1"] in lines


def test_a_cell_never_begins_a_formula(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """A name that a spreadsheet would run is kept as text."""
    example["sites"][0]["name"] = '=HYPERLINK("x")'
    number = saved(store, example)

    assert "'=HYPERLINK" in client.get(f"/networks/{number}/delays.csv").text
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/networks/{number}/delays.xlsx").content))
    assert book.active["B2"].data_type == "s"
    assert book.active["B2"].value == '\'=HYPERLINK("x")'


def test_the_workbook_holds_numbers(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Figures arrive in a spreadsheet as numbers, not as text."""
    content = client.get(f"/networks/{saved(store, example)}/delays.xlsx").content
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    head = [cell.value for cell in sheet[1]]

    assert abs(sheet.cell(3, head.index("added_us") + 1).value - 106_382.6682) < 1e-4
