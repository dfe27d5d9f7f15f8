"""The overlap map: computed once in a job, redrawn at every change, refused in words."""

import html
import io
import json
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import rasterio
from PIL import Image
from pyproj import Geod, Transformer
from starlette.testclient import TestClient

from tests.webapp.conftest import start_levels
from webapp.store.store import Store

AREA = "36.18,-84.28,36.40,-84.14"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def ready(client: TestClient, number: int, *, pixel_m: str = "500") -> str:
    """Have the levels of the map worked out, and give the address of its parts."""
    shown = start_levels(client, f"/networks/{number}/map?bounds={AREA}&pixel_m={pixel_m}")
    found = re.search(r'data-part="([^"]+)"', shown)
    assert found
    return found[1]


def test_levels_are_started_by_the_form_and_the_page_follows_them(client: TestClient, number: int) -> None:
    """Looking starts nothing, however often; what was started counts to its end, and its end is the map."""
    address, jobs = f"/networks/{number}/map?bounds={AREA}&pixel_m=500&offset=gap%3A61", client.app.state.jobs  # type: ignore[attr-defined]
    api = f"/api/pages{address}"
    for _ in range(2):
        shown, said = client.get(address), client.get(api)
        assert (shown.status_code, said.status_code) == (200, 200)
        assert not said.json()["ready"]
        assert said.json()["levels_url"] == f"/networks/{number}/map/levels?offset=gap%3A61"
    assert jobs._jobs == {}
    asked = {"bounds": AREA, "pixel_m": "500"}
    led = client.post(f"/api/pages{said.json()['levels_url']}", json=asked).json()["next"]
    (job,) = jobs._jobs.values()
    assert job.ended.wait(120)
    state = client.get(led, headers={"Accept": "application/json"}).json()
    assert (state["state"], state["done"], state["total"]) == ("finished", 3000, 3000)
    assert (
        state["result_url"] == f"/networks/{number}/map?bounds={AREA.replace(',', '%2C')}&pixel_m=500&offset=gap%3A61"
    )
    assert client.get(api).status_code == 200
    again = client.post(f"/api/pages/networks/{number}/map/levels", json=asked)
    assert again.json()["next"].startswith(f"/api/pages/networks/{number}/map?")
    assert len(jobs._jobs) == 1


def test_the_page_shows_the_network_before_any_level_is_there(client: TestClient, number: int) -> None:
    """Corners hold the asked area to a pixel; sites lie where pyproj has them, with what is tried."""
    shown = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=500&offset=gap%3A61")
    assert not client.app.state.jobs._jobs  # type: ignore[attr-defined]
    (corners, sites) = (
        json.loads(html.unescape(found[1]))
        for name in ("corners", "sites")
        if (found := re.search(rf'data-{name}="([^"]+)"', shown.text))
    )
    asked = [float(part) for part in AREA.split(",")]
    assert [*corners[0], *corners[1]] == pytest.approx(asked, abs=0.012)
    assert {one["id"]: one["offset_us"] for one in sites} == {"north": 0, "south": -12.5, "gap": 61}
    # 36 22 12.0 N, 84 15 00.0 W
    assert (sites[0]["lat"], sites[0]["lon"]) == pytest.approx((36.37, -84.25), abs=1e-9)


def test_over_a_smooth_earth_high_sites_are_said_on_map_and_point(client: TestClient, number: int) -> None:
    """The example's highest site, South ridge, stands 340 m above Gap, the lowest, with an antenna of 40 m, and no terrain is named."""
    said = "at 560 m, the ground of Gap, the lowest site: the antenna of South ridge counts as 380 m high, not 40 m"
    for address in (f"map?bounds={AREA}&pixel_m=500", "point?at=36.3%2C-84.2"):
        assert said in client.get(f"/networks/{number}/{address}").text


def pixels(client: TestClient, address: str) -> np.ndarray:
    """A picture's pixels."""
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return np.asarray(Image.open(io.BytesIO(answer.content)))


