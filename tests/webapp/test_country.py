"""The ground round the sites in the browser: shown, asked for, fetched from a server of the tests' own, stood on."""

import html
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from pyproj import Geod
from starlette.testclient import TestClient

from sfn.cli import main
from sfn.country.sources import sources
from sfn.geodesy.sites import placed_sites
from sfn.plan import read
from sfn.terrain.dem import heights, terrain_from_folder
from tests.sfn.country.small_server import Store as Served, serving
from tests.sfn.country.small_tiles import places_line, slope, write_cover, write_heights, write_people, write_places
from tests.webapp.conftest import token_in
from tests.webapp.paper_text import bare, text_of
from tests.webapp.test_users import WORDS, log_in
from webapp.config.settings import Settings
from webapp.store.roles import ROLES
from webapp.store.store import Store

SETS = ("HEIGHTS", "HEIGHTS_COARSE", "COVER", "PEOPLE", "NAMES")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every set's tile round the example network."""
    folder = tmp_path_factory.mktemp("sets")
    write_heights(folder, 36, -85)
    write_cover(folder, 36, -87, {(29_000, 28_000, 7_000, 8_000): 30})
    write_people(folder, 6, 10, {(3300, 6800): np.full((60, 120), 5.0)})
    write_places(folder, [places_line("Ridgeway", 36.3, -84.2, 4200)])
    return folder


@pytest.fixture
def server(made: Path) -> Iterator[Served]:
    """A server with all of them."""
    with serving(Served(made)) as served:
        yield served


@pytest.fixture
def browser(server: Served, client_with: Callable[..., TestClient], monkeypatch: pytest.MonkeyPatch) -> TestClient:
    """An application whose settings name the server."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    return client_with(sources=sources({f"SFN_DELAYS_SOURCE_{name}": server.base for name in SETS}))


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example network, weak enough for a small map."""
    for site in example["sites"]:
        site["erp_kw"] = {"h": 1e-5, "v": 1e-5}
    return store.create(example, author="Ada", reason="made").network_id


def sent(by: TestClient, address: str, **fields: Any) -> Any:
    """Send a form; a list is a field several times."""
    data = {"csrf_token": token_in(by.get("/").text), **fields}
    return by.post(address, data=data, follow_redirects=False)


