"""The page of pasted signals, and a programme as it is heard at a point."""

import io
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from sfn.cli import main
from webapp.store.store import Store

TWO = "site,level_dbuvm,delay_us\nNorth,60,0\nSouth,54.5,12.5\n"


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_a_pasted_list_is_answered_as_the_command_does(
    client: TestClient,
    post: Callable[..., Any],
    number: int,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """FM, OFDM and 8-VSB: the figures on the page are those of `signals --json`."""
    assert "fm-stereo" in client.get(f"/networks/{number}/signals").text
    (tmp_path / "s.csv").write_text(TWO)
    for service, path in (
        ("fm-stereo", lambda a: a["stereo"]["snr_local_db"]),
        ("dvb-t-8k-1/4-8mhz", lambda a: a["strategies"][0]["margin_db"]),
        ("8-vsb", lambda a: a["margin_db"]),
    ):
        answer = post(f"/networks/{number}/signals", table=TWO, service=service, frequency_mhz="600")
        assert answer.status_code == 200, answer.text
        assert main(["signals", str(tmp_path / "s.csv"), "--service", service, "--frequency-mhz", "600", "--json"]) == 0
        figure = f"{abs(path(json.loads(capsys.readouterr().out))):.1f}"
        assert figure in answer.text
        assert "South" in answer.text


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"table": "level_dbuvm,delay_us\n60,x\n"}, "line 2, column delay_us"),
        ({"table": ""}, "there is nothing in it"),
        ({"table": TWO, "service": "am"}, "am"),
        ({"table": TWO, "frequency_mhz": "high"}, "is no number"),
        ({"table": TWO, "others": "spacing_khz\n1\n"}, "lacks the column level_dbuvm"),
        ({"table": TWO, "others": "spacing_khz,level_dbuvm,interference\n0,20,often\n"}, "steady, tropospheric"),
    ],
)
def test_refusals_name_the_line_and_keep_the_table(
    post: Callable[..., Any], number: int, typed: dict[str, str], says: str
) -> None:
    """Nothing pasted is lost."""
    answer = post(f"/networks/{number}/signals", **typed)
    assert answer.status_code == 422
    assert says in answer.text
    assert typed["table"].strip().split("\n")[-1] in answer.text


def test_differing_carriers_are_simulated_and_other_services_stand_beside(
    post: Callable[..., Any], number: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A carrier offset needs the simulation; BS.412: 45 dB in stereo for the same carrier, steady (table 3)."""
    table = "level_dbuvm,delay_us,carrier_offset_hz,deviation_mismatch_pct\n70,0,0,0\n60,2,40,5\n"
    others = "spacing_khz,level_dbuvm\n0,30\n"
    answer = post(f"/networks/{number}/signals", table=table, service="fm-stereo", others=others)
    assert answer.status_code == 200, answer.text
    assert "From the simulation" in answer.text
    assert "75.0" in answer.text  # 30 dBuV/m and 45 dB
    (tmp_path / "s.csv").write_text(table)
    (tmp_path / "o.csv").write_text(others)
    asked = ["signals", str(tmp_path / "s.csv"), "--service", "fm-stereo", "--json"]
    assert main(asked) == 2
    assert "ask for the direct simulation" in capsys.readouterr().err
    assert main([*asked, "--direct", "--others", str(tmp_path / "o.csv")]) == 0
    found = json.loads(capsys.readouterr().out)["unrelated"]
    assert found["stereo"]["steady_dbuvm"] == pytest.approx(75.0)
    assert found["stereo"]["margin_db"] == pytest.approx(-5.0)


def played(client: TestClient, started: Any) -> str:
    """Address of the page with the two sounds."""
    assert started.status_code == 303, started.text
    for _ in range(600):
        state = client.get(started.headers["location"], headers={"Accept": "application/json"}).json()
        if state["state"] not in ("waiting", "running"):
            break
        time.sleep(0.1)
    assert state["state"] == "finished", state
    return str(state["result_url"])


def tone(seconds: float, rate: int = 44_100) -> bytes:
    """A tone of 1 kHz as FLAC."""
    out = io.BytesIO()
    soundfile.write(out, 0.3 * np.sin(2 * np.pi * 1000 * np.arange(round(seconds * rate)) / rate), rate, format="FLAC")
    return out.getvalue()


def test_a_programme_is_heard_beside_itself(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """The user's tone comes out undisturbed as a tone, and with all signals as a worse one, just as loud."""
    where = played(
        client,
        post(
            f"/networks/{number}/point/hear/upload",
            files={"programme": ("tone.flac", tone(2.5))},
            at="36.28, -84.15",
            phase="worst tenth",
            receiver="mono",
        ),
    )
    html = client.get(where).text
    assert html.count("<audio controls") == 2
    assert "tone.flac" in html
    sounds = {}
    for name in ("undisturbed", "received"):
        answer = client.get(f"{where}/{name}.wav")
        assert answer.headers["content-type"] == "audio/wav"
        audio, rate = soundfile.read(io.BytesIO(answer.content))
        assert rate == 48_000
        sounds[name] = audio[24_000:96_000, 0]
    for name, share in (("undisturbed", 1e-4), ("received", 1.0)):
        power = np.abs(np.fft.rfft(sounds[name] * np.hanning(72_000))) ** 2
        near = power[1480:1521].sum()
        assert 1 - near / power[15:].sum() < share
    worse = np.std(sounds["received"] - sounds["undisturbed"]) / np.std(sounds["undisturbed"])
    assert worse > 1e-3
    assert np.std(sounds["received"]) == pytest.approx(np.std(sounds["undisturbed"]), rel=0.5)


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"no sound", "cannot be read"), (tone(0.5), "lasts 0.5 s")],
)
def test_programmes_that_cannot_be_played_are_refused(
    post: Callable[..., Any], number: int, content: bytes, says: str
) -> None:
    """In words."""
    answer = post(f"/networks/{number}/point/hear/upload", files={"programme": ("a.wav", content)}, at="36.28, -84.19")
    assert answer.status_code == 422
    assert says in answer.text


def test_the_command_writes_two_sounds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`point --hear` writes the programme as heard, and undisturbed; tries are said."""
    network = Path(__file__).parents[1] / "sfn" / "example-network.json"
    (tmp_path / "tone.flac").write_bytes(tone(2.5))
    asked = ["point", str(network), "--at", "36.28,-84.19", "--hear", str(tmp_path / "a.wav")]
    assert main([*asked, "--programme", str(tmp_path / "tone.flac"), "--mono", "--offset", "south:4"]) == 0
    assert "TRY: " in capsys.readouterr().out
    for name in ("a.wav", "a-undisturbed.wav"):
        assert soundfile.info(tmp_path / name).frames == 120_000
