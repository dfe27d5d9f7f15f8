"""The calibrate command on the example network: a shift put in comes out."""

import json
from pathlib import Path

import numpy as np
import pytest

from sfn.cli import main
from sfn.plan import read_file
from sfn.survey.prediction import planned_levels

NETWORK = Path(__file__).parent.parent / "example-network.json"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A circle of 5 km round north ridge, 4 dB below the prediction, with 5 dB of spread."""
    rng = np.random.default_rng(3)
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    lat, lon = 36.37 + 0.045 * np.cos(angle), -84.25 + 0.056 * np.sin(angle)
    level, _ = planned_levels(read_file(NETWORK), lat, lon)
    lines = [
        f"{a:.6f},{o:.6f},{v - 4.0 + 5.0 * rng.normal():.2f},north\n"
        for a, o, v in zip(lat, lon, level[0], strict=True)
    ]
    path = tmp_path / "night.csv"
    path.write_text("lat,lon,level_dbuvm,site\n" + "".join(lines), encoding="utf-8")
    return path


def test_the_shift_comes_out(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Prediction minus measurement is about 4 dB all round, the spread 5 dB."""
    assert 0 == main(["calibrate", str(NETWORK), str(log), "--json"])

    answer = json.loads(capsys.readouterr().out)
    north = answer["sites"][0]
    assert 4.0 == pytest.approx(north["difference_db"], abs=1.5)
    assert -north["difference_db"] == north["shift_db"]
    assert north["significant"]
    assert 5.0 == pytest.approx(north["spread_db"], abs=1.0)
    assert 120 == answer["samples_n"]
    assert 24 == len(answer["sectors"])


def test_every_key_is_described_in_the_help(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    assert 0 == main(["calibrate", str(NETWORK), str(log), "--json"])
    answer = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["calibrate", "--help"])
    text = " ".join(capsys.readouterr().out.split())
    keys = {*answer, *answer["sites"][0], *answer["together"], *answer["stretches"][0], *answer["logs"][0]}

    assert [] == sorted(key for key in keys if f"`{key}`" not in text)


def test_people_get_a_table(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sectors that were driven, and what is worth a shift."""
    assert 0 == main(["calibrate", str(NETWORK), str(log), str(log), "--sectors", "4"])

    out = capsys.readouterr().out
    assert "all round" in out
    assert "315 to 45" in out
    assert "240 samples" in out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--alone west", "alone: there is no site west; one of north, south, gap"),
        ("--sectors 0", "sectors: cannot be 0; 1 to 72"),
        ("--stretch-m 0", "stretch_m: cannot be 0"),
        ("--rx-height-m 0", "rx_height_m: cannot be 0"),
    ],
)
def test_what_cannot_be_used_exits_2(log: Path, capsys: pytest.CaptureFixture[str], options: str, words: str) -> None:
    """On stderr, with what would be right."""
    assert 2 == main(["calibrate", str(NETWORK), str(log), *options.split()])
    assert words in capsys.readouterr().err


def test_a_receivers_log_is_asked_by_its_own_name(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is open is asked in the log's name, not in the network's; told, the log is read and its lines counted."""
    lines = log.read_text(encoding="utf-8").splitlines()[1:]
    cells = [line.split(",") for line in lines]
    text = "Lat,Lon,Level (dBuV),Site\n" + "\n".join(f"{a},{o},{float(v) - 9.5:.2f},{s}" for a, o, v, s in cells)
    path = tmp_path / "receiver.csv"
    path.write_text(text + "\nEND\n", encoding="utf-8")
    assert 2 == main(["calibrate", str(NETWORK), str(path)])
    said = capsys.readouterr().err
    assert said.startswith("receiver.csv: was logged in dBuV")
    assert 0 == main(["calibrate", str(NETWORK), str(path), "--antenna-factor-db", "9.5"])
    told = capsys.readouterr().out
    assert "receiver.csv: 120 of 121 lines used, 1 left out; logged in dBuV: E = U + 9.50 dB/m" in told
    assert "receiver.csv line 122" in told