def ended(by: TestClient, answer: Any) -> str:
    """Wait for the job of an answer, and give the address of what it led to."""
    assert answer.status_code == 303, answer.text
    job = by.app.state.jobs.find(answer.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
    assert job.ended.wait(120)
    assert job.state == "finished", job.problems
    return str(by.get(answer.headers["location"], follow_redirects=False).headers["location"])


def test_it_is_shown_asked_for_and_stood_on(
    browser: TestClient, server: Served, settings: Settings, store: Store, number: int, poppler: None, tmp_path: Path
) -> None:
    """Nobody outside is asked by looking; then four files come, and the network names what was made of them."""
    address = f"/networks/{number}/country"
    shown = html.unescape(browser.get(address).text)
    assert "Get the ground around these sites" in browser.get(f"/networks/{number}/terrain").text
    assert "Copernicus_DSM_COG_10_N36_00_W085_00_DEM.tif" in shown
    assert "the names of 4 files" in shown
    assert "Contains modified Copernicus Sentinel data (2021)" in shown
    assert server.asked == []

    assert f'href="{address}"' in browser.get(f"/networks/{number}").text

    cut = {"act": "look", "what": ["heights"], "name": "Valley"}
    typed = sent(browser, f"{address}/fetch", **cut, bounds="36.2,-85.5,36.4,-84.1")
    assert 'value="36.2,-85.5,36.4,-84.1"' in typed.text
    assert "the names of 2 files" in typed.text
    # 0.2 x 1.4 degrees round 36.3 N: 2790.74 km2 by pyproj's Geod.polygon_area_perimeter along 2001 points a parallel.
    # The middle parallel is 125.75 km long, the meridian 22.19 (Geod.line_length, Geod.inv).
    assert "<strong>126 × 22.2 km, 2\u202f791 km²</strong>" in typed.text
    for wrong in ("36.2,-84", "36.4,-84.2,36.2,-84.1", "10,-84,36,-50", "36.2,-84.2,96,-84.1"):
        refused = sent(browser, f"{address}/fetch", **{**cut, "act": ""}, bounds=wrong)
        assert refused.status_code == 422, wrong
        assert f'value="{wrong}"' in refused.text
    looked = sent(browser, f"{address}/fetch", act="look", what=["heights"], name="Valley")
    assert "the names of 1 file" in looked.text
    assert server.asked == []

    result = ended(
        browser, sent(browser, f"{address}/fetch", what=["heights", "cover", "people", "names"], name="Valley")
    )
    told = browser.get(result)
    assert told.status_code == 200
    assert len(server.asked) == 4
    assert 'name="take-terrain" value="yes" checked' in told.text
    assert ("open data asked for", "Valley") in [(line.action, line.subject) for line in store.audit.lines(most=50)]

    taken = dict.fromkeys(re.findall(r'name="(take-\w+)"', told.text), "yes")
    saved = sent(browser, address, base_revision="1", name="Valley", author="Ada", reason="ground", **taken)
    assert saved.status_code == 303, saved.text
    document = store.read(number).document
    assert document["terrain"] == {"folder": "Valley heights", "heights_of": "surface"}
    assert document["cover"]["folder"] == "Valley cover"
    assert re.fullmatch(r"people-GHS-POP-2020-[0-9a-f]{10}\.tif", document["listeners"]["file"])
    ground = terrain_from_folder(settings.data_folder / "terrain" / "Valley heights")
    lat, lon = np.array(36.25), np.array(-84.15)
    assert heights(ground, lat, lon) == pytest.approx(slope(lat, lon), abs=0.01)
    for shown_on in ("", "/map", "/road", "/people", "/terrain", "/change"):
        assert "(c) ESA WorldCover project" in browser.get(f"/networks/{number}{shown_on}").text, shown_on
    api, place = f"/api/networks/{number}", "36.30,-84.20"
    line = {"line": [[36.30, -84.20], [36.32, -84.18]]}
    answers = [browser.get(f"{api}/point?lat=36.3&lon=-84.2"), browser.post(f"{api}/road", json=line)]
    assert all("(c) ESA WorldCover project" in one.json()["credits"] for one in answers)
    drawn = browser.get(f"/networks/{number}/path.svg", params={"at": place}).text
    assert "(c) ESA WorldCover project" in " ".join(re.findall(r"<!-- (.*?) -->", drawn))
    people = f"/networks/{number}/people"
    assert "36\u202f000" in browser.get(people).text
    (listed,) = (path.name for path in (settings.data_folder / "terrain").glob("people-GeoNames-places-*.csv"))
    compared = html.unescape(browser.get(f"{people}?file={listed}").text).replace("\u202f", " ")
    assert "Counted now: <strong>36 000 people</strong>; by this file: <strong>4 200</strong>" in compared
    assert "Ridgeway" in compared

    # Beyond the cut cover treetops count as bare ground: said before any figure, on page, panel and to scripts.
    at, says = "lat=36.9&lon=-84.9", "At this place heights are those of treetops and roofs"
    for shown_on in ("/point?at=36.9,-84.9", f"/point/part?{at}"):
        text = browser.get(f"/networks/{number}{shown_on}").text
        assert 0 < text.index(says) < (text + "Receiving antenna 1").index("Receiving antenna 1"), shown_on
    assert browser.get(f"{api}/point?{at}").json()["treetops_say"].startswith(says)
    assert says in html.unescape(browser.get(f"/networks/{number}/path?site=north&at=36.9,-84.9").text)
    assert says not in browser.get(f"/networks/{number}/point?at=36.3,-84.2").text

    # They lie over every map where nobody chose, and whose they are stands with them, on pictures too.
    (over,) = [
        one for one in browser.get(f"/networks/{number}/map/overlays.json").json()["overlays"] if one["key"] == "names"
    ]
    assert over["usual"]
    assert "GeoNames" in over["credit"]
    lying = browser.get(over["shapes"]).json()
    assert "Ridgeway" in [one["properties"]["name"] for one in lying["features"]]
    assert "GeoNames" in lying["says"][0]
    page = browser.get(f"/networks/{number}/map").text
    assert re.search(r'data-overlay="names" data-credit="[^"]*GeoNames[^"]*"[^>]* data-usual="on"', page)

    # People are a raster now: the fetched names are found all the same, and those of one's own lines.
    shapes = {"type": "Feature", "properties": {"name": "Ridge road"}, "geometry": {"type": "LineString",
        "coordinates": [[-84.25, 36.3], [-84.21, 36.31], [-84.2, 36.32]]}}  # fmt: skip
    drawn_file = {"file": ("mine.geojson", json.dumps({"type": "FeatureCollection", "features": [shapes]}))}
    named = {"csrf_token": token_in(browser.get("/").text), "name": "my roads"}
    kept = browser.post(f"/networks/{number}/map/overlays/upload", data=named, files=drawn_file, follow_redirects=False)
    assert kept.status_code == 303, kept.text
    found = browser.get(f"/networks/{number}/map/places.json?q=RIDGE").json()["places"]
    assert [(one["name"], one["source"]) for one in found if one["kind"] != "site"] == [
        ("Ridgeway", "GeoNames, CC BY 4.0, fetched"), ("Ridge road", "my roads"),
    ]  # fmt: skip
    assert (found[-1]["lat_deg"], found[-1]["lon_deg"]) == (36.31, -84.21)

    sheet = text_of(browser.get(f"/networks/{number}/sheets/north/sheet.pdf").content, tmp_path)
    assert bare("(c) ESA WorldCover project") in bare(sheet)
    assert bare("GHS-POP R2023A") in bare(sheet)

    again = sent(browser, f"{address}/fetch", what=["heights", "cover"], name="Valley")
    ended(browser, again)
    assert len(server.asked) == 4


def test_what_did_not_come_is_said_on_the_page(browser: TestClient, server: Served, store: Store, number: int) -> None:
    """With the tile; the rest is there to be stood on."""
    server.faults["cities500.zip"] = "403"
    result = ended(
        browser, sent(browser, f"/networks/{number}/country/fetch", what=["heights", "names"], name="Valley")
    )
    told = html.unescape(browser.get(result).text)

    assert "cities500.zip" in told
    assert "the server refuses it (403)" in told
    assert 'name="take-terrain"' in told
    assert 'name="take-listeners"' not in told


def test_people_of_the_area_and_of_the_map_can_be_held_side_by_side(
    browser: TestClient, server: Served, settings: Settings, number: int, tmp_path: Path
) -> None:
    """Both say over which area they count; together with who lives beyond the frame they are rasterio's sum."""
    server.folder = tmp_path
    write_people(tmp_path, 6, 10, {(3000, 6000): np.full((1200, 1200), 0.5)})
    ended(browser, sent(browser, f"/networks/{number}/country/fetch", what=["people"], name="Valley"))
    (path,) = (settings.data_folder / "terrain").glob("people-GHS-POP-2020-*.tif")
    with rasterio.open(path) as source:
        whole, (west, south, _, north) = float(source.read(1).sum(dtype=np.float64)), source.bounds

    def plain(address: str) -> str:
        return html.unescape(browser.get(address).text).replace("\u202f", " ")

    made = plain(f"/networks/{number}/country?name=Valley")
    assert "shows the same without a rim of 0.02° on each side, so that fewer people live on it" in made
    stated = re.search(r"<strong>([\d.]+ × [\d.]+ km, [\d ]+ km²)</strong>: all sites", made)
    area = re.search(r"People: ([\d ]+) live in the cells .*?, ([\d.]+) × ([\d.]+) km, ([\d ]+) km²", made)
    assert area is not None
    assert float(area[1].replace(" ", "")) == pytest.approx(whole, abs=0.5)
    high_m = Geod(ellps="WGS84").inv(west, south, west, north)[2]
    assert float(area[3]) == pytest.approx(high_m / 1000, abs=0.06)

    taken = {"take-listeners": "yes", "base_revision": "1", "name": "Valley", "author": "Ada", "reason": "people"}
    assert sent(browser, f"/networks/{number}/country", **taken).status_code == 303
    people = plain(f"/networks/{number}/people")
    said = re.search(
        r"; ([\d ]+) people within the frame of this map, ([\d. ×km]+, [\d ]+ km²); "
        r"all of the file on ([\d. ×km]+, [\d ]+ km²) has ([\d ]+), of whom ([\d ]+) live beyond that frame",
        people,
    )
    assert said is not None
    within, all_of_it, beyond = (float(said[k].replace(" ", "")) for k in (1, 4, 5))
    assert f"{area[2]} × {area[3]} km, {area[4]} km²" == said[3]
    assert all_of_it == pytest.approx(whole, abs=0.5)
    assert within + beyond == pytest.approx(whole, abs=1.0)
    # The raster has whole cells of 3 arc-seconds: up to one more than the stated area on each side.
    assert stated is not None
    areas = [
        float(one.rpartition(", ")[2].removesuffix(" km²").replace(" ", "")) for one in (stated[1], said[3], said[2])
    ]
    assert areas[1] == pytest.approx(areas[0], rel=0.02)
    assert areas[2] < areas[0]
    assert 0 < within < whole
    assert f"On the usual map, {said[2]}: <strong>{said[1]} people</strong>" in people


def test_a_setting_forbids_it(server: Served, client_with: Callable[..., TestClient], number: int) -> None:
    """Every page says so and has no button; a form that is sent all the same is refused, and nobody is asked."""
    names = {f"SFN_DELAYS_SOURCE_{name}": server.base for name in SETS}
    closed = client_with(sources=sources(names | {"SFN_DELAYS_DOWNLOADS": "no"}))
    shown = closed.get(f"/networks/{number}/country").text
    refused = sent(closed, f"/networks/{number}/country/fetch", what=["heights"], name="Valley")

    assert "This installation fetches nothing" in shown
    assert 'value="fetch"' not in shown
    assert refused.status_code == 422
    assert "SFN_DELAYS_DOWNLOADS" in refused.text
    scripted = {"json": {"what": "heights", "name": "Valley"}, "headers": {"X-CSRF-Token": token_in(shown)}}
    assert closed.post(f"/api/pages/networks/{number}/country/fetch", **scripted).status_code == 422
    for address in (f"/networks/{number}", f"/networks/{number}/terrain"):
        page = html.unescape(closed.get(address).text)
        assert "This installation fetches nothing (<code>SFN_DELAYS_DOWNLOADS</code> is no)" in page, address
        assert "--unpack FILE" in page
        assert "Get the ground around these sites" not in page
        assert "what would be fetched" not in page
    made = closed.get("/networks/new").text
    assert "/country" not in made
    document = closed.get(f"/networks/{number}/export.json").json()
    del document["sites"][0]["ground_m"]
    imported = closed.post(
        "/networks/import", data={"csrf_token": token_in(shown), "author": "Ada"},
        files={"file": ("n.json", json.dumps(document).encode())},
    )  # fmt: skip
    assert "This installation fetches nothing" in imported.text
    assert 'value="fetch"' not in imported.text
    by_hand = sent(closed, "/networks/import/ground", document=json.dumps(document), act="fetch", author="Ada")
    assert by_hand.status_code == 422
    assert "is no: this installation fetches nothing" in html.unescape(by_hand.text)
    assert server.asked == []


@pytest.mark.parametrize("role", sorted(ROLES))
def test_who_plans_may_fetch_and_nobody_else(
    server: Served, client_with: Callable[..., TestClient], store: Store, number: int, role: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """A role that may not is refused in words and no file is asked for; its page says whose the form is."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    store.accounts.add("Head", role="administrator", password=WORDS)
    store.accounts.add("Somebody", role=role, password=WORDS)
    client = client_with(sources=sources({f"SFN_DELAYS_SOURCE_{name}": server.base for name in SETS}))
    assert log_in(client, "Somebody").status_code == 303
    page, plans = client.get(f"/networks/{number}/country"), "plan" in ROLES[role]
    answer = sent(client, f"/networks/{number}/country/fetch", what=["names"], name="Valley")

    assert plans == (role in ("planner", "administrator"))
    assert answer.status_code == (303 if plans else 403)
    if plans:
        ended(client, answer)
        assert len(server.asked) == 1
        return
    assert f"Somebody ({role}) may not" in html.unescape(answer.text)
    assert f"as {role} you may not change plans" in page.text
    assert server.asked == []


def test_what_was_packed_is_the_same_on_a_machine_without_a_net(
    browser: TestClient, server: Served, client_with: Callable[..., TestClient], settings: Settings, store: Store,
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Packed by the command, unpacked by it, made ready on the page: the very same heights, people and names."""
    what = ["heights", "cover", "people", "names"]
    ended(browser, sent(browser, f"/networks/{number}/country/fetch", what=what, name="Valley"))
    asked_n = len(server.asked)
    document, stick = tmp_path / "valley.json", tmp_path / "stick.zip"
    document.write_text(json.dumps(store.read(number).document), encoding="utf-8")
    monkeypatch.setenv("SFN_DELAYS_DATA", str(settings.data_folder))
    assert main(["country", str(document), "--yes", "--pack", str(stick)]) == 0
    other = tmp_path / "other"
    monkeypatch.setenv("SFN_DELAYS_DATA", str(other))
    monkeypatch.setenv("SFN_DELAYS_DOWNLOADS", "no")
    assert main(["country", str(document), "--unpack", str(stick)]) == 0
    capsys.readouterr()
    there = client_with(sources=sources({"SFN_DELAYS_DOWNLOADS": "no"}), data_folder=other)
    shown = there.get(f"/networks/{number}/country").text
    assert "All is here: make it ready" in shown
    ended(there, sent(there, f"/networks/{number}/country/fetch", what=what, name="Valley"))

    here, yonder = settings.data_folder / "terrain", other / "terrain"
    keys = [json.loads((one / ".country" / "Valley.json").read_text(encoding="utf-8")) for one in (here, yonder)]
    assert keys[0]["keys"] == keys[1]["keys"]
    assert keys[0]["says"] == keys[1]["says"]
    tables = [next(one.glob("people-GeoNames-places-*.csv")).read_bytes() for one in (here, yonder)]
    assert tables[0] == tables[1]
    assert b"Ridgeway,36.3,-84.2,4200" in tables[0]
    sums = []
    for one in (here, yonder):
        with rasterio.open(one / keys[0]["keys"]["listeners"]["file"]) as source:
            sums.append(float(source.read(1).sum(dtype=np.float64)))
    assert sums[0] == sums[1] == 60 * 120 * 5.0
    drawn = np.random.default_rng(21).uniform((36.01, -84.9), (36.99, -84.01), (200, 2)).T
    both = [heights(terrain_from_folder(one / "Valley heights"), *drawn) for one in (here, yonder)]
    assert both[0] == pytest.approx(slope(*drawn), abs=0.01)
    assert np.array_equal(both[0], both[1])
    assert len(server.asked) == asked_n


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"what": ["heights"], "name": "../up"}, "cannot be '../up'"),
        ({"what": ["castles"], "name": "Valley"}, "cannot be 'castles'"),
        ({"name": "Valley"}, "one set at least"),
        ({"what": ["heights"], "name": "mine"}, "mine heights is a folder of other files"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    browser: TestClient, server: Served, settings: Settings, number: int, fields: dict[str, Any], says: str
) -> None:
    """With what was typed on the page; nobody's folder is written over."""
    (settings.data_folder / "terrain" / "mine heights").mkdir(parents=True)
    (settings.data_folder / "terrain" / "mine heights" / "own.tif").write_bytes(b"x")
    answer = sent(browser, f"/networks/{number}/country/fetch", **fields)

    assert answer.status_code == 422
    assert says in html.unescape(answer.text)
    assert server.asked == []


