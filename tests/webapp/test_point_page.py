"""The point page: another way to give the place, problems under the field's name, no site on the air."""

import json
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

import sfn
from webapp.store.store import Store

DEMOS = Path(__file__).parents[2] / "demo_sites"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_latitude_and_longitude_may_stand_apart(client: TestClient, number: int) -> None:
    """They were passed over in silence; now they are the place."""
    html = client.get(f"/networks/{number}/point?lat=36.31234&lon=-84.21234").text
    assert 'value="36.31234, -84.21234"' in html
    assert "Reception:" in html


def test_a_doubt_about_the_place_bears_the_fields_name(client: TestClient, number: int) -> None:
    """Two decimals are written to a kilometre only."""
    html = client.get(f"/networks/{number}/point?at=36.30,-84.20").text
    assert "is written to" in html
    assert "at.text" not in html


def test_what_a_fix_reaches_is_named(client: TestClient, number: int) -> None:
    """The class with margin, in the service's words; no "target" that nobody named."""
    html = client.get(f"/networks/{number}/point?at=36.30000,-84.20000").text
    assert "to target" not in html
    assert "The class goes by level and by listeners" in html
    assert "Listeners: cars; shares are of time, served from 95" in html


def test_nothing_on_the_air_is_said(client: TestClient, number: int) -> None:
    """Every site tried off air: not a word of terrain or model."""
    html = client.get(f"/networks/{number}/point?at=36.30000,-84.20000&off=north&off=south&off=gap").text
    assert "No site is on air: nothing is received here or anywhere." in html


@pytest.mark.parametrize("down_db", [34.8, 35.2, 38.0, 45.0, 60.0])
@pytest.mark.parametrize("late_us", [5, 20, 50])
def test_scripts_are_told_who_is_significant_as_the_sentence_says(
    client: TestClient, number: int, example: dict[str, Any], down_db: float, late_us: float
) -> None:
    """Across the limit of 35 dB: by level, or the one that takes most where the class is one of three; as the command.

    Scripts were told that the site which made a place "just enough" is not significant, and of a delay spread of 0.
    """
    plain = sfn.point(sfn.load(example), 36.3, -84.2, tries=sfn.WhatIf(off_air=frozenset({"gap"}))).document
    weakest = plain["signals"][-1]
    power_db = -down_db - weakest["level_difference_db"]
    params = {"lat": 36.3, "lon": -84.2, "off": "gap", "power": f"{weakest['site']}:{power_db:.4f}dB"}
    shift_us = late_us - weakest["delay_difference_us"]
    params["offset"] = f"{weakest['site']}:{shift_us:.4f}"
    answer = client.get(f"/api/networks/{number}/point", params=params).json()
    quality, rows = answer["quality"], answer["signals"]
    assert rows[-1]["level_difference_db"] == pytest.approx(-down_db, abs=0.01)
    named = quality["class"] in ("just enough", "blended", "upset by our own sites")
    for row in rows:
        by_level = row["level_difference_db"] >= -35.0
        assert row["significant"] == (by_level or (named and row["name"] == quality["hurts"]))
    counted = [row["arrival_us"] for row in rows if row["significant"]]
    assert answer["delay_spread_us"] == pytest.approx(max(counted) - min(counted), abs=1e-9)
    if down_db < 40 and late_us == 50:
        assert named
        assert rows[-1]["significant"], "the class would be another without it"
    for words in (
        "“clear stereo, low margin”",
        "“clear, partly or wholly mono”",
        "“distorted by our own transmitters”",
    ):
        assert words in quality["significant_says"]


@pytest.mark.parametrize(("at", "apart"), [("36.2263, -84.24", True), ("36.1950, -84.2350", False)])
def test_a_margin_of_another_rule_than_the_class_says_so(
    client: TestClient, store: Store, at: str, apart: bool
) -> None:
    """Near an edge drawn shares and the quick estimate, whose margin stands there, may part: then both are named."""
    document = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    network = store.create(document, author="A", reason="r").network_id
    lat, lon = at.split(", ")
    told = client.get(f"/api/networks/{network}/point", params={"lat": lat, "lon": lon}).json()["quality"]
    page = client.get(f"/networks/{network}/point", params={"at": at}).text
    assert (told["for_people"] != told["for_people_quick"]) == apart
    assert ("</strong> by the quick estimate" in page) == apart
    assert (f"The quick estimate says “{told['for_people_quick']}”" in page) == apart


def test_what_a_try_changes_stands_at_the_place_term_by_term(client: TestClient, store: Store) -> None:
    """Power and an offset, in figures and in words, against the plan; without a try there is nothing of it."""
    document = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    number = store.create(document, author="A", reason="r").network_id
    saved_us = next(site["offset_us"] for site in document["sites"] if site["id"] == "gap")
    at = {"at": "36.28, -84.19"}
    tries = at | {"power": "gap:-2dB", "offset": f"gap:{saved_us + 12.5}"}
    plain, tried = (client.get(f"/networks/{number}/point", params=asked).text for asked in (at, tries))
    found = client.get(f"/api/pages/networks/{number}/point", params=tries).json()["changed"]
    gap = next(one for one in found["signals"] if one["site"] == "gap")

    assert "What the try changes here" not in plain
    assert "Against the plan as it is saved." in tried
    assert "−2.00" in tried.partition("What the try changes here")[2]
    assert gap["power_db"] == pytest.approx(-2.0)
    assert gap["now"]["level_dbuvm"] - gap["before"]["level_dbuvm"] == pytest.approx(-2.0, abs=1e-6)
    assert gap["offset_us"] == pytest.approx(12.5)
    moved_us = gap["now"]["launch_us"] - gap["before"]["launch_us"]
    assert moved_us == pytest.approx(12.5 + gap["common_us"] + gap["rest_us"], abs=1e-6)
    assert abs(gap["rest_us"]) <= 0.5, "the rest is the device's step alone"