def test_layers_follow_a_tried_offset_without_new_levels(client: TestClient, number: int) -> None:
    """Trying an offset redraws the delay layers and leaves the levels' layer as it is."""
    part = ready(client, number)
    before = {name: pixels(client, f"{part}/layer/{name}.png") for name in ("delay_spread_us", "level_difference_db")}
    after = {name: pixels(client, f"{part}/layer/{name}.png?offset=south:30") for name in before}

    assert not np.array_equal(before["delay_spread_us"], after["delay_spread_us"])
    np.testing.assert_array_equal(before["level_difference_db"], after["level_difference_db"])


def test_a_site_off_the_air_disappears_and_moves_no_launch(client: TestClient, number: int) -> None:
    """Without the gap filler the others keep their launches: only what it contributed goes."""
    part = ready(client, number)
    view = client.get(f"{part}/view.json?off=gap").json()

    assert [site["on_air"] for site in view["sites"]] == [True, True, False]
    assert all("gap" not in pair for pair in view["pairs"])


def test_the_view_tells_bounds_layers_and_the_overlap_in_numbers(client: TestClient, number: int) -> None:
    """The map's script gets everything ready-made."""
    view = client.get(f"{ready(client, number)}/view.json").json()

    south, west = view["bounds"][0]
    assert (south, west) == pytest.approx((36.18, -84.28), abs=0.006)
    assert {"strongest_site", "level_difference_db", "delay_difference_us", "delay_spread_us"} <= {
        x["name"] for x in view["layers"]
    }
    assert "Overlap zone" in view["summary"]
    assert view["pairs"]


def test_legends_carry_units_and_kilometres(client: TestClient, number: int) -> None:
    """A legend says what its colours mean."""
    part = ready(client, number)
    legend = client.get(f"{part}/legend/delay_difference_us.svg").text

    assert "km of air below" in legend
    assert "North ridge" in client.get(f"{part}/legend/strongest_site.svg").text


def test_wavefronts_of_a_pair_are_labelled_lines(client: TestClient, number: int) -> None:
    """Equal-delay lines at multiples of a step, and the edges of the equal-signal band."""
    part = ready(client, number)
    lines = client.get(f"{part}/lines.json?a=north&b=south").json()
    delays = {
        f["properties"]["delay_difference_us"] for f in lines["features"] if f["properties"]["kind"] == "equal-delay"
    }

    assert 0.0 in delays
    steps = np.diff(sorted(delays))
    np.testing.assert_allclose(steps, steps[0])
    assert pixels(client, f"{part}/ribbon.png?a=north&b=south")[..., 3].max() > 0
    assert client.get(f"{part}/lines.json?a=north&b=nowhere").status_code == 404


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("offset=east:3", "there is no site &#39;east&#39;"),
        ("offset=south", "SITE:VALUE"),
        ("offset=south:x", "a number"),
        ("offset=south:1e9", "cannot be tried"),
        ("route=south:standby", "has no route"),
    ],
)
def test_what_cannot_be_tried_is_said(client: TestClient, number: int, query: str, said: str) -> None:
    """A wrong try is refused in words."""
    answer = client.get(f"{ready(client, number)}/layer/delay_spread_us.png?{query}")

    assert answer.status_code == 422
    assert said in answer.text or said.replace("&#39;", "'") in answer.text


def test_a_mistyped_number_is_told_with_the_field_it_stands_in(client: TestClient, number: int) -> None:
    """The page's script marks that field."""
    part = ready(client, number)
    for query, where in (("offset=south:12,5x", "offset-south"), ("clock=gap:1e9", "clock-gap")):
        answer = client.get(f"{part}/view.json?{query}", headers={"Accept": "application/json"})
        assert answer.status_code == 422
        assert answer.json()["problems"][0]["where"] == where


def test_a_map_that_is_too_large_names_the_pixel_that_would_do(client: TestClient, number: int) -> None:
    """Refused before memory is taken, with the number that would be accepted."""
    answer = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=1")

    assert answer.status_code == 422
    assert re.search(r"more than 4\s000\s000.*[\d.]+ m or more", answer.text, re.S)


def test_a_clicked_point_shows_every_signal(client: TestClient, number: int) -> None:
    """Level, distance, travel, launch, arrival and differences, with what is tried in force."""
    shown = client.get(f"/networks/{number}/point/part?lat=36.28&lon=-84.2&offset=south:0").text.replace("\u202f", " ")

    for text in ("North ridge", "South ridge", "Gap", "dBµV/m", "122 600.4"):
        assert text in shown