def test_it_stops_when_somebody_cancels(browser: TestClient, server: Served, settings: Settings, number: int) -> None:
    """What came stays, and is gone on from."""
    server.faults[".tif"] = "slow 5"
    ended(browser, sent(browser, f"/networks/{number}/country/fetch", what=["names"], name="Names"))
    answer = sent(browser, f"/networks/{number}/country/fetch", what=["heights", "names"], name="Valley")
    job = browser.app.state.jobs.find(answer.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
    part = settings.data_folder / "country" / "heights"
    while not job.ended.wait(0.02) and not any(path.stat().st_size for path in part.glob("*.part")):
        pass
    assert sent(browser, f"/jobs/{job.id}/cancel").status_code == 303
    assert job.ended.wait(10)

    assert job.state == "cancelled"
    assert any(path.stat().st_size for path in part.glob("*.part"))
    assert not (settings.data_folder / "terrain" / "Valley heights").exists()
    page = html.unescape(browser.get(f"/jobs/{job.id}").text)
    (begun,), names = part.glob("*.part"), settings.data_folder / "country" / "names" / "cities500.zip"
    assert f"what came is kept: 1 of 2 files are here whole, {names.stat().st_size / 1e6:.1f} MB; of " in page
    assert f"; of {begun.stem} {begun.stat().st_size / 1e6:.1f} MB came" in page
    assert "the same asked for once more" in page
    go_on = re.search(r'class="button" href="([^"]+)">Go on with it<', page)
    assert go_on is not None
    there = html.unescape(browser.get(go_on[1]).text)
    assert 'value="Valley"' in there
    assert "Fetch 1 file" in there
    server.faults.clear()
    ended(browser, sent(browser, f"/networks/{number}/country/fetch", what=["heights"], name="Valley"))
    assert server.asked[-1][2].startswith("bytes=")


def test_a_document_without_ground_is_not_sent_away(
    browser: TestClient, server: Served, store: Store, example: dict[str, Any]
) -> None:
    """The page asks for the heights, fetches what the sets have there, takes nothing by itself, and makes the network."""
    for site in example["sites"]:
        site["erp_kw"] = {"h": 1e-5, "v": 1e-5}
    whole = json.dumps(example)
    at = placed_sites(read(whole)).at["north"]
    for site in example["sites"]:
        if site["id"] in ("north", "south"):
            del site["ground_m"]
    token = token_in(browser.get("/").text)

    def imported(document: dict[str, Any], **more: Any) -> Any:
        files = {"file": ("valley.json", json.dumps(document).encode())}
        data = {"csrf_token": token, "author": "Ada"}
        return browser.post("/networks/import", data=data, files=files, follow_redirects=False, **more)

    def field(text: str, name: str) -> str:
        found = re.search(rf'name="{name}" value="([^"]*)"', text)
        assert found is not None, name
        return html.unescape(found[1])

    asked = imported(example)
    assert asked.status_code == 422
    page = html.unescape(asked.text)
    assert "2 of 3 sites in valley.json lack the height of the ground" in page
    assert "North ridge" in page
    assert "the names of 1 file" in page
    assert server.asked == []
    scripted = imported(example, headers={"Accept": "application/json"})
    assert scripted.status_code == 422
    assert [one["fields"] for one in scripted.json()["problems"]] == [["ground_m"]] * 2

    held = {name: field(asked.text, name) for name in ("document", "source", "made")}
    missing = sent(browser, "/networks/import/ground", **held, author="Ada", act="make", **{"height-0": "812,5"})
    assert missing.status_code == 422
    assert "site South ridge: is missing" in re.sub(r"<[^>]+>|\s+", " ", html.unescape(missing.text)).replace("  ", " ")
    assert 'value="812,5"' in missing.text
    assert store.summaries() == ()

    answer = sent(browser, "/networks/import/ground", **held, author="Ada", act="fetch")
    result = ended(browser, answer)
    assert len(server.asked) == 1
    job = browser.app.state.jobs.find(result.rpartition("=")[2])
    assert job.asked["imported"]["document"] == json.loads(held["document"])
    assert len(job.key) < 200, "an index of PostgreSQL holds some thousand bytes, a document has millions"
    told = html.unescape(browser.get(result).text)
    expected = float(slope(np.array(at.lat_deg), np.array(at.lon_deg)))
    assert f"{expected:.1f} m</td>" in told
    assert field(told, "height-0") == ""
    typed = {"height-0": "812,5", "height-1": "790"}
    held = {name: field(browser.get(result).text, name) for name in ("document", "source", "made")}
    made = sent(browser, "/networks/import/ground", **held, author="Ada", act="make", **typed)
    assert made.status_code == 303, made.text
    saved = store.read(int(made.headers["location"].rpartition("/")[2])).document
    assert {site["id"]: site["ground_m"] for site in saved["sites"]} == {
        **{site["id"]: site["ground_m"] for site in json.loads(whole)["sites"]}, "north": 812.5, "south": 790,
    }  # fmt: skip
    assert {key: value for key, value in saved.items() if key != "sites"} == {
        key: value for key, value in example.items() if key != "sites"
    }

    broken = {**example, "frequency_mhz": "x"}
    assert "lack the height" not in imported(broken).text
    assert sent(browser, "/networks/import/ground", document="{}", act="make").status_code == 422
    assert sent(browser, "/networks/import/ground", document="x", act="make").status_code == 422
    assert browser.get("/networks/import/ground", follow_redirects=False).status_code == 303
