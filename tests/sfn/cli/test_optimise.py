"""``optimise`` on the worked example: keys, limits, refusals."""

import json
from pathlib import Path

import pytest

from sfn.cli import main
from sfn.solve.limits import RELAYS_CHANGED, RELAYS_MOST, RELAYS_MOVE
from tests.sfn.networks import EXAMPLE_PATH

DEMOS = Path(__file__).parents[3] / "demo_sites"


def test_the_answer_has_its_keys_and_is_no_worse(capsys: pytest.CaptureFixture[str]) -> None:
    """Keys as promised to scripts; a held site stays; the site fed off air keeps its bound."""
    arguments = ["optimise", str(EXAMPLE_PATH), "--json", "--hold", "north", "--budget-s", "3", "--pixel-m", "500"]
    assert main([*arguments, "--objective", "area", "--max-offset-us", "30", "--seed", "3"]) == 0
    answer = json.loads(capsys.readouterr().out)

    assert {"objective", "before", "after", "offsets", "settings", "sensitivity", "seed", "seconds"} <= answer.keys()
    assert answer["objective"] == "area"
    assert answer["offsets"]["north"] == 0
    assert answer["offsets"]["gap"] >= 45.378
    assert abs(answer["offsets"]["south"]) <= 30
    assert answer["after"]["without_service"] <= answer["before"]["without_service"]
    assert answer["lower_bound"] <= answer["after"]["without_service"]
    assert {entry["id"] for entry in answer["settings"]} == {"north", "south", "gap"}
    assert answer["settings"][1]["offset_us"] == answer["offsets"]["south"]
    assert 0 <= answer["tolerances"]["probability_target_met"] <= 1
    change = answer["before"]["without_service"] - answer["after"]["without_service"]
    assert change == pytest.approx(answer["gained"] - answer["lost"], abs=1e-6)
    assert answer["levers"]


def test_the_help_says_how_a_relay_s_limits_count(capsys: pytest.CaptureFixture[str]) -> None:
    """Beside each of the three limits, in the words of the page."""
    with pytest.raises(SystemExit):
        main(["optimise", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert all(said in text for said in (RELAYS_MOST, RELAYS_MOVE, RELAYS_CHANGED))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--hold", "east"], "there is no site 'east'"),
        (["--objective", "people"], "people are not counted: the network names no places"),
        (["--budget-s", "0"], "--budget-s: cannot be 0.0"),
        (["--from-set"], "--from-set: does nothing without --max-move-us"),
        (["--max-offset-us", "-3"], "0 to 100 000 us"),
    ],
)
def test_what_cannot_be_done_is_said(capsys: pytest.CaptureFixture[str], arguments: list[str], said: str) -> None:
    """Exit code 2 and a line in words."""
    assert main(["optimise", str(EXAMPLE_PATH), "--pixel-m", "1000", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_weights_and_losers_stand_in_the_print(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Each weight in words, people and km2 as they are, and who loses by name."""
    tree = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    tree["weights"] = [
        {"name": "this town first", "place": "Rocky Top", "factor": 5},
        {"name": "valley road", "road": [[36.2, -84.3], [36.3, -84.2]], "within_m": 300, "people_per_km": 100},
    ]
    path = tmp_path / "weighed.json"
    path.write_text(json.dumps(tree), encoding="utf-8")
    assert main(["optimise", str(path), "--budget-s", "2", "--pixel-m", "500"]) == 0
    printed = capsys.readouterr().out

    assert "weighed: this town first: Rocky Top, " in printed
    assert "km of road and 300 m to either side" in printed
    assert "as weighed" in printed
    assert "1 us early" in printed
    assert "with the chains' tolerances drawn" in printed
