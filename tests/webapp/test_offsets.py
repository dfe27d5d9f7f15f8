"""The Offsets page: a search in a job, sliders that the server answers, nothing applied until accepted."""

import json
import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.plan import read
from sfn.solve.limits import RELAYS_CHANGED, RELAYS_MOST, RELAYS_MOVE
from sfn.timing import delay_table
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store, over a map small enough for a test."""
    return store.create(example, author="test", reason="test").network_id


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large pixels, so that levels take a moment."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda bounds: 1000.0)


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

    assert "Area not served" in html
    assert "<caption>Service judged by the quick estimate</caption>" in html
    assert '<p class="quiet">Service judged by the quick estimate.</p>' in html, "over the sliders"
    assert "People not served" not in html  # the example names no people
    assert "The class goes by level and by listeners" in html
    assert "FM quality of" in html
    for head in ("Who loses", "Will it hold", "When delay is exhausted", "What no delay removes", "If 1 µs early"):
        assert head in html
    assert store.read(number).revision.number == 1
    found = dict(re.findall(r'name="offset-(\w+)" value="([^"]+)"', html))
    assert float(found["north"]) == 0
    reason = re.search(r'id="reason" name="reason" value="([^"]+)"', html)
    assert reason
    assert "offsets by search (area, random seed 2)" in reason[1]

    part = re.search(r'data-part="([^"]+)"', html)
    assert part
    numbers = client.get(f"{part[1]}/numbers?offset=south:{found['south']}&offset=gap:{found['gap']}")
    assert numbers.status_code == 200
    assert "sliders" in numbers.text
    curve = client.get(f"{part[1]}/curve.svg?site=south&best=3&low=-50&high=50")
    assert curve.headers["content-type"].startswith("image/svg+xml")
    assert "<polyline" in curve.text
    assert "km of air" in curve.text
    assert client.get(f"{part[1]}/curve.svg?site=east&low=-50&high=50").status_code == 422
    assert client.get(f"{part[1]}/curve.svg?site=south&low=50&high=-50").status_code == 422

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
def test_sliders_come_without_a_search_and_show_gains_and_losses(
    client: TestClient, number: int, post: Callable[..., Any]
) -> None:
    """Levels alone are enough; numbers, curve, map of two offsets, gains and losses follow what is tried."""
    started = post(f"/networks/{number}/offsets/find", budget_s="4", seed="1", only="levels")
    ended = wait_for(client, started.headers["location"])
    assert ended["state"] == "finished"
    html = client.get(f"/networks/{number}/offsets").text
    (part,) = re.findall(r'data-part="([^"]+)"', html)
    assert "later than North" in html  # what bounds the site that is fed off air
    assert "counted from the earliest that North ridge leaves it as saved" in html
    for said in (RELAYS_MOST, RELAYS_MOVE, RELAYS_CHANGED):  # in the form's words, as in the command's
        assert said in html or said[0].upper() + said[1:] in html
    assert 'data-parent="north"' in html

    still = client.get(f"{part}/effect.json").json()
    assert "on 0.0 km²" in still["html"]
    moved = client.get(f"{part}/effect.json?offset=south:40").json()
    assert moved["html"] != still["html"]
    for name in ("effect.png?offset=south:40", "effect.png"):
        picture = client.get(f"{part}/{name}")
        assert picture.headers["content-type"] == "image/png"
    assert "loses adequate service" in client.get(f"{part}/effect.svg").text
    pair = "a_low=-50&a_high=50&b_low=-50&b_high=50"
    plane = client.get(f"{part}/plane.svg?a=south&b=north&{pair}&offset=south:4&a_best=1&b_best=2")
    assert plane.headers["content-type"].startswith("image/svg+xml")
    assert plane.text.count("<rect") > 25 * 25
    for mark in ("saved", "found", "least shown"):
        assert mark in plane.text
    same = client.get(f"{part}/plane.svg?a=south&b=south&{pair}")
    assert same.status_code == 422
    assert "needs two sites" in same.text
    beyond = client.get(f"{part}/numbers?offset=gap:0")
    assert "problems" in beyond.text  # its device cannot launch before its parent is heard
    # What these figures would not follow is refused, not passed over.
    for tries in ("power=south:-3dB", "clock=gap:3", "route=south:standby", "off=north", "strategy=first"):
        for name in ("numbers", "effect.json", f"plane.svg?a=south&b=north&{pair}"):
            refused = client.get(f"{part}/{name}{'&' if '?' in name else '?'}offset=south:4&{tries}")
            assert refused.status_code == 422, (name, tries)
            assert "follow offsets alone" in refused.text


@pytest.mark.usefixtures("coarse")
def test_what_counts_is_typed_listed_changed_and_taken_out(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """An area and a road in, another factor, one out; each a revision that says what was changed."""
    address = f"/networks/{number}/offsets/weights"
    fields = {"base": "1", "author": "A. Engineer", "kind": "area", "name": "this ridge does not matter", "factor": "0"}
    corners = "36.20, -84.30\n36.30 -84.30\n\n36.30, -84.20"
    assert post(address, **fields, points=corners).status_code == 303
    road = {"base": "2", "author": "A. Engineer", "kind": "road", "name": "valley road", "within_m": "300"}
    assert post(address, **road, people_per_km="50", points="36.2, -84.3\n36.3, -84.2").status_code == 303
    saved = store.read(number)
    assert saved.revision.reason == "weighting: valley road put in"
    assert saved.document["weights"][0]["area"] == [[36.2, -84.3], [36.3, -84.3], [36.3, -84.2]]
    html = client.get(f"/networks/{number}/offsets").text
    assert "this ridge does not matter: an area with 3 corners" in html
    assert "does not count" in html
    assert "with 50 listeners on each km of it" in html

    edited = post(address, base="3", author="A. Engineer", **{"factor-1": "2.5", "drop-0": "yes"})
    assert edited.status_code == 303
    (left,) = store.read(number).document["weights"]
    assert left["factor"] == 2.5
    assert store.read(number).revision.reason == (
        "weighting: this ridge does not matter taken out; valley road counts 2.5 times"
    )


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"kind": "area", "points": "36.2, -84.3\nhere"}, "line 2: &#39;here&#39; is no place"),
        ({"kind": "area", "points": "36.2, -84.3"}, "at least 3"),
        ({"kind": "place", "place": "Nowhere"}, "is no place of the listeners"),
        ({"kind": "road", "points": "36.2, -84.3\n36.3, -84.2"}, "give within_m, such as 300"),
        ({"kind": "area", "points": "1, 1\n1, 2\n2, 2", "factor": "much"}, "cannot be &#34;much&#34;"),
        ({"kind": "area", "points": "1, 1\n1, 2\n2, 2", "author": ""}, "your name"),
        ({"name": ""}, "nothing was changed"),
    ],
)
def test_weights_that_cannot_be_keep_what_was_typed(
    client: TestClient, number: int, store: Store, post: Callable[..., Any], typed: dict[str, str], said: str
) -> None:
    """Refused in words, the form as it was, nothing saved."""
    fields = {"base": "1", "author": "A", "kind": "place", "name": "this town first", "factor": "5"} | typed
    answer = post(f"/networks/{number}/offsets/weights", **fields)

    assert answer.status_code == 422
    assert said in answer.text
    if fields["name"]:
        assert 'value="this town first"' in answer.text
    assert store.read(number).revision.number == 1


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


def test_a_plan_that_holds_the_common_delay_is_saved_with_it(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """Accepting it fixes the common delay: every other device then keeps its setting, counted from the delay tables."""
    before = delay_table(read(json.dumps(store.read(number).document)))
    fields = {"offset-south": "-14", "common_delay_held_us": repr(before.common_delay_us)}
    told = {"base": "1", "author": "A. Engineer", "reason": "few devices"}
    assert post(f"/networks/{number}/offsets/accept", **told, **fields).status_code == 303
    saved = store.read(number).document
    after = delay_table(read(json.dumps(saved)))

    assert saved["common_delay"] == {"mode": "fixed", "value_us": before.common_delay_us}
    was = {(row.site_id, row.route): [f.value for f in row.fields] for row in before.rows}
    moved = {row.site_id for row in after.rows if [f.value for f in row.fields] != was[row.site_id, row.route]}
    assert moved == {"south"}
