"""Field sheets: the setting, the roll-back, what to measure, who signed, and when none is issued."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def text_of(client: TestClient, address: str) -> str:
    """A page with plain spaces."""
    return client.get(address).text.replace("\u202f", " ")


def test_a_sheet_gives_the_setting_the_old_value_and_the_launch(client: TestClient, number: int) -> None:
    """All that a technician needs stands on one sheet, with the cautions."""
    sheet = text_of(client, f"/networks/{number}/sheets/gap")

    for text in (
        "repeater delay: 14.5 µs",
        "122 660.3331 µs",
        "launch of North ridge",
        "gives no authority to climb",
        "licence",
        "36.280000",
        "16S",
    ):
        assert text in sheet


def test_a_sheet_on_assumed_stages_waits_for_a_name(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """South rests on an assumed feeder: not issued, then signed off by name, for this revision only."""
    address = f"/networks/{number}/sheets/south"
    assert "NOT ISSUED" in client.get(address).text
    assert post(f"{address}/sign", revision="1", signed_by="  ").status_code == 422
    assert post(f"{address}/sign", revision="7", signed_by="A. Engineer").status_code == 409
    assert "NOT ISSUED" in client.get(address).text

    assert post(f"{address}/sign", revision="1", signed_by="A. Engineer", note="measured next week").status_code == 303
    sheet = client.get(address).text
    assert "NOT ISSUED" not in sheet
    assert "signed off by A. Engineer" in sheet


def test_a_new_revision_needs_a_new_sign_off(
    client: TestClient, number: int, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """A signature does not travel to another revision."""
    post(f"/networks/{number}/sheets/south/sign", revision="1", signed_by="A. Engineer")
    example["sites"][1]["offset_us"] = -13
    store.save(number, example, base_revision=1, author="test", reason="moved")

    assert "NOT ISSUED" in client.get(f"/networks/{number}/sheets/south").text


def test_an_error_at_the_site_cannot_be_signed_away(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """A section that runs dry keeps its sheet back, whoever signs."""
    example["stages"][3]["release_delay_us"] = 100_000
    number = store.create(example, author="test", reason="test").network_id
    post(f"/networks/{number}/sheets/north/sign", revision="1", signed_by="A. Engineer")

    sheet = client.get(f"/networks/{number}/sheets/north").text
    assert "NOT ISSUED" in sheet
    assert "runs dry" in sheet


def test_the_checksum_tells_a_stale_sheet(
    client: TestClient, number: int, store: Store, example: dict[str, Any]
) -> None:
    """Another revision prints another checksum."""
    before = client.get(f"/networks/{number}/sheets/gap").text
    example["sites"][2]["offset_us"] = 61
    saved = store.save(number, example, base_revision=1, author="test", reason="moved")

    after = client.get(f"/networks/{number}/sheets/gap").text
    assert saved.checksum in after
    assert saved.checksum not in before


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_carries_the_same_numbers(client: TestClient, number: int, paper: str, tmp_path: Path) -> None:
    """The PDF is the same template printed: the setting is found in its text."""
    answer = client.get(f"/networks/{number}/sheets/gap/sheet.pdf?paper={paper}")
    assert answer.content.startswith(b"%PDF-")
    if shutil.which("pdftotext") is None:
        return
    file = tmp_path / "sheet.pdf"
    file.write_bytes(answer.content)
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout

    for found in ("repeater delay: 14.5", "660.3331", "no authority to climb", "revision 1"):
        assert found in text.replace("\u202f", " ")


def test_there_is_no_sheet_of_a_site_that_does_not_exist(client: TestClient, number: int) -> None:
    """The answer names the sites there are."""
    answer = client.get(f"/networks/{number}/sheets/east")

    assert answer.status_code == 422
    assert "one of north, south, gap" in answer.text
