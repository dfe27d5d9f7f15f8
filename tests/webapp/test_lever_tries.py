"""Power, direction, pattern and tilts tried on map, point and road, and taken up as a revision."""

import html
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from sfn.geodesy.sites import place
from sfn.study.lever_try import Lever
from sfn.study.what_if import WhatIf, tried
from tests.webapp.conftest import start_levels
from tests.webapp.test_zones import pixels, ready
from webapp.store.store import Store
from webapp.work.maps import Maps

CARDIOID = [[0, 0], [90, 6], [180, 25], [270, 6]]
AT = "lat=36.29&lon=-84.21"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example, South with an antenna; gap is fed by north."""
    example["sites"][1]["antenna"] = {"azimuth_deg": 90, "horizontal": CARDIOID, "note": "from the data sheet"}
    return store.create(example, author="test", reason="test").network_id


def levels(client: TestClient, number: int, query: str = "") -> dict[str, float]:
    """Levels at a point, by site."""
    answer = client.get(f"/api/networks/{number}/point?{AT}&{query}").json()
    return {signal["site"]: signal["level_dbuvm"] for signal in answer["signals"]}


def test_layers_follow_a_tried_power_and_come_back_to_the_byte(client: TestClient, number: int) -> None:
    """No job, another picture; and without the try the very picture of before."""
    part, jobs = ready(client, number), client.app.state.jobs  # type: ignore[attr-defined]
    count = len(jobs._jobs)
    before = client.get(f"{part}/layer/level_dbuvm.png").content
    tried = client.get(f"{part}/layer/level_dbuvm.png?power=north:-20dB").content

    assert tried != before
    assert client.get(f"{part}/layer/level_dbuvm.png").content == before
    assert client.get(f"{part}/layer/level_dbuvm.png?power=north:3kW&azimuth=south:90").content == before
    assert len(jobs._jobs) == count


def test_the_try_is_the_revision_saved_with_it(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """Map and point with the try; then it is saved, levels are worked out anew, and both show the same."""
    part = ready(client, number)
    query = "power=north:-6dB&azimuth=south:200&pattern=gap:south"
    tried_pixels = pixels(client, f"{part}/layer/level_dbuvm.png?{query}")
    tried_levels = levels(client, number, query)
    asked = {
        "base": "1", "author": "me", "power-north": "-6 dB", "azimuth-south": "200", "pattern-gap": "south",
        "bounds": "36.18,-84.28,36.40,-84.14", "pixel_m": "500",
    }  # fmt: skip

    refused = post(f"/networks/{number}/map/keep", **asked)
    assert refused.status_code == 422
    assert "held against the licence" in html.unescape(refused.text)
    assert len(store.history(number)) == 1

    saved = post(f"/networks/{number}/map/keep", **asked, licence="yes")
    assert saved.status_code == 303
    sites = {site["id"]: site for site in store.read(number).document["sites"]}
    assert sites["north"]["erp_kw"] == pytest.approx({"h": 3 * 10**-0.6, "v": 3 * 10**-0.6}, rel=1e-11)
    assert sites["south"]["antenna"] == {"azimuth_deg": 200.0, "horizontal": CARDIOID, "note": "from the data sheet"}
    assert sites["gap"]["antenna"] == {"horizontal": CARDIOID, "note": "pattern of South ridge"}
    assert levels(client, number) == pytest.approx(tried_levels, abs=1e-6)
    assert levels(client, number) != pytest.approx(levels(client, number, "power=north:0.1dB"), abs=1e-3)
    anew = start_levels(client, saved.headers["location"])
    new_part = anew.split('data-part="')[1].split('"')[0]
    assert new_part != part
    assert (pixels(client, f"{new_part}/layer/level_dbuvm.png") == tried_pixels).mean() > 0.999


def test_a_lever_is_named_with_its_caution_wherever_its_figures_stand(client: TestClient, number: int) -> None:
    """Page, summary, point, file and contour; the relay it feeds is named, and what rises above the plan asked about."""
    part, query = ready(client, number), "power=north:3dB"
    caution, said = "bounds of a licence", "North ridge: 5.986"

    page = html.unescape(client.get(f"/networks/{number}/map?{query}").text)
    assert all(one in page for one in (said, caution, "up to 3.0"))
    assert "Gap receives North ridge off air" in page
    view = client.get(f"{part}/view.json?{query}").json()
    assert all(one in html.unescape(view["says"]) for one in (said, caution))
    assert said in html.unescape(client.get(f"/networks/{number}/point?at=36.29,-84.21&{query}").text)
    assert said in client.get(f"/api/networks/{number}/point?{AT}&{query}").json()["tried"][0]
    file = client.get(f"{part}/file/level_dbuvm.csv?{query}")
    assert file.headers["content-disposition"].split('filename="')[1].startswith("TRY")
    assert all(one in file.text for one in (said, caution))
    for other in ("sheets", "change-plan"):
        assert caution not in client.get(f"/networks/{number}/{other}?{query}").text


def test_contours_follow_the_try_and_say_so(client: TestClient, number: int) -> None:
    """6 dB less at one site is a smaller contour of it, and the same of the others."""
    part = ready(client, number)
    areas = []
    for query in ("", "&power=south:-6dB&offset=gap:70"):
        answer = client.get(f"{part}/contours.json?level=60{query}").json()
        areas.append({site["site"]: site["area_km2"] for site in answer["sites"]})
        assert any(said.startswith("Tried: South ridge: ") for said in answer["first"]) == bool(query)
    assert areas[1]["south"] < areas[0]["south"]
    assert {name: areas[1][name] for name in ("north", "gap")} == {name: areas[0][name] for name in ("north", "gap")}
    file = client.get(f"{part}/contours.geojson?level=60&power=south:-6dB")
    assert "TRY" in file.headers["content-disposition"]


@pytest.mark.parametrize(
    ("query", "where", "code"),
    [
        ("power=north:3", "power-north", "not-a-number"),
        ("power=north:40dB", "power-north", "out-of-range"),
        ("azimuth=gap:10", "azimuth-gap", "option-idle"),
        ("electrical-tilt=south:2", "electrical-tilt-south", "option-idle"),
        ("pattern=gap:nowhere", "pattern-gap", "unknown-site"),
        ("mechanical-tilt=south", "mechanical-tilt", "try-unreadable"),
        ("azimuth=south:1e400", "azimuth-south", "not-a-number"),
    ],
)
def test_what_cannot_be_tried_is_told_at_its_field(
    client: TestClient, number: int, query: str, where: str, code: str
) -> None:
    """In words, with the field's name, whichever way it is asked."""
    refused = client.get(f"/api/networks/{number}/point?{AT}&{query}")

    assert refused.status_code == 422
    assert [(p["where"], p["code"]) for p in refused.json()["problems"]] == [(where, code)]


