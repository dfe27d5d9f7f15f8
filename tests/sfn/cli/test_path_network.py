"""`path NETWORK`: one path of a network from the command line."""

import json
from pathlib import Path

import pytest

from sfn.cli import main

RIDGE = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"
TO_TOWN = [str(RIDGE), "--site", "summit", "--at", "36.335,-84.2"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of the command."""
    code = main(["path", *arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_answer_holds_everything(capsys: pytest.CaptureFixture[str]) -> None:
    """Levels at three percentages with their intermediates, the profile, travel time; numbers agree with each other."""
    code, out, _ = run(capsys, *TO_TOWN, "--json")
    found = json.loads(out)

    assert 0 == code
    assert [50.0, 10.0, 1.0] == [one["time_pct"] for one in found["levels"]]
    assert found["levels"][0]["level_dbuvm"] < found["levels"][1]["level_dbuvm"] < found["levels"][2]["level_dbuvm"]
    assert found["levels"][0]["loss_db"] == found["levels"][0]["intermediates"]["Lb"]
    assert found["path_m"] * 1.000315 / 299.792458 == pytest.approx(found["travel_us"], abs=1e-9)
    assert found["ground_m"] / 1000 == pytest.approx(found["profile"]["distance_km"][-1])
    assert (False, True, None, False) == tuple(
        found[k] for k in ("smooth_earth", "covered", "not_covered_from_m", "line_of_sight")
    )
    assert {"inland"} == set(found["profile"]["zone"])


def test_path_and_point_agree(capsys: pytest.CaptureFixture[str]) -> None:
    """The level and travel time of a path are those of the same signal at that point."""
    _, out, _ = run(capsys, *TO_TOWN, "--json")
    path = json.loads(out)
    main(["point", str(RIDGE), "--at", "36.335,-84.2", "--json"])
    point = {s["site"]: s for s in json.loads(capsys.readouterr().out)["signals"]}["summit"]

    assert point["level_dbuvm"] == pytest.approx(path["levels"][0]["level_dbuvm"], abs=1e-9)
    assert point["level_1pct_dbuvm"] == pytest.approx(path["levels"][2]["level_dbuvm"], abs=1e-9)
    assert point["travel_us"] == pytest.approx(path["travel_us"], abs=1e-9)


def test_people_get_a_table(capsys: pytest.CaptureFixture[str]) -> None:
    """What it rests on stands before the numbers, then every intermediate in columns."""
    code, out, _ = run(capsys, *TO_TOWN, "--time-pct", "50,5")

    assert 0 == code
    assert "terrain, known all the way" in out
    assert ["Lb"] == [line.split()[0] for line in out.splitlines() if line.startswith("Lb ")]
    assert 3 == len(next(line for line in out.splitlines() if line.startswith("Ldp")).split())


def test_off_the_terrain_there_is_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    """Where the ground is not known the answer says so, in words and in JSON, and invents nothing."""
    away = [str(RIDGE), "--site", "summit", "--at", "36.05,-84.2"]
    _, words, _ = run(capsys, *away)
    code, out, _ = run(capsys, *away, "--json")
    found = json.loads(out)

    assert 0 == code
    assert "terrain is not known from 4" in words
    assert ([], None, None, False) == tuple(found[k] for k in ("levels", "travel_us", "rx_ground_m", "covered"))
    assert found["profile"]["ground_m"][-1] is None


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_profile_can_be_drawn(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    """--plot writes the picture in the format its name asks for."""
    file = tmp_path / f"path.{ending}"
    code, _, _ = run(capsys, *TO_TOWN, "--plot", str(file))

    assert 0 == code
    assert file.read_bytes()[:5] in (b"<?xml", b"\x89PNG\r")


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (["--at", "36.3,-84.2"], "--site: is missing; the id of a site"),
        (["--site", "nowhere", "--at", "36.3,-84.2"], "site: there is no site 'nowhere'; one of summit,"),
        (["--site", "summit", "--at", "north"], "--at: cannot be 'north'"),
        (["--site", "summit", "--at", "36.3,-84.2", "--time-pct", "90"], "--time-pct: cannot be '90'"),
        (["--site", "summit", "--at", "36.3,-84.2", "--plot", "a.gif"], "--plot: cannot be a.gif"),
        (["--site", "summit", "--at", "36.3,-84.2", "--plot", "/no/such/a.svg"], "--plot: cannot write a.svg"),
        (["--site", "summit", "--at", "36.3,-84.2", "--rx-height-m", "0.2"], "rx_height_m must be from 1 to 3000 m"),
    ],
)
def test_what_cannot_be_used_is_refused(capsys: pytest.CaptureFixture[str], arguments: list[str], text: str) -> None:
    """A line for each mistake on stderr, and exit code 2."""
    code, _, err = run(capsys, str(RIDGE), *arguments)

    assert 2 == code
    assert text in err


def test_a_missing_terrain_folder_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A document that names a folder which is not there is refused with the folder's name."""
    tree = json.loads(RIDGE.read_text(encoding="utf-8")) | {"terrain": {"folder": "dem"}}
    (tmp_path / "n.json").write_text(json.dumps(tree), encoding="utf-8")
    code, _, err = run(capsys, str(tmp_path / "n.json"), "--site", "summit", "--at", "36.3,-84.2")

    assert 2 == code
    assert "terrain: there is no folder" in err
