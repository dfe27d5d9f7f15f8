"""How texts are shown: marks that nobody sees, one minus and one grouping, tolerances that are not nothing."""

import io
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest
from starlette.testclient import TestClient

from sfn.report.numbers import off_by
from sfn.visible import visible
from webapp.shell.places_said import text_said
from webapp.store.store import Store

TURNED = "Rid\u202ege"


def plain(text: str) -> str:
    """With common spaces."""
    return text.replace("\u202f", " ")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("needs 28269.6881 us added, -16933.2662 us beyond", "needs 28 269.6881 µs added, −16 933.2662 µs beyond"),
        ("it moves by -3 dB, within +-0.3 us", "it moves by −3 dB, within ±0.3 µs"),
        ("at 36.4, -84.1759; stage hub-2; 2026-09-14", "at 36.4, -84.1759; stage hub-2; 2026-09-14"),
        ("releases after 1\u202f200\u202f000 us", "releases after 1 200 000 µs"),
        ("codec-12500 us stays a name", "codec-12500 µs stays a name"),
    ],
)
def test_amounts_in_sentences_have_one_minus_and_one_grouping(said: str, shown: str) -> None:
    """Amounts with a unit only: coordinates, names and days stay as they are."""
    assert plain(text_said(said)) == shown


@pytest.mark.parametrize(
    ("value_us", "decimals", "shown"),
    [(0.04, 1, "0.04 µs"), (0.004, 2, "0.004 µs"), (0.26, 1, "0.3 µs"), (0, 1, "0.0 µs")],
)
def test_a_tolerance_is_never_printed_as_nothing(value_us: float, decimals: int, shown: str) -> None:
    """As many decimals as it takes."""
    assert plain(off_by(value_us, decimals)) == shown


def test_marks_that_turn_the_direction_are_shown_and_kept(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """By their number on pages; in the form and the document as they were typed, so that a save changes nothing."""
    example["sites"][0]["name"] = TURNED
    number = store.create(example, author="test", reason="test").network_id
    for page in ("", "/delays", "/sheets", "/sheets/north", "/change"):
        text = client.get(f"/networks/{number}{page}").text
        assert TURNED not in text, page
        assert "Rid[U+202E]ge" in text, page
    assert (
        f'value="{TURNED}"' in client.get(f"/networks/{number}/site/0").text
        or TURNED in store.read(number).document["sites"][0]["name"]
    )
    assert visible("a\tb\nc\x00\u200f") == "a\tb\nc[U+0000][U+200F]"


def test_the_trailing_rows_of_the_workbook_are_numbers(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Common delay and revision can be computed with; contracts.md: 122 600.4549 us."""
    number = store.create(example, author="test", reason="test").network_id
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/networks/{number}/delays.xlsx").content))
    rows = {row[0]: row[1] for row in book.active.iter_rows(values_only=True) if row[0]}
    assert rows["common_delay_us"] == pytest.approx(122_600.4549, abs=1e-4)
    assert (rows["revision"], rows["network"]) == (1, example["name"])


def test_a_site_without_a_sheet_says_why_in_whole_sentences(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """No empty half of a sentence."""
    example["sites"][1]["position"] = {"text": "somewhere"}
    number = store.create(example, author="test", reason="test").network_id
    text = client.get(f"/networks/{number}/sheets").text
    assert "There is no sheet of it." in text
    assert "; . There" not in text
