"""The measurements page: reconcile, keep as a revision, recordings in a job, echoes; refusals in words."""

import io
import time
from collections.abc import Callable
from html import unescape
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from sfn.survey.measurements import Measurement
from sfn.survey.prediction import planned_differences
from webapp.store.documents import network_of
from webapp.store.store import Store

HEAD = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by\n"
ERRORS_US = {"north": 0.0, "south": 3.2, "gap": -0.7}


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


@pytest.fixture
def rows(example: dict[str, Any]) -> str:
    """Six measurements of the errors above as CSV."""
    network = network_of(example, "")
    bare = [
        Measurement("02:10", f"P{k}", lat, lon, a, b, 0.0, 0.05, "antenna", "ab")
        for k, (lat, lon) in enumerate([(36.30, -84.22), (36.33, -84.21)])
        for a, b in (("south", "north"), ("gap", "north"), ("gap", "south"))
    ]
    planned = planned_differences(network, bare)
    return HEAD + "".join(
        f"02:10,{m.point},{m.lat_deg},{m.lon_deg},{m.site},{m.reference_site},"
        f"{v + ERRORS_US[m.site] - ERRORS_US[m.reference_site]:.4f},0.05,antenna,ab\n"
        for m, v in zip(bare, planned, strict=True)
    )


def test_measurements_are_reconciled(client: TestClient, post: Callable[..., Any], number: int, rows: str) -> None:
    """The page shows launch errors with the correction, the drawing, every residual, and what was typed."""
    answer = post(f"/networks/{number}/measurements", csv=rows, **{"hold-north": "yes"})

    assert 200 == answer.status_code
    assert "+3.200" in answer.text
    assert "<strong>−3.200" in answer.text
    assert 6 == answer.text.count("<circle")
    assert "uncertainty_us,reference_plane,by\n02:10,P0" in answer.text.replace("\r", "")
    assert 'name="hold-north" value="yes" checked' in answer.text


def test_a_file_stands_for_typed_text(post: Callable[..., Any], number: int, rows: str) -> None:
    """An uploaded CSV is read, and its name told."""
    answer = post(f"/networks/{number}/measurements", files={"file": ("night.csv", rows.encode())}, csv="nonsense")

    assert 200 == answer.status_code
    assert "night.csv" in answer.text


def test_kept_errors_become_a_revision(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, rows: str, example: dict[str, Any]
) -> None:
    """South's exciter takes 3.2 us up; nothing else changes; the reason names the source."""
    chosen = {"hold-north": "yes", "stage-south": "south-exciter", "stage-gap": ""}
    answer = post(
        f"/networks/{number}/measurements/keep", csv=rows, source="night.csv", base="1", author="ab", **chosen
    )

    assert 303 == answer.status_code
    saved = store.read(number)
    latency = {s["id"]: s.get("latency_us") for s in saved.document["stages"]}
    before = {s["id"]: s.get("latency_us") for s in example["stages"]}
    assert 1253.2 == pytest.approx(latency["south-exciter"], abs=0.001)
    assert {k: v for k, v in before.items() if k != "south-exciter"} == {
        k: v for k, v in latency.items() if k != "south-exciter"
    }
    assert "reconciled with night.csv: south" == saved.revision.reason
    assert "launch the sites that were corrected as planned" in client.get(f"/networks/{number}/delays").text


def test_a_corrected_site_out_of_range_is_named(
    client: TestClient, post: Callable[..., Any], number: int, rows: str, example: dict[str, Any]
) -> None:
    """The gap filler 60 us late has less than that to take away: its launch is held against common delay and offset."""
    parts = [line.split(",") for line in rows.splitlines()]
    for part in parts[1:]:
        late_us = 60.0 * ((part[4] == "gap") - (part[5] == "gap"))
        part[6] = f"{float(part[6]) + late_us:.4f}"
    late = "\n".join(",".join(part) for part in parts) + "\n"
    chosen = {"hold-north": "yes", "stage-south": "south-exciter", "stage-gap": "gap-repeater"}
    assert 303 == post(f"/networks/{number}/measurements/keep", csv=late, base="1", author="ab", **chosen).status_code

    page = client.get(f"/networks/{number}/delays").text
    found = client.get(f"/api/networks/{number}/delays").json()
    row = next(one for one in found["sites"] if one["launch_us"] > 122_690)
    offset_us = next(one["offset_us"] for one in example["sites"] if one["id"] == "gap")
    late_us = row["launch_us"] - found["common_delay_us"] - offset_us
    assert late_us > 40
    assert "launch the sites that were corrected as planned" not in page
    assert f"their fields cannot: gap launches {late_us:.2f} us too late." in page


