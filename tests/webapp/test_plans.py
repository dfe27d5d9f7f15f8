"""The page Plans of change: a search in a job, each plan taken up as a revision once the licence is said to be looked at."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from pydantic import ValidationError
from starlette.testclient import TestClient

from sfn.plan import read
from sfn.plan.may_change import SiteChanges
from tests.webapp.test_offsets import wait_for
from webapp.store.store import Store

BOX = [[a, (0.0 if abs((a + 180) % 360 - 180) <= 60 else 14.0)] for a in range(0, 360, 30)]
ASKED = {
    "worlds": "20",
    "vary-offset": "yes", "vary-power": "yes", "power-least": "-6", "power-greatest": "6", "power-step": "6",
    "vary-on-off": "yes", "hold-north": "", "budget_s": "5", "seed": "2", "cost-visit": "1", "cost-rigging": "4",
    "cost-licence": "3", "cost-unit": "days",
}  # fmt: skip


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store, one site with a pattern."""
    example["sites"][1]["antenna"] = {"horizontal": BOX}
    return store.create(example, author="test", reason="test").network_id


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large pixels, so that levels take a moment."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda bounds: 2000.0)


@pytest.mark.usefixtures("coarse")
def test_a_plan_is_found_and_taken_up(client: TestClient, number: int, store: Store, post: Callable[..., Any]) -> None:
    """Search, look, refuse without the licence, take up: what is saved is what the plan says."""
    started = post(f"/networks/{number}/plans/find", **ASKED)
    assert started.status_code == 303
    ended = wait_for(client, started.headers["location"])
    assert ended["state"] == "finished"
    html = client.get(ended["result_url"]).text
    found = ended["result_url"].partition("found=")[2]
    answer = client.get(f"/api/pages{ended['result_url']}").json()["answer"]

    assert "Before anything is changed." in html
    assert "Cost, days" in html
    assert "How sure" in html
    assert answer["classes_by"] == "quick estimate"
    assert "<caption>Served by the quick estimate</caption>" in html
    assert "<caption>Served by the quick estimate, in every world</caption>" in html
    assert "To measure first" in html
    assert "not varied: levels of other stations" in html.lower()
    assert answer["worlds"] == 20
    assert {plan["people_p5"] for plan in answer["plans"]} == {None}  # area
    assert all(plan["served_p5"] <= plan["served_p50"] <= plan["served_p95"] for plan in answer["plans"])
    assert "predicted medians" in html
    assert "rigging job" in html
    assert store.read(number).revision.number == 1
    at, plan = next(
        (k, one) for k, one in enumerate(answer["plans"], start=1)
        if any("power_db" in change["fields"] for change in one["changes"])
    )  # fmt: skip
    sent = {"base": "1", "found": found, "plan": str(at), "author": "A. Engineer", "reason": "the cheapest with power"}
    refused = post(f"/networks/{number}/plans/accept", **sent)
    assert refused.status_code == 422
    assert "nobody said that the licence was looked at" in refused.text
    assert store.read(number).revision.number == 1
    assert post(f"/networks/{number}/plans/accept", **sent, licence="yes").status_code == 303
    saved = store.read(number)
    assert saved.revision.author == "A. Engineer"
    after = {site.id: site for site in read(json.dumps(saved.document)).sites}
    for change in plan["changes"]:
        assert after[change["site"]].on_air == change["fields"].get("on_air", True)
        if power_db := change["fields"].get("power_db"):
            before = store.read(number, 1).document["sites"]
            kw = next(site["erp_kw"]["v"] for site in before if site["id"] == change["site"])
            assert after[change["site"]].erp_kw.v == pytest.approx(kw * 10 ** (power_db / 10))
    assert {name: site.offset_us for name, site in after.items()} == plan["offsets"]

    assert "found for an earlier revision" in client.get(ended["result_url"]).text
    again = post(f"/networks/{number}/plans/accept", **{**sent, "base": "2"}, licence="yes")
    assert again.status_code == 409
    assert "a new search, of the newest revision" in again.text