def test_the_form_without_a_script_is_led_to_the_shorter_address(client: TestClient, number: int) -> None:
    """Fields that are empty or repeat the plan try nothing; the address keeps the rest."""
    typed = "offset-north=0&power-north=-3dB&azimuth-south=90&pattern-south=&electrical-tilt-north="
    led = client.get(f"/networks/{number}/map?{typed}", follow_redirects=False)

    assert led.status_code == 303
    assert led.headers["location"] == f"/networks/{number}/map?power=north%3A-3+dB"
    page = client.get(led.headers["location"]).text
    assert 'name="power-north" form="view" data-try="power"' in page
    assert 'value="-3 dB" placeholder="3' in page


def test_another_height_works_out_its_own_levels_and_is_held_against_the_plan(
    client: TestClient, post: Callable[..., Any], number: int
) -> None:
    """The page of the try starts them; before that its parts say what is lacking, afterwards they are drawn."""
    part, query = ready(client, number), "antenna-height=north:150"
    refused = client.get(f"{part}/view.json?{query}", headers={"Accept": "application/json"})
    assert refused.status_code == 422
    assert [p["code"] for p in refused.json()["problems"]] == ["levels-to-be-computed"]
    before = client.get(f"{part}/layer/level_dbuvm.png").content

    area = "bounds=36.18,-84.28,36.40,-84.14&pixel_m=500"
    assert 'id="start"' in client.get(f"/networks/{number}/map?{area}&{query}").text
    shown = start_levels(client, f"/networks/{number}/map?{area}&{query}")
    assert f'data-part="{part}"' in shown
    view = client.get(f"{part}/view.json?{query}").json()
    assert "150.0 m above ground instead of 60.0 m" in view["says"]
    assert view["short"].startswith("Against the plan")
    assert client.get(f"{part}/layer/level_dbuvm.png?{query}").content != before
    assert client.get(f"{part}/layer/level_dbuvm.png").content == before
    assert client.get(f"{part}/contours.json?level=60&{query}").status_code == 200
    point = client.get(f"/networks/{number}/point/part?lat=36.29&lon=-84.21&map={part.rpartition('/')[2]}&{query}")
    assert point.status_code == 200
    asked = {"base": "1", "author": "me", "antenna-height-north": "150", "licence": "yes"}
    assert post(f"/networks/{number}/map/keep", **asked).status_code == 303
    assert client.get(f"/api/networks/{number}").json()["document"]["sites"][0]["antenna_m"] == 150.0