def test_half_a_group_without_a_held_site_is_not_as_planned(
    client: TestClient, post: Callable[..., Any], number: int, rows: str
) -> None:
    """South alone, nothing held: the notice names what it waits for instead of promising."""
    post(f"/networks/{number}/measurements/keep", csv=rows, base="1", author="ab", **{"stage-south": "south-exciter"})
    page = client.get(f"/networks/{number}/delays").text

    assert "do not yet launch all corrected sites as planned: south waits for north, gap" in page
    assert "launch the sites that were corrected as planned" not in page


def test_a_correction_counts_once_through_the_page(
    post: Callable[..., Any], store: Store, number: int, rows: str
) -> None:
    """The same log again, with its note edited away, and with one more line: the exciter stays at what was measured."""
    chosen = {"hold-north": "yes", "stage-south": "south-exciter", "author": "ab"}
    keep = f"/networks/{number}/measurements/keep"
    assert 303 == post(keep, csv=rows, base="1", **chosen).status_code
    document = dict(store.read(number).document)
    for stage in document["stages"]:
        stage.pop("note", None)
    store.save(number, document, base_revision=2, author="ab", reason="notes tidied up")

    again = post(keep, csv=rows, base="3", **chosen)
    assert 422 == again.status_code
    assert "took these measurements up already" in again.text
    line = rows.splitlines()[1]
    no_time = post(keep, csv=rows + line.replace("02:10,P0", "02:20,P7") + "\n", base="3", **chosen)
    assert 422 == no_time.status_code
    assert "whether it is older than the correction of" in no_time.text
    older = post(keep, csv=rows + line.replace("02:10,P0", "2026-09-01 02:20+00:00,P7") + "\n", base="3", **chosen)
    assert 303 == older.status_code
    latency = {s["id"]: s.get("latency_us") for s in store.read(number).document["stages"]}
    assert 1253.2 == pytest.approx(latency["south-exciter"], abs=0.001)


def test_the_same_lines_spelled_otherwise_move_nothing(post: Callable[..., Any], store: Store, number: int) -> None:
    """None held, one site chosen: half of 3 us, and no half of what is left with every respelling."""
    base = HEAD + "".join(
        f"2026-10-0{k} 02:10Z,p{k},36.3{k},-84.2,south,north,{{}},0.05,antenna,ab\n" for k in range(1, 5)
    )
    bare = [
        Measurement("", "", float(f"36.3{k}"), -84.2, "south", "north", 0.0, 0.05, "antenna", "") for k in range(1, 5)
    ]
    planned = planned_differences(network_of(dict(store.read(number).document), ""), bare)
    table = base.format(*(f"{value + 3.0:.4f}" for value in planned))
    one_later = "".join(
        line.replace("02:10Z", "02:10:01Z") if k == 2 else line
        for k, line in enumerate(table.splitlines(keepends=True))
    )
    spelled = (table, table.replace(",p", ",q").replace(",ab", ",cd"), table.replace("Z,", "+00:00,"), one_later)
    chosen = {"stage-south": "south-exciter", "author": "ab"}
    for text in spelled:
        post(f"/networks/{number}/measurements/keep", csv=text, base=str(store.read(number).revision.number), **chosen)
        latency = {s["id"]: s.get("latency_us") for s in store.read(number).document["stages"]}
        assert 1251.5 == pytest.approx(latency["south-exciter"], abs=0.001)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"author": ""}, "a save needs a name"),
        ({"stage-south": ""}, "no site was chosen to be corrected"),
        ({"stage-south": "studio-converter"}, "cannot correct &#39;studio-converter&#39;"),
    ],
)
def test_what_cannot_be_kept_is_said(
    post: Callable[..., Any], store: Store, number: int, rows: str, changed: dict[str, str], words: str
) -> None:
    """Nothing is saved, and what was typed is still there."""
    given = {"author": "ab", "hold-north": "yes", "stage-south": "south-exciter"} | changed
    answer = post(f"/networks/{number}/measurements/keep", csv=rows, base="1", **given)

    assert 422 == answer.status_code
    assert words in answer.text
    assert "02:10,P0" in answer.text
    assert 1 == store.read(number).revision.number


