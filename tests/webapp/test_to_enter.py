"""A field that takes the change, not the total: what is typed in is what stands large, on every paper that gives it."""

import csv
import io
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.on_air.site_links import made_link
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The gap's repeater stands at 35 us and takes changes; 14.5 us are wanted (contracts.md): enter -20.5."""
    example["sites"][2]["delay_fields"][0] |= {"entry": "incremental", "set": 35}
    return store.create(example, author="test", reason="test").network_id


def text_of(client: TestClient, address: str) -> str:
    """A page with plain spaces."""
    return client.get(address).text.replace("\u202f", " ")


def test_the_large_print_is_what_is_entered_and_the_way_back_too(
    client: TestClient, number: int, issue: Callable[[int], int]
) -> None:
    """Entering the total would put the repeater to 49.5 us: the total never stands alone where a setting is looked for."""
    issue(number)
    sheet = text_of(client, f"/networks/{number}/sheets/gap")

    assert "<h4>repeater delay: enter −20.5 µs, once; the total then is 14.5 µs</h4>" in sheet
    assert "<td>enter −20.5 µs, once; the total then is 14.5 µs</td>" in sheet
    assert "<td>enter +20.5 µs, once; the total then is 35 µs" in sheet
    assert "<td>14.5 µs</td>" not in sheet
    assert "repeater delay: 14.5 µs" not in sheet
    assert "takes the change, not the total.</b> Enter −20.5 µs once, never twice" in sheet
    assert "read it before, 35 µs, and after, 14.5 µs" in sheet


def test_the_same_stands_on_paper(client: TestClient, number: int, issue: Callable[[int], int], tmp_path: Path) -> None:
    """The PDF is the same template."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext")
    issue(number)
    file = tmp_path / "sheet.pdf"
    file.write_bytes(client.get(f"/networks/{number}/sheets/gap/sheet.pdf").content)
    done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True)
    words = " ".join(done.stdout.replace("\u202f", " ").split())

    assert "repeater delay: enter −20.5 µs, once; the total then is 14.5 µs" in words
    assert "enter +20.5 µs once, from 14.5 µs to 35 µs" in words


def test_change_plan_technician_and_delays_page_ask_for_the_same(
    client: TestClient, number: int, issue: Callable[[int], int]
) -> None:
    """No page gives the total as what is to be set."""
    revision = issue(number)
    link = made_link(
        "test-key-of-the-tests-that-nobody-guesses", network_id=number, site_id="gap", revision=revision, days=1
    )

    for page in (
        f"/networks/{number}/change",
        f"/site/{link}",
        f"/networks/{number}/delays",
        f"/networks/{number}/sheets",
    ):
        assert "enter −20.5 µs, once; the total then is 14.5 µs" in text_of(client, page), page
    assert "enter +20.5 µs, once; the total then is 35 µs" in text_of(client, f"/networks/{number}/change")
    assert ': the total shown, <span class="unit">µs</span>' in text_of(client, f"/site/{link}")


def test_what_is_entered_is_a_number_in_the_files(client: TestClient, number: int) -> None:
    """JSON and CSV; a field that takes the setting itself has it there too."""
    answer = client.get(f"/api/networks/{number}/delays").json()
    by_id = {row["id"]: row["fields"] for row in answer["sites"]}
    assert (by_id["gap"][0]["entry"], by_id["gap"][0]["enter"]) == ("incremental", pytest.approx(-20.5))
    assert [(one["entry"], one["enter"]) for one in by_id["south"]] == [
        ("absolute", pytest.approx(106)), ("absolute", pytest.approx(382.7))
    ]  # fmt: skip

    lines = list(csv.reader(io.StringIO(client.get(f"/networks/{number}/delays.csv").text)))
    rows = {line[0]: dict(zip(lines[0], line, strict=False)) for line in lines[1:4]}
    assert (rows["gap"]["entry_1"], rows["gap"]["enter_1"], rows["gap"]["value_1"]) == ("incremental", "-20.5", "14.5")
    assert rows["south"]["enter_2"] == "382.7"


def test_a_standby_of_one_setting_for_all_has_no_amount(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """On the order of the control room another total stands there than now: the difference is taken then."""
    south = example["sites"][1]
    south["delay_fields"][1]["entry"] = "incremental"
    south["chains"].append(
        {"route": "standby", "stages": ["studio-converter", "spare-link", *south["chains"][0]["stages"][2:]]}
    )
    example["stages"].append(
        {"id": "spare-link", "kind": "microwave", "path_km": 31.5, "equipment_us": 14_200, "tolerance_us": 0.1,
         "tolerance_kind": "unit", "source": "measured", "date": "2026-05-02"}
    )  # fmt: skip
    number = store.create(example, author="test", reason="test").network_id
    issue(number)
    rows = client.get(f"/api/networks/{number}/delays").json()["sites"]
    standby = next(row for row in rows if row["route"] == "standby")

    assert standby["fields"][1]["enter"] is None
    assert "enter the difference to it from what stands there then" in text_of(
        client, f"/networks/{number}/sheets/south"
    )
