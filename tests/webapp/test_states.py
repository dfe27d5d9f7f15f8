"""Planned states on pages and under /api: planned by a form, shown on the timeline, asked for by name, dropped."""

from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """A stored network."""
    return store.create(example, author="Ann", reason="test").network_id


def plan(post: Callable[..., Any], number: int, **fields: str) -> Any:
    """The form as a page sends it."""
    usual = {"state": "phase one", "date": "2030-12-01", "air-south": "off", "author": "Ann", "base": "1"}
    return post(f"/networks/{number}/states", **(usual | fields))


def test_a_state_is_planned_shown_and_dropped(
    client: TestClient, post: Callable[..., Any], number: int, store: Store
) -> None:
    """A form makes a revision; timeline, delays and map have it by name; the plan itself stays as it is."""
    before = client.get(f"/api/networks/{number}/delays").json()["sites"]
    assert 303 == plan(post, number, **{"power-north": "-3"}).status_code
    planned = store.read(number).document["planned"][0]
    assert [{"site": "north", "power_db": -3.0}, {"site": "south", "on_air": False}] == planned["changes"]
    page = client.get(f"/networks/{number}/timeline").text
    assert "phase one" in page
    assert "power −3.0" in page
    told = client.get(f"/api/networks/{number}/timeline").json()
    assert ["today", "phase one"] == [one["name"] for one in told["states"]]
    assert "planned-state" in {one["kind"] for one in told["entries"]}
    delays = client.get(f"/networks/{number}/delays?state=phase one").text
    assert "Not today." in delays
    assert "not transmitting" in delays
    api = client.get(f"/api/networks/{number}/delays", params={"state": "Phase One"}).json()
    assert "phase one" == api["state"]
    assert before == client.get(f"/api/networks/{number}/delays").json()["sites"]
    where = {"lat": "36.28", "lon": "-84.22", "state": "phase one"}
    point = client.get(f"/api/networks/{number}/point", params=where).json()
    assert {"north", "gap"} == {one["site"] for one in point["signals"]}
    assert "planned state phase one" in point["tried"][0]
    over = client.get(f"/networks/{number}/map?state=phase one").text
    assert "Not today." in over
    assert "Save these offsets" not in over
    assert 422 == client.get(f"/api/networks/{number}/delays", params={"state": "phase two"}).status_code
    dropped = post(f"/networks/{number}/states", state="phase one", do="drop", author="Ann", base="2")
    assert 303 == dropped.status_code
    assert "planned" not in store.read(number).document


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"air-south": ""}, "nothing changes in it"),
        ({"date": "soon"}, "planned[0]"),
        ({"power-north": "loud"}, "is no number"),
        ({"state": "nothing", "do": "drop"}, "there is no planned state"),
    ],
)
def test_what_cannot_be_planned_is_said(
    post: Callable[..., Any], number: int, fields: dict[str, str], words: str
) -> None:
    """On the page, with what was typed."""
    answer = plan(post, number, **fields)
    assert 422 == answer.status_code
    assert words in answer.text
