"""What the map is asked as one moves over it, and the offset with which two signals meet at a place."""

import re
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from starlette.testclient import TestClient

from tests.webapp.test_zones import ready
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_the_ruler_answers_geodesic_and_travel_time(client: TestClient, number: int) -> None:
    """As geographiclib has it, in the air of the network; out of the globe is refused."""
    at = f"/networks/{number}/map/ruler.json?lat=36.2&lon=-84.2&to_lat=36.4&to_lon=-84.3"
    found = client.get(at).json()
    expected_m = Geodesic.WGS84.Inverse(36.2, -84.2, 36.4, -84.3)["s12"]

    assert found["ground_m"] == pytest.approx(expected_m, abs=1e-3)
    assert found["travel_us"] == pytest.approx(expected_m * 1.000315 / 299.792458, abs=1e-4)
    assert client.get(at.replace("36.4", "96.4")).status_code == 422
    assert client.get(f"/api/pages{at}").json() == found


def test_the_scale_bar_is_a_part_of_the_width(client: TestClient, number: int) -> None:
    """A round length with its part of the map's width; none where the map goes round the globe."""
    at = f"/networks/{number}/map/scale.json?lat=36.2&west=-84.6&east=-84.0"
    bar = client.get(at).json()
    width_m = Geodesic.WGS84.Inverse(36.2, -84.6, 36.2, -84.0)["s12"]
    assert bar["width_ratio"] * width_m == pytest.approx(bar["length_m"], rel=1e-3)
    assert bar["km_text"] == f"{bar['length_m'] / 1000:g} km"
    assert client.get(at.replace("-84.6", "-300")).json() is None


def test_sites_and_positions_are_found(client: TestClient, number: int) -> None:
    """By a part of a site's name, and by coordinates."""
    found = client.get(f"/networks/{number}/map/places.json?q=ridge").json()["places"]
    assert {"North ridge", "South ridge"} <= {one["name"] for one in found if one["kind"] == "site"}
    (here,) = client.get(f"/networks/{number}/map/places.json", params={"q": "36.25, -84.30"}).json()["places"]
    assert (here["lat_deg"], here["lon_deg"]) == pytest.approx((36.25, -84.3))


def test_two_signals_meet_with_the_offset_that_the_panel_gives(client: TestClient, number: int) -> None:
    """The offset, tried, brings their difference at the place to what the panel says is left."""
    part = ready(client, number)
    key = part.rpartition("/")[2]
    lat, lon = 36.28, -84.2
    shown = client.get(f"/networks/{number}/point/part?lat={lat}&lon={lon}&map={key}").text
    assert "Make two signals meet here" in shown
    assert "meet here" not in client.get(f"/networks/{number}/point/part?lat={lat}&lon={lon}").text  # without a map
    at = f"/networks/{number}/map/{key}/crossing"
    query = {"lat": lat, "lon": lon, "fill_in": "south", "against": "north"}
    text = client.get(at, params=query).text.replace("\u202f", " ")
    (offset,) = re.findall(r'data-try-offset="([^"]+)"', text)
    (left,) = re.findall(r"<dd>([+−]?[\d.]+) µs: what the rounding", text)
    point = client.get(f"/api/networks/{number}/point?lat={lat}&lon={lon}&offset=south:{offset}").json()
    arrival = {one["site"]: one["arrival_us"] for one in point["signals"]}

    assert arrival["south"] - arrival["north"] == pytest.approx(float(left.replace("−", "-")), abs=1e-3)
    assert f'name="offset-south" value="{offset}"' in text
    answer = client.get(f"/api/pages{at}", params=query).json()
    assert answer["offset"] == offset
    refused = client.get(f"/api/pages{at}", params=query | {"against": "south"})
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["code"] == "moves-along"