@pytest.mark.usefixtures("coarse")
def test_plans_without_drawn_worlds_are_shown(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """The page stands where nobody asked for worlds."""
    started = post(f"/networks/{number}/plans/find", **{**ASKED, "worlds": "0", "budget_s": "2"})
    ended = wait_for(client, started.headers["location"])
    shown = client.get(ended["result_url"])

    assert shown.status_code == 200
    assert "Before anything is changed." in shown.text
    assert "How sure" not in shown.text


@pytest.mark.usefixtures("coarse")
def test_each_plan_can_be_tried_on_the_map(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """The address of the map says what the plan changes."""
    started = post(f"/networks/{number}/plans/find", **ASKED)
    ended = wait_for(client, started.headers["location"])
    shown = client.get(f"/api/pages{ended['result_url']}").json()
    for address, plan in zip(shown["maps"], shown["answer"]["plans"], strict=True):
        tried = client.get(f"/api/pages{address}").status_code
        assert tried in (200, 202)
        for change in plan["changes"]:
            if change["fields"].get("on_air") is False:
                assert f"off={change['site']}" in address
            if "power_db" in change["fields"]:
                assert re.search(rf"power={change['site']}(:|%3A)", address)


def test_nothing_typed_is_lost_and_each_slip_is_told(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """All of them at once, at their fields."""
    wrong = {
        **ASKED, "power-least": "much", "budget_s": "0", "cost-visit": "-1", "licence-points": "36.2, -84.3\nhere",
        "licence-level": "54", "most_us": "x",
    }  # fmt: skip
    answer = post(f"/networks/{number}/plans/find", **wrong)
    assert answer.status_code == 422
    for text in ("much", "36.2, -84.3\nhere", "x"):
        assert text in answer.text
    for said in ("line 2", "1 to 3600 s", "-60 to 30 dB"):
        assert said in answer.text
    turned = post(f"/networks/{number}/plans/find", **{**ASKED, "power-least": "6", "power-greatest": "0"})
    assert turned.status_code == 422
    assert "least 6 lies above greatest 0" in turned.text
    bare = post(f"/networks/{number}/plans/find", budget_s="2", seed="1", **{"cost-visit": "1"})
    assert bare.status_code == 422
    assert "nothing is to be varied" in bare.text
    two = {**ASKED, "licence-points": "36.2, -84.3\n36.3, -84.3", "licence-level": "54"}
    assert "3 to 500 corners" in post(f"/networks/{number}/plans/find", **two).text


def test_an_unknown_plan_is_no_plan(number: int, post: Callable[..., Any]) -> None:
    """A search that is not remembered takes nothing up."""
    sent = {"base": "1", "found": "nowhere", "plan": "1", "author": "A", "reason": "b", "licence": "yes"}
    refused = post(f"/networks/{number}/plans/accept", **sent)
    assert refused.status_code == 422
    assert "no longer remembered" in refused.text


def test_what_is_wrong_is_named_as_the_page_calls_it(client: TestClient, number: int, post: Callable[..., Any]) -> None:
    """Labels, not names of fields; twice round is refused, across north is not."""
    wrong = {**ASKED, "power-step": "x", "cost-visit": "-1", "budget_s": "0", "worlds": "3", "sigma_db": "2"}
    wrong |= {"whole_db": "5", "robust": "best"}
    refused = post(f"/networks/{number}/plans/find", **wrong)
    assert refused.status_code == 422
    for label in (
        "Power: step", "Cost of a visit", "Time", "Drawn worlds", "Alike over a site’s area", "Search for",
    ):  # fmt: skip
        assert f">{label}</span>" in refused.text
    assert ">power-step<" not in refused.text
    round_twice = {
        **ASKED,
        "vary-azimuth": "yes",
        "azimuth-least": "0",
        "azimuth-greatest": "540",
        "azimuth-step": "30",
    }
    refused = post(f"/networks/{number}/plans/find", **round_twice)
    assert refused.status_code == 422
    assert "go round more than once" in refused.text
    assert ">Azimuth: first</span>" in refused.text


def test_bounds_of_direction_go_once_round() -> None:
    """350 to 370 is across north; 0 to 720 is refused with what was given."""
    across = SiteChanges.model_validate_json('{"azimuth_deg": {"least": 350, "greatest": 370, "step": 10}}')
    assert across.azimuth_deg is not None
    assert across.azimuth_deg.values == (350.0, 360.0, 370.0)
    with pytest.raises(ValidationError, match="0 to 540 degrees go round more than once"):
        SiteChanges.model_validate_json('{"azimuth_deg": {"least": 0, "greatest": 540, "step": 30}}')
