"""``optimise --vary``: keys, words, refusals, and Ctrl-C."""

import json
import os
import signal
from pathlib import Path

import pytest

from sfn.cli import main
from sfn.cli.plan_options import stopped_by_hand
from sfn.geodesy.sites import place
from sfn.plan import read
from tests.sfn.cli.test_keys_in_help import unspoken
from tests.sfn.networks import EXAMPLE_PATH

VARY = ["optimise", str(EXAMPLE_PATH), "--pixel-m", "2500", "--objective", "area", "--budget-s", "10"]


def test_every_key_stands_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """Of an answer with plans, however deep."""
    options = ["--vary", "offset,power,on-off", "--power-steps", "-6:6:3", "--on-off"]
    assert unspoken([*VARY, *options], capsys) == []


def test_every_key_of_drawn_worlds_stands_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """Of the command of its own, however deep."""
    options = ["--pixel-m", "2500", "--objective", "area", "--worlds", "20", "--plan", str(EXAMPLE_PATH)]
    assert unspoken(["sure", str(EXAMPLE_PATH), *options], capsys) == []


def test_drawn_worlds_are_printed_and_can_be_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    """Percentiles, the chance, what to measure first, what is not varied; a seed of worlds gives the same again."""
    short = ["--pixel-m", "2500", "--objective", "area", "--worlds", "20"]
    assert main(["sure", str(EXAMPLE_PATH), *short, "--plan", str(EXAMPLE_PATH)]) == 0
    first = capsys.readouterr().out
    assert "better than as it is" in first
    assert "served by the quick estimate, of" in first, "the rule stands at the table"
    assert "served is judged by the quick estimate, as predicted and in every world" in first
    assert "what to measure first" in first
    assert "a drive test of its area" in first
    assert "doubt: not varied: levels of other stations" in first
    assert main(["sure", str(EXAMPLE_PATH), *short, "--plan", str(EXAMPLE_PATH)]) == 0
    assert capsys.readouterr().out == first
    assert main(["sure", str(EXAMPLE_PATH), *short, "--sigma-db", "2", "--whole-db", "3"]) == 2
    assert "whole_db must be 0 to sigma_db" in capsys.readouterr().err
    options = ["--vary", "power", "--power-steps", "0:6:3", "--json", "--worlds", "0"]
    assert main([*VARY, *options]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert "worlds" not in answer
    assert answer["plans"]
    assert "people_p5" not in answer["plans"][0]


def test_a_drive_test_by_command_is_read_said_and_stands_in_the_help(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A log beside the example: every key in the help, lines counted, a log that cannot be read refused in words."""
    log = tmp_path / "road.csv"
    network = read(EXAMPLE_PATH.read_text(encoding="utf-8"))
    at, first = place(network)[network.sites[0].id], network.sites[0].id
    rows = [f"{at.lat_deg + 0.001 * k:.6f},{at.lon_deg:.6f},{90 - k / 4:.1f},{first}" for k in range(1, 60)]
    log.write_text("\n".join(["lat,lon,dBuV/m,site", *rows]), encoding="utf-8")
    short = ["sure", str(EXAMPLE_PATH), "--pixel-m", "2500", "--objective", "area", "--worlds", "20"]
    assert unspoken([*short, "--measured", str(log)], capsys) == []
    assert main([*short, "--measured", str(log)]) == 0
    said = capsys.readouterr().out
    assert "road.csv: 59 of 59 lines used" in said
    assert "stretches of road count" in said
    log.write_text("lat,lon,dBuV/m\nnowhere,1,2\n", encoding="utf-8")
    assert main([*short, "--measured", str(log)]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_robust_search_lists_by_what_it_searched_for(capsys: pytest.CaptureFixture[str]) -> None:
    """Each plan has a better 20th percentile than the cheaper ones and than today's."""
    options = ["--vary", "power", "--power-steps", "-6:6:3", "--json", "--worlds", "40", "--robust", "p20"]
    assert main([*VARY, *options]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["robust"] == "p20"
    assert answer["worlds"] == 40
    rising = [answer["today_sure"]["served_p20"], *(plan["served_p20"] for plan in answer["plans"])]
    assert rising == sorted(rising)
    assert len(rising) == len(set(rising)) > 1
    assert any("the 20th percentile of 20 drawn worlds" in said for said in answer["doubts"])


def test_plans_and_their_doubts_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """The table, what each changes, what is not varied, the caution."""
    options = ["--vary", "power,azimuth", "--power-steps", "0:6:3", "--azimuth-steps", "0:270:90", "--hold", "gap"]
    assert main([*VARY, *options, "--cost", "licence:5", "--cost-unit", "days"]) == 0
    printed = capsys.readouterr().out

    assert "costs in days: a visit 1, a rigging day 4, a licence change 5" in printed
    assert "plan 1, cost 6:" in printed
    assert "e.r.p. instead of" in printed
    assert "ask the licence: " in printed
    assert "would radiate up to" in printed
    assert "azimuth: it has no horizontal pattern, so that turning it does nothing" in printed
    assert "power: it is held for this search" in printed
    assert "doubt: levels are predicted medians" in printed
    assert "caution: power, direction, pattern, tilt, height and place are bounds of a licence" in printed


def test_a_licence_file_binds(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Within a small triangle far away nothing may rise; the same search without it finds plans."""
    ring = [[-84.40, 36.30], [-84.39, 36.30], [-84.39, 36.31], [-84.40, 36.30]]
    area = tmp_path / "licence.geojson"
    area.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}), encoding="utf-8")
    options = ["--vary", "power", "--power-steps", "0:6:3", "--json"]
    assert main([*VARY, *options]) == 0
    assert json.loads(capsys.readouterr().out)["plans"]
    assert main([*VARY, *options, "--licence", str(area), "--licence-level-dbuvm", "70"]) == 0
    answer = json.loads(capsys.readouterr().out)

    assert answer["plans"] == []
    assert answer["licences"] == [{"name": "licence.geojson", "level_dbuvm": 70.0, "sites": None}]
    assert {one["licence"] for one in answer["reaching_out_as_planned"]} == {"licence.geojson"}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--vary", "colour"], "--vary: cannot be colour; some of offset,power,azimuth,tilt,pattern,on-off"),
        (["--vary", "power", "--power-steps", "3"], "--power-steps: cannot be '3'; LEAST:GREATEST:STEP, as -6:0:3"),
        (["--vary", "power", "--power-steps", "3:0:1"], "least 3 lies above greatest 0"),
        (["--vary", "power", "--power-steps", "0:90:1"], "--power-steps: cannot be used"),
        (["--vary", "power"], "nothing may be varied"),
        (["--vary", "power", "--power-steps", "0:3:3", "--worlds", "3"], "3 worlds; 20 to 10000"),
        (["--robust", "p20"], "--robust: does nothing without --vary"),
        (["--measured", "road.csv"], "--measured: does nothing without --vary"),
        (["--vary", "offset", "--measured", "road.csv", "--worlds", "0"], "--measured: does nothing where no worlds"),
        (["--sigma-db", "7"], "--sigma-db: does nothing without --vary"),
        (["--vary", "power", "--tilt-steps", "0:2:1"], "--tilt-steps: does nothing where tilt is not varied"),
        (["--vary", "power", "--max-changed", "2"], "--max-changed: does nothing with --vary"),
        (["--vary", "power", "--max-offset-us", "2"], "--max-offset-us: does nothing where offsets are not varied"),
        (["--vary", "pattern", "--patterns", "east"], "there is no site 'east'"),
        (["--vary", "offset", "--cost", "trip:3"], "--cost: cannot be 'trip:3'; one of visit, rigging, licence"),
        (["--vary", "offset", "--hold", "east"], "there is no site 'east'"),
        (["--vary", "offset", "--licence-level-dbuvm", "60"], "does nothing without --licence"),
        (["--power-steps", "-6:0:3"], "--power-steps: does nothing without --vary"),
    ],
)
def test_what_cannot_be_done_is_said(capsys: pytest.CaptureFixture[str], options: list[str], said: str) -> None:
    """Exit code 2 and a line in words."""
    assert main([*VARY, *options]) == 2
    assert said in capsys.readouterr().err


def test_ctrl_c_stops_the_search_once_and_the_command_the_second_time() -> None:
    """The first is kept as a wish to stop, the second goes where it always went."""
    first = signal.getsignal(signal.SIGINT)
    usual = signal.default_int_handler  # a shell's background has none
    signal.signal(signal.SIGINT, usual)
    with stopped_by_hand() as stopped:
        assert not stopped()
        os.kill(os.getpid(), signal.SIGINT)
        assert stopped()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is usual
    signal.signal(signal.SIGINT, first)
