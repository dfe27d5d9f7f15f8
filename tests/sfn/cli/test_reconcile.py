"""The reconcile command on the example network: launch errors put in come out."""

import json
from pathlib import Path

import numpy as np
import pytest

from sfn.cli import main

NETWORK = Path(__file__).parent.parent / "example-network.json"
HEAD = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by\n"
ERRORS_US = {"north": 0.0, "south": 3.2, "gap": -0.7}
POINTS = ((36.30, -84.22), (36.33, -84.21), (36.25, -84.20), (36.28, -84.24))


@pytest.fixture
def csv_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """Twelve measurements made of the point command's own arrivals, the errors above and 50 ns of noise."""
    rng = np.random.default_rng(2)
    lines = []
    for k, (lat, lon) in enumerate(POINTS):
        assert 0 == main(["point", str(NETWORK), "--at", f"{lat},{lon}", "--json"])
        arrival = {s["site"]: s["arrival_us"] for s in json.loads(capsys.readouterr().out)["signals"]}
        for a, b in (("south", "north"), ("gap", "north"), ("gap", "south")):
            value = arrival[a] - arrival[b] + ERRORS_US[a] - ERRORS_US[b] + 0.05 * rng.normal()
            lines.append(f"2026-10-01 02:{k}0Z,P{k},{lat},{lon},{a},{b},{value!r},0.05,antenna,ab\n")
    path = tmp_path / "night.csv"
    path.write_text(HEAD + "".join(lines).replace("np.float64(", "").replace(")", ""), encoding="utf-8")
    return path


def test_launch_errors_come_out(csv_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With north held, south is 3.2 us late and gap 0.7 us early, within four standard uncertainties."""
    assert 0 == main(["reconcile", str(NETWORK), str(csv_file), "--hold", "north", "--json"])

    answer = json.loads(capsys.readouterr().out)
    for row in answer["sites"]:
        assert abs(row["launch_error_us"] - ERRORS_US[row["site"]]) <= 4 * row["uncertainty_us"]
        assert row["uncertainty_us"] < 0.03
    assert (2, 10, 12) == (answer["rank"], answer["freedom"], answer["measurements_n"])
    assert answer["chi_square_low"] < answer["chi_square"] < answer["chi_square_high"]
    assert [] == answer["suspects"]
    assert [] == answer["problems"]


def test_every_key_is_described_in_the_help(csv_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    assert 0 == main(["reconcile", str(NETWORK), str(csv_file), "--json"])
    answer = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["reconcile", "--help"])
    text = " ".join(capsys.readouterr().out.split())
    columns = set(HEAD.strip().split(","))

    assert [] == [key for key in answer if f"`{key}`" not in text]
    assert [] == [key for key in answer["residuals"][0] if key not in columns and f"`{key}`" not in text]
    assert [] == [key for key in answer["sites"][0] if f"`{key}`" not in text]


def test_a_wrong_line_is_found_and_left_out(csv_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sign typed wrongly in line 5 is the suspect; without it the launch errors are right again."""
    lines = csv_file.read_text(encoding="utf-8").splitlines()
    cells = lines[4].split(",")
    cells[6] = str(-float(cells[6]))
    lines[4] = ",".join(cells)
    csv_file.write_text("\n".join(lines), encoding="utf-8")

    assert 0 == main(["reconcile", str(NETWORK), str(csv_file), "--hold", "north", "--without-suspects", "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert [3] == answer["left_out"]
    assert abs(answer["sites"][1]["launch_error_us"] - 3.2) < 0.15
    assert 0 == main(["reconcile", str(NETWORK), str(csv_file), "--hold", "north", "--robust", "--json"])
    assert abs(json.loads(capsys.readouterr().out)["sites"][1]["launch_error_us"] - 3.2) < 0.3


def test_people_get_tables(csv_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sites with their correction, measurements with their verdict, and the chi-square."""
    assert 0 == main(["reconcile", str(NETWORK), str(csv_file)])

    out = capsys.readouterr().out
    assert "correction us" in out
    assert "gap - south at P3" in out
    assert "10 degrees of freedom" in out
    assert "warning: held: no site of north, south, gap is held" in out


def test_what_cannot_be_used_exits_2(csv_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bad cell, an unknown held site, and two ways at once."""
    assert 2 == main(["reconcile", str(NETWORK), str(csv_file), "--hold", "west"])
    assert "hold: there is no site west; one of north, south, gap" in capsys.readouterr().err
    assert 2 == main(["reconcile", str(NETWORK), str(csv_file), "--robust", "--without-suspects"])
    assert "--robust" in capsys.readouterr().err
    csv_file.write_text(HEAD + "t,P1,x,-84,south,north,3,0.1,antenna,ab\n", encoding="utf-8")
    assert 2 == main(["reconcile", str(NETWORK), str(csv_file)])
    assert "night.csv line 2 column lat: 'x' is no number" in capsys.readouterr().err
