"""``placing``: every key in its help, what it prints, and what it refuses."""

import json
from pathlib import Path

import pytest

from sfn.cli import main
from sfn.country.sets import tile_named
from sfn.country.shelf import FOLDER, Shelf
from tests.sfn.cli.test_keys_in_help import unspoken
from tests.sfn.country.small_tiles import places_line, write_places
from tests.sfn.networks import EXAMPLE_PATH

DEMO = "demo_sites/fm_ridge.json"
FEED = 'name,position,ground_m,antenna_m,erp_kw,feed_us\nQuarry,"36.29000, -84.33000",700,30,2,90000\n'
MASTS = FEED + 'Tower,"36.33000, -84.12000",500,30,0.5,\n'


@pytest.fixture
def masts(tmp_path: Path) -> str:
    """A file of two."""
    path = tmp_path / "masts.csv"
    path.write_text(MASTS)
    return str(path)


def test_every_key_stands_in_its_help(masts: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With drawn worlds, a licence contour, a pattern, gains and losses."""
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    around = [[36.0, -84.4], [36.0, -84.3], [36.1, -84.3]]
    tree["may_change"] = {"licences": [{"name": "Border", "level_dbuvm": 40, "area": around}]}
    tree["listeners"] = {"places": [{"name": "Town", "lat": 36.29, "lon": -84.30, "people": 9000}]}
    network = tmp_path / "network.json"
    network.write_text(json.dumps(tree))
    asked = ["placing", str(network), "--masts", masts, "--pixel-m", "1000", "--worlds", "20"]

    assert unspoken(asked, capsys) == []
    assert main([*asked, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    first, second = answer["masts"]
    assert answer["ended"] == "all"
    assert first["gain"] == pytest.approx(first["gained"] - first["lost"], abs=1e-6)
    assert first["gain"] >= second["gain"]
    assert first["more_than_next"] == pytest.approx(first["gain"] - second["gain"])
    assert second["more_than_next"] is None
    assert {one["name"] for one in answer["masts"]} == {"Quarry", "Tower"}
    fed = next(one for one in answer["masts"] if one["name"] == "Quarry")
    assert fed["added_us"] == pytest.approx(fed["launch_us"] - 90_000.0, abs=1e-6)
    assert fed["settings"]
    assert next(one for one in answer["masts"] if one["name"] == "Tower")["added_us"] is None
    assert first["reaches_out_of"][0]["licence"] == "Border"
    assert answer["today_sure"]["served_as_predicted"] == pytest.approx(answer["served_now"])


def test_high_ground_is_printed_with_how_it_was_found(capsys: pytest.CaptureFixture[str]) -> None:
    """Over the ridge country, near a town by its name: what was left out, the doubts, and no worlds."""
    line = f"placing {DEMO} --high-ground --near Jacksboro --within-km 8 --apart-km 1.5 --most 2 --antenna-m 30 "
    assert main([*line.split(), "--erp-kw", "0.1", "--pixel-m", "800", "--worlds", "0"]) == 0
    said = capsys.readouterr().out

    assert "do not see Jacksboro over the bare ground" in said
    assert "High ground 1" in said
    assert "nobody has looked at" in said
    assert "a new transmitter needs a licence of its own" in said
    assert "no worlds were drawn" in said


def test_high_ground_sees_a_place_that_was_fetched(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A name of the list that `country` brought, which counts nobody; without it the name is no place."""
    monkeypatch.setenv("SFN_DELAYS_DATA", str(tmp_path))
    line = ["placing", str(DEMO), *"--high-ground --within-km 8 --most 1 --antenna-m 30 --erp-kw 0.1".split()]
    line += ["--near", "Old Mill", "--pixel-m", "800", "--worlds", "0"]
    assert main(line) == 2
    assert "'Old Mill' is no place here" in capsys.readouterr().err
    tile, shelf = tile_named("names", "cities500.zip"), Shelf(tmp_path / FOLDER)
    assert tile is not None
    shelf.part(tile).parent.mkdir(parents=True)
    made = write_places(tmp_path, [places_line("Old Mill", 36.3, -84.2, 900)])
    shelf.keep(tile, made.rename(shelf.part(tile)), source="the tests")
    assert main(line) == 0
    assert "see Old Mill over the bare ground" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ([], "--masts: is missing, and so is --high-ground"),
        (["--masts", "FILE", "--high-ground"], "--masts: stands beside --high-ground"),
        (["--masts", "FILE", "--near", "Town"], "--near: does nothing with --masts"),
        (["--high-ground", "--antenna-m", "30"], "erp_kw: is lacking"),
        (["--high-ground", "--antenna-m", "30", "--erp-kw", "0.1", "--near", "Nowhere at all"], "is no place here"),
        (["--high-ground", "--antenna-m", "30", "--erp-kw", "1", "--within-km", "3"], "within_km: does nothing"),
        (["--masts", "FILE", "--azimuth-step-deg", "0"], "--azimuth-step-deg: cannot be 0"),
        (["--masts", "FILE", "--like", "gap"], "gap is no site that a new one can be like"),
        (["--masts", "FILE", "--patterns", "north"], "north is no site that has a pattern"),
        (["--masts", "FILE", "--erp-kw", "0"], "erp_kw: cannot be 0 kW"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    more: list[str], said: str, masts: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """In one line each, exit code 2."""
    given = [masts if one == "FILE" else one for one in more]

    assert main(["placing", str(EXAMPLE_PATH), "--pixel-m", "2000", *given]) == 2
    assert said in capsys.readouterr().err
