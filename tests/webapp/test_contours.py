"""Contours over the map's levels: answered, exported, held against a licence, refused in words."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.field.licence import read_areas
from tests.webapp.test_zones import ready
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_contours_are_answered_and_exported(client: TestClient, number: int) -> None:
    """The page's answer, the GeoJSON and the KML hold the same areas; the main's contour is held against the others."""
    part = ready(client, number)
    told = client.get(f"{part}/contours.json?level=70&main=north").json()
    one = client.get(f"{part}/contours.geojson?level=70&site=south")
    same = client.get(f"{part}/contours.kml?level=70&site=south")
    south = next(s for s in told["sites"] if s["site"] == "south")

    assert {"north", "south", "gap"} == {s["site"] for s in told["sites"]}
    assert {"south", "gap"} == {i["site"] for i in told["inside"]}
    assert len(told["says"]) == len(told["inside"])
    assert told["first"] == [told["drawn"]["properties"]["cut"]]
    assert "The frame of the map cuts the contour of South ridge:" in one.json()["properties"]["cut"]
    assert one.json()["properties"]["cut"] in same.text
    assert south["areas"] == len(read_areas(one.content)) == len(read_areas(same.content)) > 0
    assert "attachment" in one.headers["content-disposition"]


def test_a_licence_is_taken_and_judged(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """A small square as licence: every site reaches out of it, and it comes back to be drawn."""
    part = ready(client, number)
    square = [[-84.22, 36.27], [-84.20, 36.27], [-84.20, 36.29], [-84.22, 36.29], [-84.22, 36.27]]
    drawn = json.dumps({"type": "Polygon", "coordinates": [square]})
    told = post(f"{part}/licence/upload", files={"file": ("l.geojson", drawn)}, level="60", site="north").json()

    assert [("licence", False)] == [(i["outer"], i["inside"]) for i in told["inside"]]
    assert [square] == told["licence"]["features"][0]["geometry"]["coordinates"]
    assert "North ridge reaches out of the licence's contour by" in told["says"][0]


@pytest.mark.parametrize(
    ("query", "said"),
    [("level=", "cannot be ''"), ("level=900", "-20 to 150 dBuV/m"), ("level=60&site=x", "there is no site 'x'")],
)
def test_what_cannot_be_drawn_is_said(client: TestClient, number: int, query: str, said: str) -> None:
    """Levels and sites that make no sense are answered in words."""
    part = ready(client, number)
    answer = client.get(f"{part}/contours.json?{query}", headers={"Accept": "application/json"})

    assert 422 == answer.status_code
    assert said in answer.json()["problems"][0]["what"] + answer.json()["problems"][0]["expected"]


def test_a_file_that_is_no_contour_is_refused(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Whatever is sent as a licence is answered in words."""
    part = ready(client, number)
    answer = post(f"{part}/licence/upload", files={"file": ("l.kml", "<gpx/>")}, level="60")

    assert 422 == answer.status_code
    assert "is XML with the root gpx" in answer.text
