"""A position is confirmed on a small map before it is first saved; scripts get the doubts instead."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_editing import confirming, document, press

Document = dict[str, Any]


@pytest.fixture
def network(post: Callable[..., Any], example: Document) -> str:
    """The example, imported."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    return str(answer.headers["location"])


def test_a_site_that_moves_is_confirmed_on_the_map(client: TestClient, network: str) -> None:
    """Moved by 16 km: nothing is saved until the box of that very place is ticked; moved by 11 m: nobody is asked."""
    page = client.get(f"{network}/sites/south")
    assert "Where it stands" in page.text
    assert 'name="stands-1"' not in page.text
    moved = {"sites-1-position-text": "36.35000, -84.21000", "author": "Ada"}

    asked = press(client, page, "save", **moved)

    assert 1 == len(client.get("/api/networks/1/revisions").json())
    assert "36.350000, -84.210000" in asked.text
    assert "Moved by" in asked.text
    wrong = press(client, asked, "save", **{"stands-1": "36.2050, -84.2100"})
    assert 422 == wrong.status_code
    elsewhere = press(
        client, asked, "save", **{"stands-1": "36.3500, -84.2100", "sites-1-position-text": "36.4, -84.2"}
    )
    assert 422 == elsewhere.status_code
    assert "Saved as revision 2." in confirming(client, asked, "save").text
    nearby = press(client, client.get(f"{network}/sites/south"), "save", author="Ada",
                   **{"sites-1-position-text": "36.35010, -84.21000"})  # fmt: skip
    assert "Saved as revision 3." in nearby.text


def test_two_moved_sites_are_confirmed_one_after_the_other(client: TestClient, network: str) -> None:
    """What was confirmed stays confirmed while the next site is asked about."""
    first = press(client, client.get(f"{network}/sites/south"), "go site 0", **{"sites-1-position-text": "36.1, -84.2"})
    asked = press(client, first, "save", author="Ada", **{"sites-0-position-text": "36.45, -84.3"})

    again = confirming(client, asked, "save")

    assert "stands-0" in again.text
    assert "Saved as revision 2." in confirming(client, again, "save").text
    assert "36.1, -84.2" == document(client)["sites"][1]["position"]["text"]


def test_the_map_shows_doubts_with_their_worth(client: TestClient, network: str) -> None:
    """A tenth of a degree: 11 km and 37 us, as an error, before anything is saved."""
    look = press(client, client.get(f"{network}/sites/south"), "look", **{"sites-1-position-text": "36.2, -84.2"})

    assert 200 == look.status_code
    card = look.text.partition('id="stands"')[2].partition("</section>")[0]
    assert re.search(
        r'class="error">site [^<]*the position is written to 11\u202f113 m only, that is 37.08\s*[µμ]s', card
    )
    assert "<svg" in card


def test_scripts_are_not_asked_but_told(client: TestClient, network: str, example: Document) -> None:
    """Under /api a save passes, and the answer carries the doubts, each with its site and worth."""
    token = re.search(r'name="csrf_token" value="([^"]+)"', client.get(f"{network}/sites/south").text)
    assert token
    head = {"X-CSRF-Token": token[1]}
    fields = {"base_revision": "1", "do": "save", "author": "Ada", "sites-1-position-text": "36.2, -84.2"}

    saved = client.post("/api/pages/networks/1/edit", json=fields, headers=head).json()

    (problem,) = [p for p in saved["problems"] if p["code"] == "position-coarse"]
    assert (["south"], "error") == (problem["sites"], problem["severity"])
    assert 37.08 == pytest.approx(problem["values"]["doubt_us"], abs=0.01)
    example["sites"][0]["position"] = {"text": "0, 0"}
    body = {"document": example, "base_revision": 2, "author": "Ada", "reason": "moved"}
    put = client.put("/api/networks/1", json=body, headers=head)
    assert 200 == put.status_code
    assert 3 == put.json()["revision"]
    assert "position-zero" in {p["code"] for p in put.json()["problems"]}


def test_delays_carry_what_positions_are_worth(client: TestClient, network: str) -> None:
    """Every site's entry says how far its position may be off."""
    answer = client.get("/api/networks/1/delays").json()

    step_m = {"north": 111_132 * 0.1 / 3600}  # a tenth of an arc-second; the others have five decimals
    for entry in answer["sites"]:
        worth_us = step_m.get(entry["id"], 1.11132) * 1.000315 / 299.792458
        assert worth_us == pytest.approx(entry["position_us"], rel=1e-6), entry["id"]
        assert [] == entry["position_doubts"]


def test_the_map_says_which_number_was_the_northing(client: TestClient, network: str) -> None:
    """Before it is saved: the order for a grid that puts the northing first, the corner of a lettered square."""
    way = {"sites-1-position-text": "E 637000.25 N 486000.75", "sites-1-position-crs": "EPSG:2180"}
    look = press(client, client.get(f"{network}/sites/south"), "look", **way)
    assert (
        "637000.25 was taken as the easting and 486000.75 as the northing; ETRF2000-PL / CS92 itself puts" in look.text
    )
    look = press(client, look, "look", **{"sites-1-position-text": "TQ 388 123", "sites-1-position-crs": "EPSG:27700"})
    assert "TQ 388 123 names the south-west corner of a square of 100 m; its middle was taken" in look.text
