"""The Offsets page: a search in a job, sliders that the server answers, nothing applied until accepted."""

import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store, over a map small enough for a test."""
    return store.create(example, author="test", reason="test").network_id


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large pixels, so that levels take a moment."""
    monkeypatch.setattr("webapp.maps.usual_pixel_m", lambda bounds: 1000.0)


def wait_for(client: TestClient, address: str) -> dict[str, Any]:
    """The end of the search that a page follows."""
    job = re.search(r'data-job="([^"]+)"', client.get(address).text)
    if job is None:  # it ended before the page was drawn
        return {"state": "finished", "result_url": address}
    for _ in range(600):
        state: dict[str, Any] = client.get(job[1], headers={"Accept": "application/json"}).json()
        if state["state"] not in ("waiting", "running"):
            return state
        time.sleep(0.2)
    raise AssertionError("the search does not end")


@pytest.mark.usefixtures("coarse")
def test_a_search_is_found_shown_and_accepted(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """Search, look, move a slider, accept: a revision with name and reason, and not before."""
    asked = {"budget_s": "4", "seed": "2", "hold-north": "yes", "most_us": "30"}
    started = post(f"/networks/{number}/offsets/find", **asked)
    assert started.status_code == 303
    ended = wait_for(client, started.headers["location"])
    assert ended["state"] == "finished"
    html = client.get(ended["result_url"]).text

    assert "No adequate service" in html
    assert "What no delay removes" in html
    assert store.read(number).revision.number == 1
    found = dict(re.findall(r'name="offset-(\w+)" value="([^"]+)"', html))
    assert float(found["north"]) == 0
    reason = re.search(r'id="reason" name="reason" value="([^"]+)"', html)
    assert reason
    assert "offsets by search (area, seed 2)" in reason[1]

    part = re.search(r'id="by-hand" data-part="([^"]+)"', html)
    assert part
    numbers = client.get(f"{part[1]}/numbers?offset=south:{found['south']}&offset=gap:{found['gap']}")
    assert numbers.status_code == 200
    assert "tried" in numbers.text
    curve = client.get(f"{part[1]}/curve.svg?site=south&best=3")
    assert curve.headers["content-type"].startswith("image/svg+xml")
    assert "<polyline" in curve.text
    assert "km of air" in curve.text
    assert client.get(f"{part[1]}/curve.svg?site=east").status_code == 404

    fields = {f"offset-{name}": value for name, value in found.items()}
    accepted = {"base": "1", "author": "A. Engineer", "reason": reason[1], **fields}
    assert post(f"/networks/{number}/offsets/accept", **accepted).status_code == 303
    saved = store.read(number)
    assert saved.revision.number == 2
    assert saved.revision.author == "A. Engineer"
    assert "by search" in saved.revision.reason
    assert saved.document["sites"][1]["offset_us"] == float(found["south"])
    assert "found for an earlier revision" in client.get(ended["result_url"]).text


@pytest.mark.usefixtures("coarse")
def test_stopping_a_search_keeps_its_best(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """A stopped search still ends with offsets, and says that it was stopped."""
    started = post(f"/networks/{number}/offsets/find", budget_s="600", seed="1", most_us="2000")
    address = started.headers["location"]
    job = re.search(r'data-job="([^"]+)"', client.get(address).text)
    assert job
    for _ in range(300):
        phase = client.get(job[1], headers={"Accept": "application/json"}).json()
        if "so far" in phase["phase"] or phase["state"] == "finished":
            break
        time.sleep(0.1)
    post(f"{job[1]}/cancel")
    ended = wait_for(client, address)

    assert ended["state"] == "finished"
    assert "offset-south" in client.get(ended["result_url"]).text


def test_a_search_that_cannot_be_asked_for_is_refused_in_words(
    client: TestClient, number: int, post: Callable[..., Any]
) -> None:
    """A wrong figure comes back with what would be right."""
    answer = post(f"/networks/{number}/offsets/find", budget_s="soon", seed="1")

    assert answer.status_code == 422
    assert "1 to 3600 s" in answer.text
    refused = post(f"/networks/{number}/offsets/accept", base="1", author="", reason="")
    assert refused.status_code == 422
