"""Unsaved edits have an address: Back, a bookmark, undo and redo find what was typed, also after a restart."""

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_editing import inputs, press
from webapp.store import drafts
from webapp.store.store import Store


@pytest.fixture
def network(post: Callable[..., Any], example: dict[str, Any]) -> str:
    """The example, imported."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    return str(answer.headers["location"])


def test_a_draft_has_an_address(client: TestClient, network: str) -> None:
    """The answer of a button is found again where it stands, with what was typed; the saved plan is another page."""
    typed = press(client, client.get(network), "add-like 0", notes="typed here")
    assert re.fullmatch(rf"{network}/edit/[\w-]+", typed.url.path)
    again = client.get(str(typed.url))
    assert 200 == again.status_code
    assert "typed here" == json.loads(inputs(again.text)["draft"])["notes"]
    assert 4 == len(json.loads(inputs(again.text)["draft"])["sites"])
    assert "typed here" not in client.get(network).text
    assert 3 == len(client.get(f"{network}/export.json").json()["sites"])


def test_undo_and_redo(client: TestClient, network: str) -> None:
    """Each button is a step; what was typed since is one too, and nothing of it is lost."""
    one = press(client, client.get(network), "go site 0", notes="one")
    two = press(client, one, "go network", **{"sites-0-name": "Second"})
    undone = press(client, two, "undo", notes="three")
    held = json.loads(inputs(undone.text)["draft"])
    assert ("one", "Second") == (held["notes"], held["sites"][0]["name"])
    redone = press(client, undone, "redo")
    assert "three" == json.loads(inputs(redone.text)["draft"])["notes"]
    back = redone
    for _ in range(3):
        back = press(client, back, "undo")
    assert "draft" not in inputs(back.text)
    assert 'value="undo" disabled' in re.sub(r"\s+", " ", back.text)
    again = press(client, back, "redo")
    assert "one" == json.loads(inputs(again.text)["draft"])["notes"]
    saved = press(client, press(client, again, "redo"), "save", author="Ada")
    assert "Saved as revision 2." in saved.text


def test_a_step_goes_after_a_while(store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty days, and so many of one network; another network's are not touched."""
    first = store.create(example, author="a", reason="r").network_id
    other = store.create(example, author="a", reason="r").network_id
    now = [datetime(2026, 1, 1, tzinfo=UTC)]
    kept = drafts.Drafts(store._engine, lambda: now[0])
    old = kept.keep(first, base_revision=1, follows="", body={"n": 1})
    theirs = kept.keep(other, base_revision=1, follows="", body={"n": 1})
    now[0] += timedelta(days=drafts.DAYS_KEPT, seconds=1)
    new = kept.keep(first, base_revision=1, follows=old, body={"n": 2})
    assert kept.read(first, old) is None
    assert kept.read(other, theirs) is None
    assert (new, "") == (kept.after(first, old), kept.after(first, new))
    monkeypatch.setattr(drafts, "MOST_KEPT_N", 2)
    keys = [kept.keep(first, base_revision=1, follows="", body={"n": n}) for n in range(3)]
    assert [False, True, True] == [kept.read(first, key) is not None for key in keys]
    assert kept.read(other, keys[2]) is None


def test_an_address_whose_draft_is_gone_says_so(client: TestClient, network: str) -> None:
    """It leads to what is saved; the address that forms are sent to does too."""
    gone = client.get(f"{network}/edit/nothing")
    assert network == gone.url.path
    assert "no longer kept" in gone.text
    assert f"{network}/sites/north/chain" == client.get(f"{network}/edit?view=chain&index=0").url.path
    assert 404 == client.get("/networks/77/edit/nothing").status_code


def test_scripts_get_the_draft_itself(client: TestClient, network: str) -> None:
    """Under /api/pages nothing redirects: the answer is the page, as before."""
    answer = client.post(
        f"/api/pages{network}/edit", json={"base_revision": 1, "do": "add sites"}, follow_redirects=False
    )
    assert 200 == answer.status_code
    assert "site" == json.loads(answer.json()["editor"]["draft"])["sites"][3]["id"]