def test_a_bad_line_is_named_and_kept(post: Callable[..., Any], number: int) -> None:
    """Line and column, and the text as it was typed."""
    answer = post(f"/networks/{number}/measurements", csv=HEAD + "t,P1,x,-84,south,north,3,0.1,antenna,ab\n")

    assert 422 == answer.status_code
    assert "typed line 2 column lat" in answer.text
    assert "t,P1,x,-84" in answer.text
    binary = post(f"/networks/{number}/measurements", files={"file": ("../a/b.csv", b"\xff\xfe\x00")})
    assert 422 == binary.status_code
    assert "b.csv</span> begins as UTF-16 and breaks off" in binary.text


def wav(delay_samples: int) -> bytes:
    """A second of noise at 48 kHz, channel 2 later."""
    noise = 0.05 * np.random.default_rng(1).standard_normal(50_000)
    file = io.BytesIO()
    soundfile.write(
        file, np.column_stack((noise[1000:49_000], noise[1000 - delay_samples :][:48_000])), 48_000, format="WAV"
    )
    return file.getvalue()


def finished(client: TestClient, address: str) -> dict[str, Any]:
    """The job's last state."""
    for _ in range(200):
        state = client.get(address, headers={"Accept": "application/json"}).json()
        if state["state"] not in ("waiting", "running"):
            return dict(state)
        time.sleep(0.1)
    raise AssertionError("the job does not end")


def test_recordings_are_measured_in_a_job(
    client: TestClient, post: Callable[..., Any], number: int, settings: Any
) -> None:
    """The delay comes out on a page of its own, and the recording is gone from the disk."""
    files = {"first": ("night.wav", wav(24)), "second": ("", b"")}
    started = post(f"/networks/{number}/measurements/recordings/upload", files=files, search_us="5000")

    assert 303 == started.status_code
    state = finished(client, started.headers["location"])
    assert ("finished", []) == (state["state"], state["problems"])
    page = client.get(state["result_url"]).text
    assert "500.00" in page
    assert "later" in page
    assert "night.wav channel 1" in page
    assert [] == list((settings.data_folder / "recordings").iterdir())


@pytest.mark.parametrize(
    ("content", "fields", "words"),
    [
        (b"no samples", {}, "is no recording that can be read"),
        (wav(0), {"off_air_channel": "3"}, "has no channel 3"),
    ],
)
def test_recordings_that_cannot_be_used_say_so(
    client: TestClient, post: Callable[..., Any], number: int, content: bytes, fields: dict[str, str], words: str
) -> None:
    """The job fails in words."""
    started = post(
        f"/networks/{number}/measurements/recordings/upload", files={"first": ("night.wav", content)}, **fields
    )
    state = finished(client, started.headers["location"])

    assert "failed" == state["state"]
    assert words in state["problems"][0]["what"]


def test_no_recording_and_bad_numbers_are_refused(post: Callable[..., Any], number: int, settings: Any) -> None:
    """Before a job is started; nothing stays on disk."""
    address = f"/networks/{number}/measurements/recordings/upload"
    none = post(address, files={"first": ("", b"")})
    bad = post(address, files={"first": ("a.wav", wav(0))}, search_us="wide")

    assert (422, 422) == (none.status_code, bad.status_code)
    assert "no recording was chosen" in none.text
    assert "&#39;wide&#39; is no number" in bad.text
    assert [] == list((settings.data_folder / "recordings").iterdir())


