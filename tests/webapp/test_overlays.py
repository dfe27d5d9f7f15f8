"""Overlays of a network: brought in, listed with what was lost, given out, deleted; refusals in words."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import pytest
from starlette.testclient import TestClient

from tests.sfn.study.test_overlay import written, zipped
from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.store import overlays
from webapp.store.store import Store

LINE = {
    "type": "Feature",
    "properties": {"name": "Valley road"},
    "geometry": {"type": "LineString", "coordinates": [[-84.28, 36.25], [-84.2, 36.3]]},
}


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def sent(client: TestClient, number: int, content: bytes, **fields: str) -> Any:
    """A file sent by the page's form."""
    page = client.get(f"/networks/{number}/map").text
    return client.post(
        f"/networks/{number}/map/overlays/upload",
        data={"csrf_token": token_in(page), **fields},
        files={"file": ("a.geojson", content)},
        follow_redirects=False,
    )


def test_an_overlay_is_kept_listed_given_out_and_deleted(
    client: TestClient, store: Store, post: Callable[..., Any], number: int
) -> None:
    """With name, attribution and what was lost; of its own network only; both acts are in the record."""
    answer = sent(
        client, number, json.dumps(LINE).encode(), name="Roads <x>", attribution="Own survey", at="36.3,-84.2"
    )
    assert answer.status_code == 303
    assert "panel=overlays" in answer.headers["location"]
    assert "at=36.3" in answer.headers["location"]
    (kept,) = store.overlays.of(number)
    page = client.get(f"/networks/{number}/map").text
    assert "Roads &lt;x&gt;" in page
    assert "Own survey" in page
    assert "Cut to the network" in page
    shapes = client.get(f"/networks/{number}/map/overlays/{kept.id}.json")
    assert shapes.headers["content-type"].startswith("application/geo+json")
    assert shapes.json()["features"][0]["geometry"]["coordinates"] == [[-84.28, 36.25], [-84.2, 36.3]]
    other = store.create(store.read(number).document, author="test", reason="another").network_id
    assert client.get(f"/networks/{other}/map/overlays/{kept.id}.json").status_code == 404
    assert post(f"/networks/{other}/map/overlays/{kept.id}/delete").status_code == 404
    assert post(f"/networks/{number}/map/overlays/{kept.id}/delete").status_code in (200, 303)
    assert store.overlays.of(number) == ()
    acts = [line.action for line in store.audit.lines()]
    assert {"overlay added", "overlay deleted"} <= set(acts)


