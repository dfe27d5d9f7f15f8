"""The road page: a line typed, sent or taken from a log; what is tried; files; refusals keep what was typed."""

import csv
import io
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.units import grouped
from webapp.store.store import Store

LINE = "36.28, -84.30\n36.33, -84.20"
GPX = '<gpx><trk><trkseg><trkpt lat="36.28" lon="-84.30"/><trkpt lat="36.33" lon="-84.20"/></trkseg></trk></gpx>'


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def ended(client: TestClient, started: Any) -> str:
    """Address of the road's page."""
    assert 303 == started.status_code, started.text
    where = str(started.headers["location"])
    for _ in range(3000):  # compiled code may be made first, on a busy machine
        if "/road?job=" in where:
            return where
        state = client.get(where, headers={"Accept": "application/json"}).json()
        where = state["result_url"] or where
        time.sleep(0.1)
    raise AssertionError(state)


def test_a_road_is_shown_in_a_planned_state(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any]
) -> None:
    """Chosen on the page and by its name in addresses; files and scripts say so, and an unknown one is refused."""
    changes = [{"site": "north", "power_db": -6.0}]
    example["planned"] = [{"name": "phase one", "date": "2027-01-01", "changes": changes}]
    number = store.create(example, author="test", reason="test").network_id
    where = ended(client, post(f"/networks/{number}/road/upload", line=LINE, spacing_m="500"))
    assert "<option>phase one</option>" in client.get(where).text
    html = client.get(f"{where}&state=phase+one").text
    assert "planned state phase one" in html
    assert "<option selected>phase one</option>" in html
    assert "state=phase%20one" in html or "state=phase+one" in html
    assert client.get(f"{where}&state=nowhere").status_code == 422

    line = [[36.28, -84.30], [36.33, -84.20]]
    asked = [
        client.post(f"/api/networks/{number}/road", json={"line": line, "state": name}) for name in ("", "phase one")
    ]
    today, then = (
        next(s["level_dbuvm"] for s in one.json()["samples"][0]["signals"] if s["site"] == "north") for one in asked
    )
    assert today - then == pytest.approx(6.0, abs=0.02)


def test_a_typed_line_gives_a_road_and_its_files(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Typed places, a try on them, and every file of it."""
    where = ended(client, post(f"/networks/{number}/road/upload", line=LINE, spacing_m="200"))
    html = client.get(where).text
    assert "the typed line" in html
    assert "with adequate service (by the quick estimate) <strong>" in html

    tried = f"{where}&offset=north:12"
    html = client.get(tried).text
    assert "This is a try, not the plan" in html
    assert "As planned" in html
    assert "What the try makes of the plan" in html or "None: service is adequate" in html
    job = where.split("job=")[1]
    for form, head in (
        ("csv", b"distance_m"),
        ("kml", b"<?xml"),
        ("svg", b"<?xml"),
        ("png", b"\x89PNG"),
        ("geojson", b"{"),
    ):
        answer = client.get(f"/networks/{number}/road/{job}/road.{form}?offset=north:12")
        assert answer.content.startswith(head)
        assert "TRY-" in answer.headers["content-disposition"]
        assert "revision-1" in answer.headers["content-disposition"]
    # A form without a script says the same with other words.
    short = client.get(f"{where}&offset-north=12&clock-north=0", follow_redirects=False)
    assert "offset=north%3A12" in short.headers["location"]


def test_a_log_alone_is_line_and_levels(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Where levels were taken is the road; the difference to the prediction stands above the chart."""
    rows = "".join(f"{36.28 + k * 0.001:.4f},-84.25,{60 + k % 3}\n" for k in range(40))
    files = {"log": ("night.csv", ("lat,lon,level_dbuvm\n" + rows).encode())}
    html = client.get(ended(client, post(f"/networks/{number}/road/upload", files=files))).text
    assert "night.csv" in html
    assert "prediction minus measurement" in html


def test_a_track_is_sent_and_a_moved_site_computes_again(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any], number: int
) -> None:
    """The levels of a road follow a change of heights, and stay where a delay changes."""
    where = ended(client, post(f"/networks/{number}/road/upload", files={"track": ("d.gpx", GPX.encode())}))
    example["sites"][0]["offset_us"] = 3.0
    store.save(number, example, base_revision=1, author="t", reason="offset")
    assert client.get(where, follow_redirects=False).status_code == 200
    example["sites"][0]["antenna_m"] += 20
    store.save(number, example, base_revision=2, author="t", reason="antenna")
    changed = client.get(where, follow_redirects=False)
    assert "have changed since" in changed.text
    assert len(client.app.state.jobs._jobs) == 1  # type: ignore[attr-defined]
    job = where.partition("job=")[2]
    again = ended(client, post(f"/networks/{number}/road/again", job=job))
    assert again != where
    assert "have changed since" not in client.get(again).text


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"line": ""}, "draw or type one"),
        ({"line": "36.2, -84.2"}, "one place only"),
        ({"line": "36.2, -84.2\nKnoxville"}, "place 2"),
        ({"line": LINE, "spacing_m": "fine"}, "is no number"),
        ({"line": LINE, "spacing_m": "1"}, "out of range"),
        ({"line": LINE, "rx_height_m": "0"}, "1 to 3\u202f000 m"),
    ],
)
def test_refusals_keep_what_was_typed(post: Callable[..., Any], number: int, typed: dict[str, str], says: str) -> None:
    """The form comes back as it was sent, with a sentence."""
    answer = post(f"/networks/{number}/road/upload", **typed)
    assert answer.status_code == 422
    assert says in answer.text
    assert typed["line"].split("\n")[-1] in answer.text