def test_echoes_are_given_to_sites(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Echoes of the plan's own arrivals: all three sites, and rows to reconcile."""
    lines = []
    from sfn.study.point import point_signals

    signals = point_signals(network_of(client.app.state.store.read(number).document, ""), lat_deg=36.30, lon_deg=-84.22)  # type: ignore[attr-defined]
    lines = [f"{s.arrival_us - 122_000.0:.3f},{s.level_dbuvm - 60.0:.1f}\n" for s in signals.signals]
    answer = post(
        f"/networks/{number}/measurements/echoes", response="delay_us,level_db\n" + "".join(lines), at="36.30 -84.22"
    )

    assert 200 == answer.status_code
    assert "Rows to reconcile" in answer.text
    assert ",echoes,36.300000,-84.220000," in answer.text
    assert ",0.7071,antenna," in answer.text
    rows = unescape(answer.text.split('id="echo-rows"')[1].split(">", 1)[1].split("</textarea>")[0])
    looked = post(f"/networks/{number}/measurements", csv=rows, source="impulse response", do="look")
    assert "impulse response, as it was understood" in looked.text
    assert "<strong>2</strong> of 2 lines can be used" in looked.text
    refused = post(f"/networks/{number}/measurements/echoes", response="delay_us,level_db\n1,2\n", at="nowhere")
    assert 422 == refused.status_code
    assert "nowhere" in refused.text


def test_a_table_is_looked_at_line_by_line(
    client: TestClient, post: Callable[..., Any], number: int, rows: str
) -> None:
    """Columns, every line and its sites; one that is no good is refused first, then left out and said so."""
    at = f"/networks/{number}/measurements"
    text = (
        rows.replace("delay_difference_us", "difference (us)").replace("by\n", "by,colour\n").replace("ab\n", "ab,\n")
    )
    looked = post(at, csv=text, do="look")
    assert 200 == looked.status_code
    assert "<strong>6</strong> of 6 lines can be used" in looked.text
    assert "delay_difference_us, in us" in looked.text
    assert "nothing: it is left out" in looked.text
    assert "South ridge later than North ridge by" in looked.text
    assert "Launch errors</h2>" not in looked.text
    assert "Reconcile these</button>" in looked.text

    bad = rows + 'late,P9,36.3,-84.2,west,north,"1,234",0.1,antenna,ab\n'
    for do in ("look", ""):
        refused = post(at, csv=bad, do=do)
        assert (200 if do else 422) == refused.status_code
        assert "can be 1.234 or 1234" in refused.text
        assert "Reconcile 6, leaving out 1</button>" in refused.text
        assert "Launch errors</h2>" not in refused.text
    kept = post(at, csv=bad, leave_out="yes", **{"hold-north": "yes"})
    assert 200 == kept.status_code
    assert "1 line of the table not used" in kept.text
    assert "+3.200" in kept.text
    filled = client.get(f"{at}-template.csv")
    assert filled.text.splitlines()[1] == ",,,,south,north,,,antenna,"
    assert "lacks" not in post(at, csv=filled.text, do="look").text


def test_residuals_go_out_as_places(post: Callable[..., Any], number: int, rows: str) -> None:
    """Longitude first, with the keys of the command's residuals, in both forms, named by the revision."""
    at = f"/networks/{number}/measurements/residuals"
    answer = post(f"{at}.geojson", csv=rows, **{"hold-north": "yes"})
    features = answer.json()["features"]
    assert 6 == len(features)
    assert [-84.22, 36.30] == features[0]["geometry"]["coordinates"]
    assert {"delay_difference_us", "residual_us", "verdict", "point", "label"} <= set(features[0]["properties"])
    for told in (feature["properties"] for feature in features):
        assert told["left_over_us"] == -told["residual_us"]
    assert "revision-1-residuals.geojson" in answer.headers["content-disposition"]
    drawn = post(f"{at}.kml", csv=rows)
    assert 6 == drawn.text.count("<Placemark>")
    assert 422 == post(f"{at}.kml", csv="nonsense").status_code