def test_what_is_no_overlay_is_refused_in_words(
    client: TestClient, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No file, no shapes in the area, too many overlays: 422 with what would be right."""
    assert sent(client, number, b"no map").status_code == 422
    far = LINE | {"geometry": {"type": "Point", "coordinates": [8.0, 47.0]}}
    refused = sent(client, number, json.dumps(far).encode())
    assert refused.status_code == 422
    assert "lies in the network&#39;s area" in refused.text
    monkeypatch.setattr(overlays, "MOST_N", 0)
    assert "delete one first" in sent(client, number, json.dumps(LINE).encode()).text


def test_coast_is_offered_where_it_was_brought(
    client: TestClient, number: int, settings: Settings, tmp_path: Path
) -> None:
    """Not before; then with its notice, cut to the area."""
    assert client.get(f"/networks/{number}/map/country/coast.json").status_code == 404
    assert "country/coast.json" not in client.get(f"/networks/{number}/map").text
    shp = written(tmp_path, "ne_10m_coastline.shp", "ESRI Shapefile", [(-84.28, 36.25), (-84.2, 36.3)], "EPSG:4326")
    (settings.data_folder / "country/coast").mkdir(parents=True)
    (settings.data_folder / "country/coast/ne_10m_coastline.zip").write_bytes(
        zipped(*(shp.with_suffix(end) for end in (".shp", ".shx", ".dbf", ".prj")))
    )
    assert "country/coast.json" in client.get(f"/networks/{number}/map").text
    found = client.get(f"/networks/{number}/map/country/coast.json").json()
    assert found["says"][0] == "Made with Natural Earth."
    assert len(found["features"]) == 1


@pytest.mark.parametrize(("field", "longest"), [("name", 80), ("attribution", 200)])
def test_what_was_typed_is_kept_whole_or_refused(client: TestClient, number: int, field: str, longest: int) -> None:
    """Nothing is cut in silence."""
    content = json.dumps(LINE).encode()
    refused = sent(client, number, content, **{field: "x" * (longest + 1)})
    assert refused.status_code == 422
    assert f"is {longest + 1} characters long" in refused.text
    assert sent(client, number, content, **{field: "x" * longest}).status_code == 303
    assert "x" * longest in client.get(f"/networks/{number}/map").text


def test_a_road_of_an_overlay_goes_to_the_route_page_with_its_doubt(
    client: TestClient, post: Callable[..., Any], number: int, settings: Settings, tmp_path: Path
) -> None:
    """In the list, beside a clicked place, and driven along as tried; fetched roads say that they may lie beside."""
    assert "none yet" in client.get(f"/networks/{number}/road/roads").text
    assert sent(client, number, json.dumps(LINE).encode(), name="County").status_code == 303
    shp = written(tmp_path, "ne_10m_roads.shp", "ESRI Shapefile", [(-84.29, 36.25), (-84.2, 36.31)], "EPSG:4326")
    (settings.data_folder / "country/roads").mkdir(parents=True)
    (settings.data_folder / "country/roads/ne_10m_roads.zip").write_bytes(
        zipped(*(shp.with_suffix(end) for end in (".shp", ".shx", ".dbf", ".prj")))
    )
    listed = client.get(f"/api/pages/networks/{number}/road/roads").json()["lines"]["rows"]
    assert [(one["name"], one["overlay"]) for one in listed] == [
        ("Valley road", "Natural Earth"), ("Valley road", "County"),
    ]  # fmt: skip
    assert client.get(f"/api/pages/networks/{number}/road/roads?find=hill").json()["lines"]["rows"] == []
    assert "alley" in client.get(f"/networks/{number}/road/roads?find=VALLEY").text
    # Half way along County's: the other line passes some hundreds of metres north-west.
    beside = client.get(f"/api/pages/networks/{number}/map/roads?lat=36.275&lon=-84.24").json()
    assert [one["overlay"] for one in beside["lines"]] == ["County", "Natural Earth"]
    assert beside["lines"][0]["away_m"] < 5 < 100 < beside["lines"][1]["away_m"] < 2000
    offered = client.get(f"/networks/{number}/map/roads?lat=36.275&lon=-84.24&off=south").text
    assert offered.count("Reception along Valley road") == 2
    assert f"/networks/{number}/road/picked?off=south" in offered
    assert client.get(f"/networks/{number}/map/roads?lat=30&lon=-84.24").text.strip() == ""
    for one, beside_m in zip(beside["lines"], (10.0, 1000.0), strict=True):
        answer = post(f"/networks/{number}/road/picked?off=south", picked=one["picked"])
        assert answer.status_code == 303
        told = re.search(r"(?:job=|/jobs/)([\w-]+)", answer.headers["location"])
        assert told is not None
        job = client.app.state.jobs.find(told[1])  # type: ignore[attr-defined]
        assert job.ended.wait(120)
        shown = client.get(job.result_url)
        assert f"Valley road ({one['overlay']})" in shown.text
        assert ("beside the road" if beside_m > 100 else "10 m beside the line") in shown.text
        said = client.get(f"/api/pages{job.result_url}").json()
        assert [p["values"]["beside_m"] for p in said["problems"] if p["code"] == "road-drawn"] == [beside_m]
        assert "off=south" in job.result_url
        whose = "Made with Natural Earth" if one["overlay"] == "Natural Earth" else ""
        for form in ("csv", "geojson", "kml", "svg"):
            file_text = client.get(f"/networks/{number}/road/{job.id}/road.{form}?off=south").text
            assert ("line: Made with Natural Earth" in " ".join(file_text.split())) == bool(whose), (
                form,
                one["overlay"],
            )


def test_a_damaged_overlay_has_no_roads_and_the_list_says_so(client: TestClient, store: Store, number: int) -> None:
    """The others stay; its name stands in a notice."""
    sent(client, number, json.dumps(LINE).encode(), name="County")
    sent(client, number, json.dumps(LINE).encode(), name="Parish")
    with store._writing.begin() as connection:
        connection.exec_driver_sql("UPDATE overlays SET document = replace(document, '36.25', '36.29') WHERE id = 1")
    said = client.get(f"/api/pages/networks/{number}/road/roads").json()
    assert [one["overlay"] for one in said["lines"]["rows"]] == ["Parish"]
    assert said["damaged"] == ["County"]
    assert "not listed: County" in client.get(f"/networks/{number}/road/roads").text
    assert client.get(f"/networks/{number}/map/roads?lat=36.275&lon=-84.24").text.count("Reception along") == 1


def test_a_road_picked_on_the_map_stands_beside_it(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Its end is the map with the window it was picked from, its profile a piece of the page, its picture narrow."""
    sent(client, number, json.dumps(LINE).encode(), name="County")
    offered = client.get(f"/networks/{number}/map/roads?lat=36.275&lon=-84.24&off=south").text
    assert f'formaction="/networks/{number}/road/picked?beside=true&amp;off=south"' in offered
    where = {"layer": "delay_difference_us", "at": "36.275,-84.24", "view": "36.2,-84.3,11"}
    answer = post(f"/networks/{number}/road/picked?off=south&beside=true", picked="1:0:Valley road", **where)
    assert answer.status_code == 303
    told = re.search(r"(?:road=|/jobs/)([\w-]+)", answer.headers["location"])
    assert told is not None
    job = client.app.state.jobs.find(told[1])  # type: ignore[attr-defined]
    assert job.ended.wait(120)
    address, _, query = job.result_url.partition("?")
    assert address == f"/networks/{number}/map"
    assert dict(parse_qsl(query)) == {**where, "road": job.id, "panel": "road", "off": "south"}
    part = client.get(f"/networks/{number}/road/{job.id}/beside?off=south")
    assert part.status_code == 200
    assert "Valley road (County)" in part.text
    assert "as tried" in part.text
    chart = client.get(f"/networks/{number}/road/{job.id}/profile.svg?off=south")
    assert chart.headers["content-type"].startswith("image/svg+xml")
    assert 'id="road-plot"' in chart.text
    box = re.search(r'viewBox="0 0 ([\d.]+)', chart.text)
    assert box is not None
    assert float(box[1]) == pytest.approx(4.2 * 72, abs=0.5)  # inches of the figure, in points
    assert "no longer kept here" in client.get(f"/networks/{number}/road/nowhere/beside").text
    assert client.get(f"/networks/{number}/road/nowhere/profile.svg").status_code == 404


@pytest.mark.parametrize("picked", ["", "x", "99:0:Valley road", "1:7:Valley road", "1:0:another", "1:-1:Valley road"])
def test_a_road_that_is_gone_is_refused_in_words(
    client: TestClient, post: Callable[..., Any], number: int, picked: str
) -> None:
    """Nothing else is driven along in its place."""
    sent(client, number, json.dumps(LINE).encode())
    answer = post(f"/networks/{number}/road/picked", picked=picked)
    assert answer.status_code == 422
    assert "road of the list" in answer.text or "page shows now" in answer.text