def test_unknown_roads_and_tries_speak(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """A job that is gone, a site that is not there."""
    gone = client.get(f"/networks/{number}/road?job=none")
    assert "no longer kept" in gone.text
    where = ended(client, post(f"/networks/{number}/road/upload", line=LINE))
    wrong = client.get(f"{where}&offset=nowhere:1")
    assert wrong.status_code == 422
    assert "there is no site" in wrong.text
    assert client.get(f"/networks/{number}/road/none/road.csv").status_code == 404


def test_scripts_get_the_same(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """The HTTP interface answers like the page's table."""
    body = {"line": [[36.28, -84.30], [36.33, -84.20]], "spacing_m": 200, "offsets_us": {"north": 12}}
    answer = client.post(f"/api/networks/{number}/road", json=body)
    assert answer.status_code == 200, answer.text
    where = ended(client, post(f"/networks/{number}/road/upload", line=LINE, spacing_m="200"))
    job = where.split("job=")[1]
    text = client.get(f"/networks/{number}/road/{job}/road.csv?offset=north:12").text
    rows = list(csv.reader(io.StringIO(text)))
    samples = answer.json()["samples"]
    assert len(rows) == 1 + len(samples)
    at = rows[0].index("TRY_quality_margin_db_revision_1")
    assert float(rows[5][at]) == pytest.approx(samples[4]["quality_margin_db"], abs=1e-3)
    assert client.post(f"/api/networks/{number}/road", json={"line": [[36.28, -84.3]]}).status_code == 422
    wrong = client.post(f"/api/networks/{number}/road", json={**body, "off_air": ["nowhere"]})
    assert "there is no site" in wrong.json()["problems"][0]["what"]


def test_scripts_send_a_log_and_get_files(client: TestClient, number: int) -> None:
    """Levels sent with the line are compared; every form of file comes by the same body, stamped as the page's."""
    log = [{"lat": 36.28 + k * 0.001, "lon": -84.30 + k * 0.002, "level_dbuvm": 60 + k % 3} for k in range(40)]
    body = {"line": [[36.28, -84.30], [36.33, -84.20]], "spacing_m": 200, "log": log}
    answer = client.post(f"/api/networks/{number}/road", json=body).json()
    assert answer["revision"] == 1
    assert answer["measured"]["stretches_n"] > 10
    assert answer["measured"]["prediction_minus_measurement_db"] is not None
    wrong = client.post(f"/api/networks/{number}/road", json={**body, "log": [{**log[0], "site": "nowhere"}]})
    assert wrong.status_code == 422
    assert "'nowhere', which is not known" in wrong.json()["problems"][0]["what"]
    long = client.post(f"/api/networks/{number}/road", json={**body, "log": log[:1] * 50_001})
    assert long.status_code == 422
    assert [(one["where"], one["what"], one["expected"]) for one in long.json()["problems"]] == [
        ("log", f"has {grouped(50_001)} entries", f"{grouped(50_000)} at most")
    ]

    trying = {**body, "offsets_us": {"north": 12}}
    for form, head in (("csv", b"distance_m"), ("kml", b"<?xml"), ("geojson", b"{"), ("png", b"\x89PNG")):
        made = client.post(f"/api/networks/{number}/road.{form}", json=trying)
        assert made.content.startswith(head)
        assert "TRY-" in made.headers["content-disposition"]
    described = client.get("/api/openapi.json").json()
    assert "/api/networks/{network_id}/road.{form}" in described["paths"]
    assert "log" in described["components"]["schemas"]["RoadAsked"]["properties"]


def test_a_chosen_strategy_stays_chosen_and_is_named(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any]
) -> None:
    """From the bare page through the form to the road and its files; what cannot be is refused before a line is sent."""
    ofdm = example | {"service": "dab-mode-1", "frequency_mhz": 222.064}
    number = store.create(ofdm, author="test", reason="test").network_id
    bare = client.get(f"/networks/{number}/road?strategy=strongest").text
    assert "place their window by strongest" in bare
    assert f'action="/networks/{number}/road/upload?strategy=strongest"' in bare

    where = ended(client, post(f"/networks/{number}/road/upload?strategy=strongest", line=LINE, spacing_m="500"))
    assert "strategy=strongest" in where
    html = client.get(where).text
    assert "This is a try, not the plan" in html
    assert "Receivers place their window by strongest" in html
    job = where.split("job=")[1].split("&")[0]
    plan = client.get(f"/networks/{number}/road?job={job}").text
    assert "Receivers place their window by quasi-optimal" in plan
    assert "by “strongest”, the receiver&#39;s risk:" in plan
    assert "With levels drawn and receivers following" in plan
    table = client.get(f"/networks/{number}/road/{job}/road.csv").text
    assert "Receivers place their window by quasi-optimal" in table.splitlines()[0]

    refused = client.get(f"/networks/{number}/road?strategy=foo")
    assert refused.status_code == 422
    assert "quasi-optimal" in refused.text


def test_a_class_has_one_name_on_page_and_files(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """FM: the words of its legend, for whom, and which programme; never those of other services."""
    where = ended(client, post(f"/networks/{number}/road/upload", line=LINE, spacing_m="500"))
    html = client.get(where).text
    job = where.split("job=")[1]
    files = [client.get(f"/networks/{number}/road/{job}/road.{form}").text for form in ("csv", "geojson", "kml")]
    for text in (html, *files):
        assert "distorted by our own transmitters" in text
        assert "Listeners: cars; shares are of time, served from 95" in text
    assert "upset by our own sites" not in "".join((html, files[0], files[2]))
    assert "FM quality of" in html
