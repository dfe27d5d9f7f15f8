"""Buttons of a chain, a device and a small map: what they make of a draft, over the real application."""

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_editing import inputs, press

Draft = dict[str, Any]


@pytest.fixture
def network(post: Callable[..., Any], example: Draft) -> str:
    """The example, imported."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    return str(answer.headers["location"])


def drafted(page: Any) -> Draft:
    """The draft that a page carries."""
    held: Draft = json.loads(inputs(page.text)["draft"])
    return held


def test_a_stage_is_inserted_replaced_and_split(client: TestClient, network: str, example: Draft) -> None:
    """Each in its place of the chain; a shared stage stays with the other sites, a split one has its figures."""
    before = example["sites"][0]["chains"][0]["stages"]
    users = [s["id"] for s in example["sites"] if any(before[0] in c["stages"] for c in s["chains"])]
    assert len(users) > 1
    page = client.get(f"{network}/sites/north/chain")
    inserted = drafted(press(client, page, "insert sites-0-chains-0-stages-2"))
    chain = inserted["sites"][0]["chains"][0]["stages"]
    assert [*before[:2], "north-stage", *before[2:]] == chain
    assert {"id": "north-stage", "kind": "other", "source": "assumed"} == inserted["stages"][-1]
    split = drafted(press(client, page, "split sites-0-chains-0-stages-0"))
    own = split["sites"][0]["chains"][0]["stages"][0]
    figures = {stage["id"]: {k: v for k, v in stage.items() if k != "id"} for stage in split["stages"]}
    assert own != before[0]
    assert figures[before[0]] == figures[own]
    assert before[0] in split["sites"][1]["chains"][0]["stages"]
    replaced = drafted(press(client, page, "replace sites-0-chains-0-stages-0"))
    fresh = replaced["sites"][0]["chains"][0]["stages"][0]
    kinds = {stage["id"]: stage["kind"] for stage in replaced["stages"]}
    assert (kinds[before[0]], "assumed") == (kinds[fresh], replaced["stages"][-1]["source"])
    assert "latency_us" not in replaced["stages"][-1]


def test_a_site_is_made_like_another(client: TestClient, network: str) -> None:
    """Chain and devices are taken over anew; what was typed of the site stays, and no stage of the old chain does."""
    added = press(client, client.get(network), "add-like 0")
    typed = press(client, added, "like sites-3 1", **{"sites-3-name": "East hill", "sites-3-antenna_m": "30"})
    draft = drafted(typed)
    site, other = draft["sites"][3], draft["sites"][1]
    assert ("East hill", 30, "east-hill") == (site["name"], site["antenna_m"], site["id"])
    assert [field["name"] for field in other["delay_fields"]] == [field["name"] for field in site["delay_fields"]]
    passed = {one for s in draft["sites"] for c in s["chains"] for one in c["stages"]}
    inside = {one for stage in draft["stages"] for one in stage.get("inside") or ()}
    known = {stage["id"] for stage in drafted(press(client, client.get(network), "go site 0", notes="x"))["stages"]}
    assert {stage["id"] for stage in draft["stages"]} - passed - inside <= known


@pytest.mark.parametrize("do", ["insert sites-9-chains-0-stages-0", "split x", "replace sites-0", "device sites-0 ms",
                                "like sites-0 99", "add-route sites-9", "put 0.5", "put nan 0.5", "look 1e9", "undo"])  # fmt: skip
def test_a_button_of_nothing_changes_nothing(client: TestClient, network: str, do: str) -> None:
    """A place or a number that there is not leaves the draft as it is."""
    page = client.get(f"{network}/sites/north")
    answer = press(client, page, do)
    assert 200 == answer.status_code
    assert "draft" not in inputs(answer.text)


def test_a_device_starts_by_what_it_counts_in(client: TestClient, network: str) -> None:
    """Unit and step are set; its limits stay as they were read off it."""
    page = client.get(f"{network}/sites/north")
    greatest = inputs(page.text)["sites-0-delay_fields-0-greatest"]
    field = drafted(press(client, page, "device sites-0-delay_fields-0 48k"))["sites"][0]["delay_fields"][0]
    assert ("samples@48000", 1, 0, "later") == (field["unit"], field["step"], field["least"], field["sign"])
    assert float(greatest) == field["greatest"]


def test_a_click_places_a_site(client: TestClient, network: str) -> None:
    """Where the map was clicked, with the digits that its pixels are worth; the map then asks whether it stands there."""
    added = press(client, client.get(network), "add-like 0")
    frame = re.search(r'name="frame" value="([^"]+)"', added.text)
    assert frame
    north, west, lat_per_px, lon_per_px = (float(one) for one in unescape(frame[1]).split())
    placed = press(client, added, "put 0.25 0.75", frame=unescape(frame[1]))
    text = inputs(placed.text)["sites-3-position-text"]
    lat, lon = (float(one) for one in text.split(","))
    assert lat == pytest.approx(north - 0.75 * 300 * lat_per_px, abs=lat_per_px * 10)
    assert lon == pytest.approx(west + 0.25 * 400 * lon_per_px, abs=lon_per_px * 10)
    assert lat_per_px <= 10.0 ** -len(text.split(",")[0].partition(".")[2]) < 10 * lat_per_px
    assert "Is this where it stands?" in placed.text
    closer = press(client, placed, "look 2")
    assert "2.0" == inputs(closer.text)["across_km"]
    assert 2 / 400 == pytest.approx(float(inputs(closer.text)["frame"].split()[2]) * 111.32, rel=0.01)


def test_a_first_chain_in_parts(client: TestClient) -> None:
    """What was typed stays when the chain is parted; the stages bear the site's name, the encoder none."""
    page = client.get("/networks/new")
    parted = press(client, page, "part", to="/networks/new", name="My valley")
    sent = inputs(parted.text)
    assert ("yes", "My valley") == (sent["parted"], sent["name"])
    assert "to put right" not in parted.text
    typed = {
        "frequency_mhz": "98.3", "sites-0-name": "Main mast", "sites-0-position-text": "36.30012 -84.20034",
        "sites-0-ground_m": "800", "sites-0-antenna_m": "50", "sites-0-erp_kw-h": "3",
        "sites-0-delay_fields-0-greatest": "2000000", "stages-0-latency_us": "90000", "stages-1-latency_us": "20000",
        "stages-2-latency_us": "4000", "stages-3-length_m": "60", "stages-3-velocity_factor": "0.88", "author": "Ada",
    }  # fmt: skip
    looked = press(client, parted, "look", to="/networks/new", **typed)
    box = re.search(r'type="checkbox" name="(stands-0)" value="([^"]+)"', looked.text)
    assert box
    made = press(client, looked, "", to="/networks/new", **{box[1]: unescape(box[2])})
    assert "The network is made." in made.text
    document = client.get("/networks/1/export.json").json()
    assert ["encoder", "main-mast-link", "main-mast-exciter", "main-mast-feeder"] == [
        s["id"] for s in document["stages"]
    ]
    whole = press(client, parted, "part", to="/networks/new")
    assert "stages-1-latency_us" not in inputs(whole.text)
