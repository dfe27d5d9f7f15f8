"""A network's first page: how far each site is, what to do next, reception as the map has it, last changes; forms after."""

import json
import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

import sfn
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="Ada", reason="first").network_id


def stands(client: TestClient, number: int) -> dict[str, Any]:
    """What the page answers to scripts."""
    found: dict[str, Any] = client.get(f"/api/pages/networks/{number}").json()["stands"]
    return found


def test_it_says_what_other_pages_say(client: TestClient, number: int) -> None:
    """Sheets' states, the check's findings and the last save are those of their own pages."""
    found = stands(client, number)
    sheets = client.get(f"/api/pages/networks/{number}/sheets").json()["lines"]
    told = {line["sheet"]["site"]["id"]: line["state"] for line in sheets}
    assert {one["site_id"]: one["sheet"] for one in found["sites"] if one["site_id"] in told} == told
    problems = client.get(f"/api/networks/{number}/check").json()["problems"]
    errors = [one["what"] for one in problems if one["severity"] == "error"]
    kinds = [one["kind"] for one, _ in found["next"]]
    assert kinds == sorted(kinds, key=("disagrees", "error", "withheld", "stale", "sign", "issue", "warning").index)
    assert (kinds[0] == "error") == bool(errors)
    assert found["changes"][0]["author"] == "Ada"
    assert found["reception"] is None  # nobody has asked for a map: looking starts nothing


def test_every_way_leads_to_a_page_that_answers(client: TestClient, number: int) -> None:
    """Each thing to do has the page where it is done; the list is short, and says how much more there is."""
    found = stands(client, number)
    assert 1 <= len(found["next"]) <= 3
    for _, where in found["next"]:
        assert client.get(where.partition("#")[0]).status_code == 200
    page = client.get(f"/networks/{number}").text
    assert page.index("To be done next") < page.index("How far each site is") < page.index("<form")
    if found["more"]:
        assert f"And {found['more']} more" in page


def test_marks_tell_the_state_by_their_form(client: TestClient, number: int) -> None:
    """The map's sites are those of the table, each with a mark that the table explains; a relay is tied to its parent."""
    page = client.get(f"/networks/{number}").text
    drawn = json.loads(stands(client, number)["drawn"])
    marks = set(re.findall(r'data-mark="([^"]+)"', page))
    assert {site["state"] for site in drawn["sites"]} <= marks
    ids = {site["id"] for site in drawn["sites"]}
    assert all({parent, child} <= ids for parent, child in drawn["feeds"])


def test_faults_stand_beside_the_name_on_every_page(client: TestClient, number: int) -> None:
    """As many as the check finds, on the first page and on others; not on a page without a network."""
    problems = client.get(f"/api/networks/{number}/check").json()["problems"]
    errors_n = sum(one["severity"] == "error" for one in problems)
    warnings_n = len(problems) - errors_n
    words = [f"{n} {one}{'' if n == 1 else 's'}" for n, one in ((errors_n, "error"), (warnings_n, "warning")) if n]
    for where in ("", "/delays", "/map", "/links", "/sheets", "/timeline", "/people"):
        text = client.get(f"/networks/{number}{where}").text
        assert f">{', '.join(words) or 'no faults found'}</a>" in text, where
    assert 'class="faults' not in client.get("/").text


def test_reception_is_the_maps(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once somebody has asked for the usual map: the quick estimate's areas, as the library has them over that grid."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda _bounds: 2000.0)
    number = store.create(example, author="Ada", reason="first").network_id
    started = post(f"/networks/{number}/map/levels")
    assert started.status_code == 303
    for _ in range(200):
        if (found := stands(client, number)["reception"]) is not None:
            break
        time.sleep(0.05)
    assert found is not None
    plan = sfn.load(example)
    expected = sfn.coverage(plan, pixel_m=2000.0).document["quick_classes"]
    assert found["summary"]["area_km2"] == pytest.approx([one["area_km2"] for one in expected], rel=1e-6)
    area = [one["area_km2"] for one in expected]
    shown = found["upset_km2"], found["weak_km2"], found["other_km2"]
    assert shown == pytest.approx((area[2], area[3], area[5]), rel=1e-6), "each class that is not served stands there"
    assert "quick estimate" in found["classes"]["quick"]
    assert found["classes"]["by"] == "quick estimate"
    assert "Reception by the quick estimate</h2>" in client.get(f"/networks/{number}").text, "beside the figures"
    assert "distorted by our own transmitters" in client.get(f"/networks/{number}").text.lower()


def test_what_cannot_be_placed_has_no_map_and_is_named(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """A site that cannot be read stands in the table without a sheet, and the error leads to its page."""
    example["sites"][0]["position"]["text"] = "nowhere at all"
    answer = post("/networks/import", files={"file": ("n.json", json.dumps(example).encode())})
    if answer.status_code != 303:
        pytest.skip("the import refuses it")
    number = int(answer.headers["location"].rsplit("/", 1)[-1])
    found = stands(client, number)
    first = example["sites"][0]
    assert next(one for one in found["sites"] if one["site_id"] == first["id"])["sheet"] == "withheld"
    assert found["next"][0][0]["kind"] == "error"
