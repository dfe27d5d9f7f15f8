"""A recording of I and Q on the page and under /api: one answer, and rows of several sites that can be taken up."""

import json
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from sfn.cli import main
from sfn.study.point import point_signals
from tests.sfn.networks import EXAMPLE_PATH, example as example_network
from tests.sfn.survey.arrivals import made_at_rf as made
from webapp.store.store import Store

AT, LATE_US = (36.28, -84.15), 3.0


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """A stored network."""
    return store.create(example, author="Ann", reason="test").network_id


@pytest.fixture
def sent(tmp_path: Path) -> dict[str, Path]:
    """What a receiver between the sites records when south launches 3 us late, and the composite."""
    signals = point_signals(example_network(), lat_deg=AT[0], lon_deg=AT[1]).signals
    first_us = min(s.arrival_us for s in signals)
    arrivals = [
        (s.arrival_us - first_us + (LATE_US if s.site == "south" else 0.0), s.level_difference_db, 1.0 + k)
        for k, s in enumerate(signals)
    ]
    reference, z = made.recorded(arrivals, seed=8, snr_db=45.0)
    z *= 0.9 / np.max(np.abs(np.concatenate((z.real, z.imag))))
    soundfile.write(tmp_path / "composite.wav", reference, made.REFERENCE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "overlap.wav", np.column_stack((z.real, z.imag)), made.RATE_HZ, subtype="PCM_24")
    np.column_stack((z.real, z.imag)).astype("<f4").tofile(tmp_path / "overlap.sigmf-data")
    meta = {"global": {"core:datatype": "cf32_le", "core:sample_rate": made.RATE_HZ, "core:version": "1.2.0"}}
    (tmp_path / "overlap.sigmf-meta").write_text(json.dumps(meta), encoding="utf-8")
    return {path.name: path for path in tmp_path.iterdir()}


FIELDS = {
    "deviation_khz": str(made.DEVIATION_HZ / 0.7e3), "search_us": "2000", "at": f"{AT[0]}, {AT[1]}",
    "when": "2026-11-20T09:00:00Z", "recorded_by": "Ann, of field two",
}  # fmt: skip


def ended(client: TestClient, address: str) -> dict[str, Any]:
    """The job at its end."""
    for _ in range(300):
        state = client.get(address, headers={"Accept": "application/json"}).json()
        if state["state"] not in ("waiting", "running"):
            return dict(state)
        time.sleep(0.1)
    raise AssertionError("the job does not end")


def files_of(sent: dict[str, Path], *names: str) -> list[tuple[str, tuple[str, bytes]]]:
    """The parts of a form."""
    return [
        *(("recording", (name, sent[name].read_bytes())) for name in names),
        ("reference", ("composite.wav", sent["composite.wav"].read_bytes())),
    ]


