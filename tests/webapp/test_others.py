"""Other stations: a table is typed or sent, looked at, saved, and counts on the map; nothing wrong is taken."""

import io
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store

TABLE = 'name,position,ground_m,antenna_m,erp_h_kw,spacing_khz\nFar station,"36.50, -83.95",400,100,50,0\n'


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_a_list_is_typed_saved_shown_and_emptied(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """The document holds it, the page shows its ratios with their source, and taking the line out takes it off."""
    page = client.get(f"/networks/{number}/others").text
    assert "No transmitter of another programme is listed" in page
    saved = post(f"/networks/{number}/others", base_revision="1", author="A", reason="", table=TABLE)
    assert saved.status_code == 303
    (held,) = store.read(number).document["other_transmitters"]
    assert (held["id"], held["erp_kw"]) == ("far-station", {"h": 50.0, "v": 0.0})
    page = client.get(f"/networks/{number}/others").text
    assert "45 / 37 dB (ITU-R BS.412, from memory)" in page
    assert "1 transmitter of other programmes on air counts" in page
    head = TABLE.splitlines()[0]
    assert post(f"/networks/{number}/others", base_revision="2", author="A", reason="", table=head).status_code == 303
    assert "other_transmitters" not in store.read(number).document


def test_a_file_comes_into_the_form_and_is_not_saved(number: int, store: Store, post: Callable[..., Any]) -> None:
    """A good one to be looked at; a wrong one with its line, and what was typed stays."""
    shown = post(f"/networks/{number}/others/upload", files={"file": ("list.csv", io.BytesIO(TABLE.encode()))})
    assert shown.status_code == 200
    assert "Far station" in shown.text
    assert store.read(number).revision.number == 1
    wrong = TABLE.replace("50,0", ",0")
    refused = post(f"/networks/{number}/others/upload", files={"file": ("list.csv", io.BytesIO(wrong.encode()))})
    assert refused.status_code == 422
    assert "radiates nothing" in refused.text
    kept = post(f"/networks/{number}/others", base_revision="1", author="A", reason="", table=wrong)
    assert kept.status_code == 422
    assert "Far station" in kept.text
