"""The delay page and its files show the engine's numbers, and nothing else."""

import csv
import io
from typing import Any

import openpyxl
import pytest
from starlette.testclient import TestClient

from sfn.plan import read
from sfn.timing import delay_table
from webapp.store.documents import as_text
from webapp.store.store import Store


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
    field = example["sites"][1]["delay_fields"][1]
    assert (382.7, "us", field["step"], field["sign"]) == (
        float(rows[1]["value_2"]), rows[1]["unit_2"], float(rows[1]["step_2"]), rows[1]["sign_2"]
    )  # fmt: skip
    assert field["set"] + float(rows[1]["change_2"]) == pytest.approx(382.7)
    assert ["revision", "1"] in lines


def test_a_cell_never_begins_a_formula(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """A name that a spreadsheet would run is kept as text."""
    example["sites"][0]["name"] = '=HYPERLINK("x")'
    number = saved(store, example)

    assert "'=HYPERLINK" in client.get(f"/networks/{number}/delays.csv").text
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/networks/{number}/delays.xlsx").content))
    assert book.active["B2"].data_type == "s"
    assert book.active["B2"].value == '=HYPERLINK("x")'


def test_the_workbook_holds_numbers(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Figures arrive in a spreadsheet as numbers, not as text."""
    content = client.get(f"/networks/{saved(store, example)}/delays.xlsx").content
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    head = [cell.value for cell in sheet[1]]

    assert abs(sheet.cell(3, head.index("added_us") + 1).value - 106_382.6682) < 1e-4


def test_a_site_that_cannot_be_read_is_named_and_the_others_stand(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Page, CSV and JSON: the relay is missing by its parent's fault, the south has its setting as before."""
    example["sites"][0]["delay_fields"][0]["unit"] = "unknown"
    number = saved(store, example)
    html = client.get(f"/networks/{number}/delays").text.replace("\u202f", " ")
    text = client.get(f"/networks/{number}/delays.csv").text
    answer = client.get(f"/api/networks/{number}/delays").json()

    assert "Without a delay:" in html
    assert "to be corrected at North ridge" in html
    assert "106 ms" in html
    assert "missing,site Gap: has no delay" in text.replace('"', "")
    assert [one["id"] for one in answer["missing"]] == ["north", "gap"]
    assert answer["missing"][1]["whose"] == "north"
    assert [row["id"] for row in answer["sites"]] == ["south"]


def test_an_unknown_present_value_is_shown_as_not_known(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """No silent zero: on the page in words, in JSON null, in the CSV nothing."""
    example["sites"][1]["delay_fields"][0]["set"] = None
    number = saved(store, example)
    html = client.get(f"/networks/{number}/delays").text
    lines = list(csv.reader(io.StringIO(client.get(f"/networks/{number}/delays.csv").text)))
    south = dict(zip(lines[0], next(line for line in lines if line and line[0] == "south"), strict=False))
    row = next(row for row in client.get(f"/api/networks/{number}/delays").json()["sites"] if row["id"] == "south")

    assert "not known: read what is set now" in html
    assert (south["now_us"], south["change_us"]) == ("", "")
    assert (row["now_us"], row["change_us"], row["fields"][0]["before"]) == (None, None, None)


def test_what_would_let_every_site_have_its_wish_is_offered(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """A gap between coarse and fine steps: the page and the answer offer the common delay that the engine found."""
    fine = {"name": "fine", "unit": "us", "step": 0.1, "least": 0, "greatest": 250, "sign": "later", "set": 0}
    example["sites"][0]["delay_fields"] = [fine | {"name": "codec", "unit": "ms", "step": 1, "greatest": 2000}, fine]
    example["common_delay"]["margin_us"] = 900
    number = saved(store, example)
    answer = client.get(f"/api/networks/{number}/delays").json()
    html = client.get(f"/networks/{number}/delays").text.replace("\u202f", " ")

    assert answer["reachable"] == {"common_delay_us": 123_101.0, "offsets": {}}
    assert "123 101.0000 µs" in html
    north = next(row for row in answer["sites"] if row["id"] == "north")
    assert north["rounding_us"] == 100.0
    assert north["headroom_us"] == 2_000_250 - 1_000
    assert north["coarse_headroom_us"] == 1_999_000


def test_a_withheld_row_says_so_in_the_cell_and_prints_no_large_setting(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """A release delay a millisecond too short withholds all: the number must not be what one sees first."""
    example["stages"][3]["release_delay_us"] = 100_000
    html = client.get(f"/networks/{saved(store, example)}/delays").text.replace("\u202f", " ")

    assert '<b class="assumed">WITHHELD</b><br><span class="quiet">' in html
    assert '<span class="setting">' not in html