def test_page_command_and_interface_say_the_same(
    client: TestClient, post: Callable[..., Any], number: int, sent: dict[str, Path], settings: Any,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Both files of SigMF, in either order: one document everywhere; its rows give south's launch error."""
    files = files_of(sent, "overlap.sigmf-data", "overlap.sigmf-meta")
    started = post(f"/api/networks/{number}/arrivals/upload", files=files, **FIELDS)
    assert 202 == started.status_code
    state = ended(client, started.json()["url"])
    assert ("finished", []) == (state["state"], state["problems"])
    api = client.get(started.json()["answer"]).json()
    page = client.get(state["result_url"]).text
    assert "I and Q before the demodulator" in page
    assert all(row.replace('"', "&#34;") in page for row in api["measurements"])
    options = ["--deviation-khz", FIELDS["deviation_khz"], "--search-us", "2000"]
    where = ["--network", str(EXAMPLE_PATH), "--at", f"{AT[0]},{AT[1]}"]
    about = ["--when", FIELDS["when"], "--by", FIELDS["recorded_by"]]
    paths = [str(sent["overlap.sigmf-meta"]), str(sent["composite.wav"])]
    assert 0 == main(["arrivals", *paths, *options, *where, *about, "--json"])
    assert json.loads(capsys.readouterr().out) == api
    assert [] == list((settings.data_folder / "recordings").iterdir())

    csv = "\n".join([api["measurements_head"], *api["measurements"]])
    answer = post(f"/networks/{number}/measurements", csv=csv, **{"hold-north": "yes"}).text
    errors = answer.partition("Launch errors</h2>")[2]
    late = re.search(r"South.*?data-label=\"Launch error\"[^>]*>\+([0-9.]+)", errors, re.S)
    assert late is not None
    assert LATE_US == pytest.approx(float(late[1]), abs=0.3)


def test_what_cannot_be_used_is_said(
    client: TestClient, post: Callable[..., Any], number: int, sent: dict[str, Path], settings: Any
) -> None:
    """Nothing chosen, no deviation, half of a SigMF recording, a composite sent for I and Q."""
    address = f"/networks/{number}/measurements/arrivals/upload"
    assert "no file was chosen" in post(address).text
    bare = {name: value for name, value in FIELDS.items() if name != "deviation_khz"}
    assert "is not given" in post(address, files=files_of(sent, "overlap.wav"), **bare).text
    three = post(address, files=files_of(sent, "overlap.wav", "overlap.sigmf-meta"), **FIELDS)
    assert 303 == three.status_code  # its other half is missing
    assert "there is no such file" in str(ended(client, three.headers["location"])["problems"])
    mono = post(address, files=files_of(sent, "composite.wav"), **FIELDS)
    said = ended(client, mono.headers["location"])["problems"]
    assert "has 1 channel: I and Q are two" in said[0]["what"]
    job = mono.headers["location"].rpartition("/")[2]
    assert 422 == client.get(f"/api/networks/{number}/arrivals/{job}").status_code
    assert 404 == client.get(f"/api/networks/{number}/arrivals/nothing").status_code
    assert [] == list((settings.data_folder / "recordings").iterdir())


def test_what_the_arrivals_do_not_explain_goes_with_every_measurement_made_of_it(
    client: TestClient, post: Callable[..., Any], number: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """North and south as strong, nearly cancelling at 60 dB: the fit is twenty times worse than noise. Command, JSON,
    rows, what is adjusted of them, and what is kept say so.
    """
    heard = point_signals(example_network(), lat_deg=36.3, lon_deg=-84.15).signals
    signals = [one for one in heard if one.site != "gap"]
    first_us = min(s.arrival_us for s in signals)
    arrivals = [(s.arrival_us - first_us, -0.4 * k, 3.0 * k) for k, s in enumerate(signals)]
    reference, z = made.recorded(arrivals, snr_db=60.0)
    soundfile.write(tmp_path / "composite.wav", reference, made.REFERENCE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "iq.wav", np.column_stack((z.real, z.imag)), made.RATE_HZ, subtype="FLOAT")
    options = ["--deviation-khz", FIELDS["deviation_khz"], "--search-us", "2000", "--when", FIELDS["when"]]
    where = ["--network", str(EXAMPLE_PATH), "--at", "36.3,-84.15"]
    paths = [str(tmp_path / "iq.wav"), str(tmp_path / "composite.wav")]
    assert 0 == main(["arrivals", *paths, *options, *where, "--json"])
    found = json.loads(capsys.readouterr().out)

    assert found["misfit_ratio"] > 5
    (raised,) = [one for one in found["problems"] if one["code"] == "arrivals-unexplained"]
    assert raised["values"]["misfit_ratio"] == found["misfit_ratio"]
    doubt = f"misfit {found['misfit_ratio']:.1f}"
    assert found["measurements_head"].endswith(",doubt")
    assert [doubt] == [row.split(",")[-1] for row in found["measurements"]]

    table = tmp_path / "rows.csv"
    table.write_text("\n".join([found["measurements_head"], *found["measurements"]]), encoding="utf-8")
    assert 0 == main(["reconcile", str(EXAMPLE_PATH), str(table), "--hold", "north", "--json"])
    answer = json.loads(capsys.readouterr().out)
    (told,) = [one for one in answer["problems"] if one["code"] == "measurement-doubted"]
    assert doubt == told["values"]["doubt"] == answer["residuals"][0]["doubt"]
    said = f"they rest on something doubtful: {doubt}"
    csv = table.read_text(encoding="utf-8")
    assert said in post(f"/networks/{number}/measurements", csv=csv, **{"hold-north": "yes"}).text
    address = f"/networks/{number}/measurements/rows"
    assert post(address, csv=csv, source="iq.wav", do="keep", author="ab").status_code == 303
    assert f"doubtful: {doubt}" in client.get(f"/networks/{number}/measurements").text
    assert f"doubtful: {doubt}" in client.get(f"/networks/{number}/timeline").text
    # Kept, it is adjusted with whatever is measured later, and still says so.
    head = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by"
    other = f"{head}\n2026-11-21T09:00Z,ford,36.2,-84.19,south,north,-70.99,0.5,antenna,ab"
    assert said in post(f"/networks/{number}/measurements", csv=other, **{"hold-north": "yes"}).text