def test_a_clicked_point_says_what_the_pixel_beside_it_is(client: TestClient, number: int) -> None:
    """The panel is of the place itself; how far the pixel's centre is, its level and class are those of the map's CSV."""
    part = ready(client, number)
    lat, lon = 36.2811, -84.2013
    html = client.get(f"/networks/{number}/point/part?lat={lat}&lon={lon}&map={part.rpartition('/')[2]}").text
    said = " ".join(re.sub(r"<[^>]+>", " ", html).replace("\u202f", " ").split())
    told = re.search(
        r"pixel of (\d+) m, of its centre (\d+) m away: ([^.]+), strongest ([\d.]+) dBµV/m \(here ([\d.]+)", said
    )
    assert told is not None, said[:400]
    with rasterio.open(io.BytesIO(client.get(f"{part}/file/level_dbuvm.tif").content)) as raster:
        there = Transformer.from_crs("EPSG:4326", raster.crs, always_xy=True)
        row, column = raster.index(*there.transform(lon, lat))
        centre = there.transform(*raster.xy(row, column), direction="INVERSE")
        level_dbuvm = float(raster.read(1)[row, column])
    assert float(told[2]) == pytest.approx(Geod(ellps="WGS84").inv(lon, lat, *centre)[2], abs=1.0)
    assert float(told[4]) == pytest.approx(level_dbuvm, abs=0.06)
    assert (
        "Worked out for this very place"
        not in client.get(f"/networks/{number}/point/part?lat={lat}&lon={lon}&map=unknown").text
    )


def test_the_point_page_takes_a_place_as_people_write_it(client: TestClient, number: int) -> None:
    """Degrees, minutes and seconds, and a refusal in words for what is no place."""
    shown = client.get(f"/networks/{number}/point", params={"at": "36°16'48\"N 84°12'00\"W", "rx_height_m": "10"}).text
    assert "10.0 m above ground" in shown.replace("\u202f", " ")

    refused = client.get(f"/networks/{number}/point", params={"at": "over there"})
    assert refused.status_code == 422
    assert "over there" in refused.text


