"""The page of sites as a table: a preview that saves nothing, then a revision; files out; measurements from XLSX."""

import io
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from openpyxl import Workbook
from starlette.testclient import TestClient

from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


def test_a_table_is_looked_at_then_saved(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, example: dict[str, Any]
) -> None:
    """The preview shows each row and saves nothing; saving makes one revision."""
    site = example["sites"][0]["id"]
    text = f'id,antenna_m,ground_m,position,erp_h_kw\n{site},77,,,\nfar,20,300,"36.5, -84.5",0.1\nbad,x,,,\n'
    looked = post(f"/networks/{number}/tables/upload", files={"file": ("sites.csv", text.encode())}, like=site)
    assert looked.status_code == 200, looked.text
    assert "<strong>2</strong> of 3 rows" in looked.text
    assert "is no number" in looked.text
    assert store.read(number).revision.number == 1

    content = unescape(re.search(r'<textarea name="content" hidden>(.*?)</textarea>', looked.text, re.S)[1])  # type: ignore[index]
    form = {"base": "1", "content": content, "source": "sites.csv", "like": site}
    assert post(f"/networks/{number}/tables", **form).status_code == 422
    assert post(f"/networks/{number}/tables", **form, author="Ann").status_code == 303
    saved = store.read(number)
    assert saved.revision.reason == "2 sites from sites.csv"
    assert saved.document["sites"][0]["antenna_m"] == 77
    assert saved.document["sites"][-1]["id"] == "far"
    assert client.get(f"/networks/{number}/delays").status_code == 200
    again = post(f"/networks/{number}/tables", **form, author="Ann")
    assert again.status_code == 422
    assert "changes nothing" in again.text


def test_files_out_and_the_template(client: TestClient, number: int) -> None:
    """Every form answers under its name."""
    for form, head in (("csv", "id,name"), ("geojson", "{"), ("kml", "<?xml")):
        answer = client.get(f"/networks/{number}/sites.{form}")
        assert answer.text.startswith(head)
        assert f"revision-1-sites.{form}" in answer.headers["content-disposition"]
    assert client.get("/tables/sites-template.csv").text.startswith("id,name,position")


def test_measurements_come_from_a_spreadsheet(post: Callable[..., Any], number: int) -> None:
    """The first sheet of an XLSX stands in the field as CSV, and is reconciled."""
    book = Workbook()
    book.active.append(["lat", "lon", "site", "reference_site", "difference_us", "uncertainty_us"])
    for k in range(4):
        book.active.append([36.28 + 0.01 * k, -84.19, "south", "north", 12.5 + k, 0.5])
    out = io.BytesIO()
    book.save(out)
    answer = post(f"/networks/{number}/measurements", files={"file": ("m.xlsx", out.getvalue())})
    assert "36.28,-84.19,south,north,12.5,0.5" in answer.text, answer.text[:2000]