def test_a_site_tried_elsewhere_works_out_its_own_levels_is_marked_there_and_saved_as_typed(
    client: TestClient, post: Callable[..., Any], number: int
) -> None:
    """Until its levels are there parts say what is lacking; the offset of a crossing is not saved without the place."""
    part, query = ready(client, number), "position=north:36.3301,-84.2302&ground-height=north:410"
    refused = client.get(f"{part}/view.json?{query}", headers={"Accept": "application/json"})
    assert [p["code"] for p in refused.json()["problems"]] == ["levels-to-be-computed"]
    area = "bounds=36.18,-84.28,36.40,-84.14&pixel_m=500"
    start_levels(client, f"/networks/{number}/map?{area}&{query}")
    view = client.get(f"{part}/view.json?{query}").json()
    assert "at 36.3301,-84.2302 (ground 410.0 m above sea level as typed" in view["says"].replace("\u202f", " ")
    (mark,) = [one for one in view["sites"] if one["id"] == "north"]
    assert (round(mark["lat"], 5), round(mark["lon"], 5)) == (36.3301, -84.2302)
    plan = client.get(f"{part}/view.json").json()
    (there,) = [one for one in plan["sites"] if one["id"] == "north"]
    assert (there["lat"], there["lon"]) != (mark["lat"], mark["lon"])

    key = part.rpartition("/")[2]
    point = client.get(f"/networks/{number}/point/part?lat=36.29&lon=-84.21&map={key}&{query}").text
    assert 'data-move-to="36.29000, -84.21000"' in point
    page = f"/networks/{number}/point?at=36.29,-84.21"
    assert "path as planned, not as tried</a>" in client.get(f"{page}&{query}").text  # that page knows no try
    assert "path</a>" in client.get(page).text
    met = client.get(f"{part}/crossing?lat=36.29&lon=-84.21&fill_in=south&against=north&{query}").text
    assert "Not saved from here: a site is tried at another place" in met
    assert "/map/keep" not in met
    assert "/map/keep" in client.get(f"{part}/crossing?lat=36.29&lon=-84.21&fill_in=south&against=north").text

    asked = {"base": "1", "author": "me", "position-north": "36.3301,-84.2302", "ground-height-north": "410"}
    assert post(f"/networks/{number}/map/keep", **asked).status_code == 422
    assert post(f"/networks/{number}/map/keep", **asked, licence="yes").status_code == 303
    site = client.get(f"/api/networks/{number}").json()["document"]["sites"][0]
    assert (site["position"], site["ground_m"]) == ({"text": "36.3301,-84.2302"}, 410)


def test_without_terrain_the_ground_of_a_moved_site_is_asked_for(client: TestClient, number: int) -> None:
    """At its own field, and the map says why there is none; nothing is taken for granted."""
    for where in ("map", "point", "road"):
        answer = client.get(f"/networks/{number}/{where}?at=36.29,-84.21&position=north:36.3301,-84.2302")
        said = answer.text.replace("\u202f", " ")
        assert "where no terrain says how high the ground is" in said, where
        assert "Traceback" not in said


def test_who_loses_by_an_offset_is_judged_with_the_power_that_is_tried(
    client: TestClient, store: Store, number: int
) -> None:
    """The change that a crossing lists places of, with a lever, is that of the network saved with it."""
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    network = store.read(number).network
    keys = []
    levers = {"south": Lever(power_db=9.0, azimuth_deg=250.0)}
    radiating = tried(network, WhatIf(levers=levers), placed=place(network)).network
    for of in (network, radiating):
        area = (36.18, -84.28, 36.40, -84.14)
        wanted = maps.wanted(of, bounds=area, pixel_m=500.0, most=10**6)
        job = maps.start(of, wanted, result_url="")
        assert job is None or job.ended.wait(120)
        keys.append(wanted.key)
    moved = tried(radiating, WhatIf(offsets_us={"south": 20.0}), placed=place(radiating))
    ours, theirs = (maps.effect(radiating, key, moved) for key in keys)
    plan = maps.effect(network, keys[0], moved)

    assert keys[0] != keys[1]
    assert ours is not None
    assert theirs is not None
    assert plan is not None
    assert np.isclose(ours.kind, theirs.kind, equal_nan=True).mean() > 0.999
    assert not np.isclose(ours.kind, plan.kind, equal_nan=True).all()


def test_a_road_takes_levers_of_a_script(client: TestClient, number: int) -> None:
    """`levers` of the body, each figure bounded; the level of that site alone moves."""
    line = [[36.25, -84.25], [36.33, -84.18]]
    made = []
    for levers in ({}, {"north": {"power_db": -6.0}}):
        body = {"line": line, "spacing_m": 1000, "levers": levers}
        answer = client.post(f"/api/networks/{number}/road", json=body).json()
        signals = [{s["site"]: s["level_dbuvm"] for s in sample["signals"]} for sample in answer["samples"]]
        made.append((answer["tried"], signals))
    assert made[0][0] == []
    assert made[1][0][0].startswith("North ridge: ")
    for before, after in zip(made[0][1], made[1][1], strict=True):
        assert after["north"] - before["north"] == pytest.approx(-6.0, abs=1e-4)
        assert after["south"] == before["south"]
    refused = client.post(f"/api/networks/{number}/road", json={"line": line, "levers": {"north": {"power_db": 31}}})
    assert refused.status_code == 422