def test_tried_offsets_are_saved_as_a_revision_with_a_name(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """Saving keeps author and reason; an old base is a conflict that loses nothing."""
    fields = {
        "base": "1",
        "author": "A. Engineer",
        "reason": "tried on the map",
        "offset-south": "−7,5",
        "offset-gap": "",
    }
    assert post(f"/networks/{number}/map/keep", **fields).status_code == 303
    saved = store.read(number)
    assert [site["offset_us"] for site in saved.document["sites"]] == [0, -7.5, 60]
    assert (saved.revision.number, saved.revision.author, saved.revision.reason) == (
        2,
        "A. Engineer",
        "tried on the map",
    )

    assert post(f"/networks/{number}/map/keep", **fields).status_code == 409
    nothing = {"base": "2", "author": "A. Engineer", "offset-south": "-7.5"}
    assert post(f"/networks/{number}/map/keep", **nothing).status_code == 303
    assert "nothing was saved" in client.get(f"/networks/{number}/delays").text
    assert post(f"/networks/{number}/map/keep", **(nothing | {"base": "x"})).status_code == 422
    assert json.loads(json.dumps(store.read(number).document)) == saved.document


def test_every_switch_says_that_it_is_a_try_with_what_it_changes(client: TestClient, number: int) -> None:
    """A clock, a site off air with the one it feeds: the map, people and area before and after, and no save."""
    part = ready(client, number)
    planned = client.get(f"{part}/view.json").json()
    assert planned["says"].strip() == ""

    for query, said in (
        ("clock=south:30", "its clock 30.00 µs late"),
        ("off=north", "Gap: not transmitting, because North ridge, which feeds it, is not"),
        ("offset=gap:1", "Beware: site Gap (main) needs"),
    ):
        view = client.get(f"{part}/view.json?{query}").json()
        assert "This is a try, not the plan" in view["says"]
        assert said in view["says"].replace("\u202f", " ")
        assert view["short"].startswith("Against the plan, adequate reception is gained on ")
        assert view["short"] in html.unescape(view["summary"])
    assert client.get(f"{part}/view.json?offset=south:-12.5&clock=gap:0").json() == planned
    clocks = [site["clock_us"] for site in client.get(f"{part}/view.json?clock=south:30").json()["sites"]]
    assert clocks == [0, 30, 0]


def test_the_address_of_the_page_keeps_what_is_tried(client: TestClient, number: int) -> None:
    """Opened again, the form holds it; a form without a script comes to the same address."""
    page = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=2000&clock=gap:3&off=south")
    assert 'data-site="gap" data-plan="0" class="amount" value="3"' in page.text
    assert 'name="off" value="south" checked' in page.text
    assert "This is a try, not the plan" in page.text

    sent = {"layer": "quality_class", "offset-south": "-12.5", "offset-gap": "61", "clock-gap": "0", "route": ""}
    answer = client.get(f"/networks/{number}/map", params=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/networks/{number}/map?offset=gap%3A61"


def test_a_point_of_a_try_is_called_one(client: TestClient, number: int) -> None:
    """The click and its page of its own keep what is tried, and say so."""
    part = client.get(f"/networks/{number}/point/part?lat=36.28&lon=-84.2&clock=south:9").text
    assert "as tried, not as planned" in part
    link = re.search(r'href="([^"]+)">This point', part)
    assert link
    assert "South ridge: its clock 9.00 µs late" in client.get(html.unescape(link[1])).text.replace("\u202f", " ")


def test_street_tiles_are_allowed_only_when_asked_for(client: TestClient, number: int) -> None:
    """The policy lets pictures in from elsewhere on that page alone."""
    plain = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=2000")
    asked = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=2000&streets=true")

    assert "openstreetmap" not in plain.headers["Content-Security-Policy"]
    assert "https://tile.openstreetmap.org" in asked.headers["Content-Security-Policy"]


def test_files_of_a_try_bear_its_name_and_those_of_the_plan_do_not(client: TestClient, number: int) -> None:
    """Every layer in three forms, lines in two, all in one archive; what is not there is not found."""
    part = ready(client, number)
    for path in (
        "file/quality_class.tif",
        "file/limiting_site.png",
        "file/all-layers.csv",
        "lines/quality_class.kml",
        "wavefronts.geojson",
        "files.zip",
    ):
        for query, try_it in (("", False), ("?clock=south:3", True)):
            answer = client.get(f"{part}/{path}{query}")
            assert answer.status_code == 200, answer.text
            name = answer.headers["Content-Disposition"].partition('filename="')[2]
            assert name.startswith("TRY-") == try_it
            assert "revision-1-" in name
            assert len(answer.content) > 100
    assert client.get(f"{part}/file/nothing.tif").status_code == 404
    assert client.get(f"{part}/wavefronts.kml?a=north&b=nowhere").status_code == 404


def test_the_page_offers_every_layer_and_its_files(client: TestClient, number: int) -> None:
    """Also without a script: the links carry what is tried."""
    ready(client, number)
    page = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=500&layer=limiting_site&off=gap").text

    assert ' value="limiting_site" selected>Signal that limits</option>' in page
    assert "coverage_probability" not in page  # FM has none
    assert "file/limiting_site.png?off=gap" in page
    assert "files.zip?off=gap" in page


def test_all_that_is_wrong_with_an_address_is_told_with_a_way_back(client: TestClient, number: int) -> None:
    """A strategy and two figures at once; the page leads to the network it was about."""
    answer = client.get(f"/networks/{number}/map?strategy=foo&backoff_us=nan&threshold_db=much")
    assert answer.status_code == 422
    for word in ("foo", "nan", "much"):
        assert word in answer.text
    assert f'href="/networks/{number}">To the network</a>' in answer.text


def test_no_layer_says_that_clear_is_unusable(client: TestClient, number: int) -> None:
    """Each layer says what has no colour: in the layer of classes nothing that is known."""
    page = client.get(f"/networks/{number}/map?bounds={AREA}&pixel_m=500").text
    assert "Clear: below" not in page
    assert '<span id="legend-clear">no signal is known in this model</span>' in page
    assert (
        'data-clear="the strongest is below the minimum field, or no second signal counts" value="delay_spread_us"'
        in page
    )
