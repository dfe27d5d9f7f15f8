"""The page New transmitter: a search in a job over masts or high ground, a place taken up as a draft, nothing saved."""

import html
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.country.sets import tile_named
from sfn.plan import read
from sfn.study.placing_saved import with_new_site
from tests.sfn.country.small_tiles import places_line, write_places
from tests.webapp.test_offsets import wait_for
from webapp.config.settings import Settings
from webapp.store.store import Store
from webapp.work.countries import shelf_of

BOX = [[a, (0.0 if abs((a + 180) % 360 - 180) <= 60 else 14.0)] for a in range(0, 360, 30)]
MASTS = (
    "name,position,ground_m,antenna_m,erp_kw,feed_us\n"
    'Quarry,"36.29000, -84.33000",700,30,2,90000\nTower,"36.33000, -84.12000",500,30,0.5,\n'
)
ASKED = {
    "how": "masts", "masts": MASTS, "worlds": "20", "seed": "1", "azimuth_step_deg": "90", "pattern-south": "yes",
    "most": "10", "apart_km": "2", "most_us": "20",
}  # fmt: skip


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store, one site with a pattern, and a town."""
    example["sites"][1]["antenna"] = {"horizontal": BOX}
    example["listeners"] = {"places": [{"name": "Town", "lat": 36.29, "lon": -84.30, "people": 9000}]}
    return store.create(example, author="test", reason="test").network_id


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large pixels, so that levels take a moment."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda bounds: 1500.0)


def searched(client: TestClient, post: Callable[..., Any], number: int, **asked: Any) -> tuple[str, dict[str, Any]]:
    """The address of what a search found, and the answer."""
    started = post(f"/networks/{number}/placing/find", **{**ASKED, **asked})
    assert started.status_code == 303, started.text
    ended = wait_for(client, started.headers["location"])
    assert ended["state"] == "finished", ended
    return ended["result_url"], client.get(f"/api/pages{ended['result_url']}").json()["answer"]


@pytest.mark.usefixtures("coarse")
def test_places_are_ranked_and_one_is_taken_up_as_a_draft(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """Search, look, take up: a draft with a new site like its neighbour, not on air, and no new revision."""
    address, answer = searched(client, post, number)
    html = client.get(address).text

    assert [one["rank"] for one in answer["masts"]] == [1, 2]
    first = answer["masts"][0]
    assert first["gain"] >= answer["masts"][1]["gain"]
    assert first["directions_compared"] == 5
    assert answer["worlds"] == 20
    for said in ("Before a transmitter is asked for.", "needs a licence of its own", "How sure", "feed not known"):
        assert said in html
    assert "2 places of masts" in html

    found = address.partition("found=")[2]
    taken = post(f"/networks/{number}/placing/draft", found=found, mast="1")
    assert taken.status_code == 303
    assert "/edit/" in taken.headers["location"]
    draft = client.get(taken.headers["location"])
    assert first["name"] in draft.text
    assert "A draft, nothing is saved" in draft.text
    assert store.read(number).revision.number == 1


@pytest.mark.usefixtures("coarse")
def test_what_was_found_or_stopped_is_known_to_the_next_process(
    client: TestClient, client_with: Callable[..., TestClient], number: int, post: Callable[..., Any]
) -> None:
    """The same answer at the same address, to be taken up; a search that was stopped is started again as typed."""
    address, answer = searched(client, post, number)
    started = post(f"/networks/{number}/placing/find", **{**ASKED, "worlds": "2000"})
    second = started.headers["location"].partition("found=")[2]
    jobs = client.app.state.jobs  # type: ignore[attr-defined]
    assert jobs.cancel_all() == 1
    assert jobs.find(second).ended.wait(60)
    later = client_with()
    kept = later.get(f"/api/pages{address}").json()
    assert json.dumps(kept["answer"], sort_keys=True) == json.dumps(answer, sort_keys=True)
    assert kept["typed"]["masts"] == MASTS.strip()
    taken = post(f"/networks/{number}/placing/draft", by=later, found=address.partition("found=")[2], mast="1")
    assert taken.status_code == 303
    stopped = later.get(f"/jobs/{second}", headers={"Accept": "application/json"}).json()
    assert [one["code"] for one in stopped["problems"]] == ["job-stopped"]
    again = post(f"/jobs/{second}/again", by=later)
    assert again.status_code == 303
    job = later.app.state.jobs.find(again.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
    assert (job.id != second, job.asked["typed"]["worlds"]) == (True, "2000")
    job.progress.cancel()
    assert job.ended.wait(60)


@pytest.mark.usefixtures("coarse")
def test_a_place_of_an_earlier_revision_is_not_taken_up(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """Nor one that nobody remembers."""
    address, _ = searched(client, post, number, worlds="0")
    document = store.read(number).document | {"notes": "changed meanwhile"}
    store.save(number, document, base_revision=1, author="somebody", reason="else")
    found = address.partition("found=")[2]

    assert "earlier revision" in client.get(address).text
    assert post(f"/networks/{number}/placing/draft", found=found, mast="1").status_code == 409
    assert post(f"/networks/{number}/placing/draft", found="nothing", mast="1").status_code == 422
    assert "no longer remembered" in client.get(f"/networks/{number}/placing?found=nothing").text


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"masts": ""}, "no mast is typed"),
        ({"masts": 'name,position\nA,"36.3, -84.3"\n'}, "A has no height of its antenna"),
        ({"worlds": "3"}, "3 worlds say little"),
        ({"azimuth_step_deg": "north"}, "1 to 180 degrees"),
        ({"how": "high-ground", "most": "0"}, "a whole number, 1 to 50"),
    ],
)
@pytest.mark.usefixtures("coarse")
def test_what_cannot_be_searched_is_told_and_nothing_typed_is_lost(
    number: int, post: Callable[..., Any], wrong: dict[str, str], said: str
) -> None:
    """At once, before any work, with everything still in the form."""
    refused = post(f"/networks/{number}/placing/find", **{**ASKED, "most_us": "17.5", **wrong})

    assert refused.status_code == 422
    assert said in refused.text
    assert 'value="17.5"' in refused.text


@pytest.mark.usefixtures("coarse")
def test_what_only_the_search_can_tell_stands_beside_what_was_typed(
    client: TestClient, number: int, post: Callable[..., Any]
) -> None:
    """A search that fails, for a place far off the map, leaves the form as it was sent; one of plans does too."""
    asked = {"how": "high-ground", "near": "40.0, -80.0", "antenna_m": "31.5", "erp_kw": "0.1", "within_km": "7"}
    started = post(f"/networks/{number}/placing/find", **{**ASKED, **asked})
    ended = wait_for(client, started.headers["location"])
    shown = client.get(started.headers["location"]).text

    assert ended["state"] == "failed"
    for value in ("40.0, -80.0", "31.5", "7"):
        assert f'value="{value}"' in shown


@pytest.mark.usefixtures("coarse")
def test_a_file_of_masts_is_read_into_the_form(number: int, post: Callable[..., Any]) -> None:
    """A workbook as a spreadsheet makes it; what is wrong in it stands there to be mended."""
    import io

    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        for column, (head, cell) in enumerate({"name": "Water tower", "position": "36.3, -84.2", "erp": "2"}.items()):
            sheet.write(0, column, head)
            sheet.write(1, column, cell)
    files = {"file": ("masts.xlsx", out.getvalue())}
    sent = post(f"/networks/{number}/placing/find", files=files, how="high-ground", worlds="0")

    assert sent.status_code == 422
    assert "Water tower" in sent.text
    assert "no height of its antenna" in sent.text


def test_high_ground_of_the_ridge_country(
    client: TestClient, store: Store, post: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Near a town by its name, on its terrain; how it was found stands on the page."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda bounds: 800.0)
    demo = json.loads((Path("demo_sites") / "fm_ridge.json").read_text(encoding="utf-8"))
    number = store.create(demo, author="test", reason="test").network_id
    asked = {"how": "high-ground", "masts": "", "near": "Jacksboro", "within_km": "8", "apart_km": "1,5", "most": "2"}
    address, answer = searched(client, post, number, **asked, antenna_m="30", erp_kw="0.1", worlds="0")

    assert len(answer["masts"]) == 2
    assert any("do not see Jacksboro over the bare ground" in one for one in answer["how_found"])
    assert "High ground 1" in client.get(address).text


def test_high_ground_sees_a_place_that_was_fetched(
    client: TestClient, settings: Settings, store: Store, post: Callable[..., Any], monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:  # fmt: skip
    """A name of the fetched list, where people of the document are counted; two of one name are told apart."""
    monkeypatch.setattr("webapp.work.maps.usual_pixel_m", lambda bounds: 800.0)
    tile, shelf = tile_named("names", "cities500.zip"), shelf_of(settings.data_folder)
    assert tile is not None
    lines = [places_line("Óld Mill", 36.3, -84.2, 900), places_line("Twin", 36.3, -84.3, 40)]
    part = shelf.part(tile)
    part.parent.mkdir(parents=True)
    shutil.copyfile(write_places(tmp_path, [*lines, places_line("Twin", 36.2, -84.2, 30)]), part)
    shelf.keep(tile, part, source="the tests")
    demo = json.loads((Path("demo_sites") / "fm_ridge.json").read_text(encoding="utf-8"))
    number = store.create(demo, author="test", reason="test").network_id
    asked = {**ASKED, "how": "high-ground", "masts": "", "antenna_m": "30", "erp_kw": "0.1", "worlds": "0",
             "within_km": "8", "most": "1"}  # fmt: skip
    shown = html.unescape(client.get(f"/networks/{number}/placing").text)
    assert '<option value="Óld Mill">' in shown

    for near, says in (
        ("Twin", "Twin at 36.3000 -84.3000 (GeoNames, CC BY 4.0, fetched), Twin at 36.2000 -84.2000"),
        ("Nowhere at all", "'Nowhere at all' is no place here"),
    ):
        refused = post(f"/networks/{number}/placing/find", **asked, near=near)
        assert refused.status_code == 422
        assert says in html.unescape(refused.text)
        assert f'value="{near}"' in refused.text
    address, answer = searched(client, post, number, **asked, near="old mill")
    assert any("see Óld Mill" in one for one in answer["how_found"])
    assert 'name="near" value="old mill"' in client.get(address).text


@pytest.mark.usefixtures("coarse")
def test_the_draft_filled_in_is_a_network(
    client: TestClient, number: int, store: Store, post: Callable[..., Any]
) -> None:
    """What the draft asks for, its own stages' figures and what is set, makes it a document that is read."""
    _, answer = searched(client, post, number, worlds="0")
    before = store.read(number).document
    kept = json.dumps(before)
    for mast in answer["masts"]:
        made, index = with_new_site(before, mast)
        for stage in made["stages"][len(before["stages"]) :]:
            if stage["kind"] == "feeder":
                stage["length_m"] = 30
            elif not any(key in stage for key in ("latency_us", "length_m", "path_km", "release_delay_us")):
                stage["latency_us"] = 1000
            stage.setdefault("tolerance_us", 1)
            stage.setdefault("tolerance_kind", "unit")
        network = read(json.dumps(made))
        new = network.sites[index]

        assert new.name == mast["name"]
        assert not new.on_air
        assert new.offset_us == mast["offset_us"]
        assert (new.antenna is None) == (mast["pattern"] == "-")
        assert [field.name for field in new.delay_fields] == [
            field["name"] for site in before["sites"] if site["id"] == mast["like"] for field in site["delay_fields"]
        ]
    assert json.dumps(before) == kept
