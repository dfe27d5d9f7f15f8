"""The drive-test page: logs beside the prediction, runs side by side, in a job; refusals in words."""

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from sfn.survey.prediction import planned_levels
from webapp.store.documents import network_of
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def result(client: TestClient, started: Any) -> str:
    """The page at the end of a job."""
    assert 303 == started.status_code, started.text
    for _ in range(600):
        state = client.get(started.headers["location"], headers={"Accept": "application/json"}).json()
        if state["state"] not in ("waiting", "running"):
            break
        time.sleep(0.2)
    assert "finished" == state["state"], state
    return client.get(state["result_url"]).text


def low_log(example: dict[str, Any]) -> dict[str, tuple[str, bytes]]:
    """A log of a ring about north, 6 dB below its prediction, as a form's file."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    lat, lon = 36.37 + 0.03 * np.cos(angle), -84.25 + 0.037 * np.sin(angle)
    level, _ = planned_levels(network_of(example, ""), lat, lon)
    noise = np.random.default_rng(1).normal(size=60)
    lines = [f"{a:.6f},{o:.6f},{v - 6 + n:.2f}\n" for a, o, v, n in zip(lat, lon, level[0], noise, strict=True)]
    return {"logs": ("night.csv", ("lat,lon,level_dbuvm\n" + "".join(lines)).encode())}


def test_levels_are_compared(
    client: TestClient, post: Callable[..., Any], number: int, example: dict[str, Any]
) -> None:
    """A log 6 dB below the prediction of north asks for a shift of -6 dB."""
    files = low_log(example)
    html = result(client, post(f"/networks/{number}/drives/levels/upload", files=files, alone="north", sectors="4"))

    assert "60 samples on" in html
    assert "all round" in html
    assert "<strong>−6" in html or "<strong>−5.9" in html


def test_a_receivers_log_is_asked_and_then_read(
    client: TestClient, post: Callable[..., Any], number: int, example: dict[str, Any]
) -> None:
    """In dBm, at 2 dBi and 1 dB of cable: the antenna is asked; then the same shift, with the lines left out by number."""
    name, content = low_log(example)["logs"]
    gain_dbi, loss_db, mhz = 2.0, 1.0, float(example["frequency_mhz"])
    # E = P + 77.2 + 20 lg f - G + loss (common practice; P.525 in MHz and dBm)
    down_db = 77.22 + 20 * np.log10(mhz) - gain_dbi + loss_db
    rows = [line.split(",") for line in content.decode().splitlines()[1:]]
    lines = [f"{a};{o};{float(v) - down_db:.2f}".replace(".", ",") for a, o, v in rows]
    lines[7] = "no fix;;"
    text = "Receiver 7\nLatitude;Longitude;RSSI [dBm]\n" + "\n".join(lines)
    files = {"logs": (name, text.encode())}
    address = f"/networks/{number}/drives/levels/upload"

    asked = post(address, files=files, alone="north")
    assert 422 == asked.status_code
    assert "antenna factor" in asked.text
    fields = {"alone": "north", "sectors": "4", "antenna_gain_dbi": "2", "cable_loss_db": "1"}
    html = result(client, post(address, files=files, **fields))
    assert "<strong>−6" in html or "<strong>−5.9" in html
    assert "59 of 60 lines used" in html
    assert "10: has no level" in html
    started = post(f"/api{address}", files=files, **fields)
    assert 202 == started.status_code
    for _ in range(300):
        answer = client.get(started.json()["answer"])
        if answer.status_code != 202:
            break
        time.sleep(0.1)
    assert 59 == answer.json()["samples_n"]
    assert [10] == [one["line"] for one in answer.json()["logs"][0]["skipped"]]


def run_csv(good: bool) -> bytes:
    """A road of 3 km northwards with good marks in its first or its second half."""
    lat = 36.28 + np.arange(0, 3000, 20) / 111_320
    marks = [5 if (k < 75) == good else 2 for k in range(150)]
    rows = [
        f"{a:.6f},-84.21,{m},{'bridge' if k == 40 else ''}\n" for k, (a, m) in enumerate(zip(lat, marks, strict=True))
    ]
    return ("lat,lon,mark,remark\n" + "".join(rows)).encode()


def test_runs_are_laid_side_by_side(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """-2 us is best on the first half, +2 us on the second; remarks and the planned difference are there."""
    files = {"run-1": ("a.csv", run_csv(True)), "run-4": ("b.csv", run_csv(False))}
    fields = {"setting-1": "-2", "setting-4": "2"}
    html = result(client, post(f"/networks/{number}/drives/runs/upload", files=files, **fields))

    assert html.index("−2.0") < html.index("+2.0")
    assert 2 == html.count('class="best"')
    assert "bridge" in html
    assert "<polyline" in html
    assert "50 % of what was decided" in html.replace("\u202f", " ")
    assert "As planned," in html
    told = result(client, post(f"/networks/{number}/drives/runs/upload", files=files, moved="north", **fields))
    assert "with North ridge set that much later than planned" in told
    assert 2 == told.count('data-label="Predicted to be served"')


@pytest.mark.parametrize(
    ("address", "files", "fields", "words"),
    [
        ("levels", {"logs": ("a.csv", b"lat,lon\n1,2\n")}, {}, "names no column of levels among lat, lon"),
        ("levels", {"logs": ("", b"")}, {}, "no log was chosen"),
        ("levels", {"logs": ("a.csv", b"lat,lon,level_dbuvm\n36,-84,60\n")}, {"sectors": "99"}, "99 is out of range"),
        ("runs", {"run-1": ("a.csv", run_csv(True))}, {"setting-1": "2"}, "1 runs were chosen"),
        ("runs", {"run-1": ("a.csv", run_csv(True))}, {}, "a.csv has no setting"),
        ("runs", {"run-1": ("a.csv", run_csv(True))}, {"setting-1": "1,500"}, "can be 1.500 or 1500"),
        ("runs", {"run-1": ("a.csv", run_csv(True))}, {"setting-1": "2", "moved": "far"}, "there is no site"),
    ],
)
def test_what_cannot_be_used_is_said(
    post: Callable[..., Any], number: int, address: str, files: Any, fields: dict[str, str], words: str
) -> None:
    """On the page itself, before a job is started."""
    answer = post(f"/networks/{number}/drives/{address}/upload", files=files, **fields)

    assert 422 == answer.status_code
    assert words in answer.text
    assert all(f'value="{value}"' in answer.text for name, value in fields.items() if name != "moved")


def test_shifts_are_accepted_said_and_withdrawn(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, example: dict[str, Any]
) -> None:
    """What a comparison offers is accepted by name, every page says so, and it is taken back."""
    files = low_log(example)
    html = result(client, post(f"/networks/{number}/drives/levels/upload", files=files, alone="north", sectors="4"))
    job = html.split('name="job" value="')[1].split('"')[0]
    assert 'name="accept-north"' in html

    form = {"base": "1", "job": job, "accept-north": "yes"}
    nobody = post(f"/networks/{number}/drives/shifts", **form)
    assert nobody.status_code == 422
    assert "a save needs a name" in nobody.text
    assert post(f"/networks/{number}/drives/shifts", base="1", job=job, author="Ann").status_code == 422

    assert post(f"/networks/{number}/drives/shifts", **form, author="Ann", reason="night drive").status_code == 303
    saved = store.read(number).document["sites"][0]["level_shift"]
    assert saved["source"] == "night drive, Ann"
    assert all(-8 < shift < -4 for shift in saved["sectors_db"])
    for page in ("/map", "/point", "/road", "/offsets", "/drives"):
        assert "Levels are corrected by drive tests: " in client.get(f"/networks/{number}{page}").text
    now = client.get(f"/api/networks/{number}/point?lat=36.37&lon=-84.25").json()
    assert "corrected by drive tests" in now["level_shifts"]

    gone = post(f"/networks/{number}/drives/shifts", **{"base": "2", "withdraw-north": "yes", "author": "Ann"})
    assert gone.status_code == 303
    assert "level_shift" not in store.read(number).document["sites"][0]
    assert "withdrawn: north" in store.history(number)[0].reason
    assert "corrected by drive tests" not in client.get(f"/networks/{number}/point").text
