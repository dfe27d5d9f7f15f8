"""The commands answer as promised: exit codes, keys, and problems in words."""

import json
import sys
from pathlib import Path

import pytest

from sfn.cli import main
from sfn.terrain.ground import open_ground
from tests.sfn.networks import EXAMPLE_PATH, example


def test_check_exits_1_on_an_error_and_0_on_warnings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Warnings alone do not fail a check."""
    assert main(["check", str(EXAMPLE_PATH), "--json"]) == 0
    assert {"warning"} == {p["severity"] for p in json.loads(capsys.readouterr().out)["problems"]}
    broken = tmp_path / "broken.json"
    broken.write_text(EXAMPLE_PATH.read_text(encoding="utf-8").replace("120000", "100000"), encoding="utf-8")

    assert main(["check", str(broken)]) == 1
    assert "buffer underrun" in capsys.readouterr().out


def test_check_says_of_every_sheet_whether_it_may_go_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A present value that nobody read is a warning, exit code 0, and withholds: each site says so."""
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["sites"][0]["delay_fields"][0]["set"] = None
    path = tmp_path / "unread.json"
    path.write_text(json.dumps(tree), encoding="utf-8")

    assert main(["check", str(path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert (
        "sheet of North ridge (main): WITHHELD: present-value-unknown, lock-not-stated, tolerance-above-tolerated"
        in lines
    )
    assert any(line.startswith("sheet of South ridge (main): WITHHELD: release-withheld") for line in lines)
    assert main(["check", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["verdicts"]
    assert [(one["site"], one["route"], one["verdict"]) for one in found] == [
        (site, "main", "withheld") for site in ("north", "south", "gap")
    ]


def test_delays_answers_planning_problems_with_exit_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A dry section is part of the answer, not a refusal."""
    broken = tmp_path / "broken.json"
    broken.write_text(EXAMPLE_PATH.read_text(encoding="utf-8").replace("120000", "100000"), encoding="utf-8")

    assert main(["delays", str(broken), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert any("buffer underrun" in p["what"] and p["severity"] == "error" for p in answer["problems"])
    assert ["north", "south", "gap"] == [row["id"] for row in answer["sites"]]


def test_the_table_for_people_shows_the_setting(capsys: pytest.CaptureFixture[str]) -> None:
    """The setting stands in the device's own units: as the sheet of a first try splits it, and filled coarse first."""
    assert main(["delays", str(EXAMPLE_PATH)]) == 0
    text = capsys.readouterr().out.replace("\u202f", " ")
    assert "104 ms + 2 382.7 µs (coarse first 106 ms + 382.7 µs)" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["delays", "missing.json"], "missing.json: file: cannot be read"),
        (
            ["point", str(EXAMPLE_PATH), "--at", "36.28"],
            f"{EXAMPLE_PATH}: --at: cannot be '36.28'; LAT,LON in decimal degrees",
        ),
        (
            ["point", str(EXAMPLE_PATH), "--at", "-96.28,84"],
            f"{EXAMPLE_PATH}: --at: the latitude -96.28 is beyond 90 degrees",
        ),
        (["point", str(EXAMPLE_PATH), "--at", "36,nan"], f"{EXAMPLE_PATH}: --at: "),
        (
            ["point", str(EXAMPLE_PATH), "--at", "36.28,-84.2", "--rx-height-m", "0"],
            f"{EXAMPLE_PATH}: --rx-height-m: cannot be 0",
        ),
    ],
)
def test_what_cannot_be_used_exits_2_in_words(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line a problem on stderr, nothing on stdout."""
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith(said)
    assert captured.out == ""


def test_point_is_strongest_first_with_differences_from_the_strongest(capsys: pytest.CaptureFixture[str]) -> None:
    """Differences are this signal minus the strongest."""
    assert main(["point", str(EXAMPLE_PATH), "--at", "36.28,-84.2", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    levels = [s["level_dbuvm"] for s in answer["signals"]]
    assert sorted(levels, reverse=True) == levels
    top = answer["signals"][0]
    assert (top["delay_difference_us"], top["level_difference_db"]) == (0, 0)
    for signal in answer["signals"]:
        assert signal["arrival_us"] == pytest.approx(signal["launch_us"] + signal["travel_us"], abs=1e-9)
        assert signal["delay_difference_us"] == pytest.approx(signal["arrival_us"] - top["arrival_us"], abs=1e-9)
        assert signal["level_difference_db"] <= 0


def test_as_set_uses_what_is_set_now(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is set in the example, so launches are bare latencies."""
    assert main(["point", str(EXAMPLE_PATH), "--at", "36.28,-84.2", "--json", "--as-set"]) == 0
    launches = {s["site"]: s["launch_us"] for s in json.loads(capsys.readouterr().out)["signals"]}

    assert launches["north"] == pytest.approx(122_100.4549, abs=1e-4)
    assert launches["gap"] == pytest.approx(122_100.4549 + 37.8782 + 7.5, abs=1e-3)
    assert example().sites[2].fed_off_air_from == "north"


def test_a_position_that_cannot_be_read_leaves_the_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0, the relay missing by its parent's fault, the south as before, in JSON and for people."""
    broken = tmp_path / "broken.json"
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["sites"][0]["position"] = {"text": "over there"}
    broken.write_text(json.dumps(tree), encoding="utf-8")

    assert main(["delays", str(EXAMPLE_PATH), "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert main(["delays", str(broken), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    south, before = (next(row for row in one["sites"] if row["id"] == "south") for one in (answer, whole))

    assert [(one["id"], one["whose"]) for one in answer["missing"]] == [("gap", "north")]
    assert {key: south[key] for key in ("added_us", "set_us", "launch_us", "fields")} == {
        key: before[key] for key in ("added_us", "set_us", "launch_us", "fields")
    }
    assert answer["pairs"] == []
    assert ["north"] in [p["sites"] for p in answer["problems"] if p["code"] == "position-unreadable"]
    assert main(["delays", str(broken)]) == 0
    assert "missing: site Gap: has no delay" in capsys.readouterr().out


def test_the_terrain_is_opened_once(monkeypatch, capsys) -> None:
    """Its files are not read a second time for the loops."""
    opened = []

    def counting(*given, **named):
        """The real one, counted."""
        opened.append(given)
        return open_ground(*given, **named)

    ours = [one for name, one in list(sys.modules.items()) if name.startswith("sfn.")]
    for module in [one for one in ours if getattr(one, "open_ground", None) is open_ground]:
        monkeypatch.setattr(module, "open_ground", counting)
    assert 0 == main(["delays", str(EXAMPLE_PATH), "--json"])
    assert 1 == len(opened)
    assert json.loads(capsys.readouterr().out)["sites"]
