"""`contours`: areas at a level out of the command line, written, read again, and held against each other."""

import json
from pathlib import Path

import pytest

from sfn.cli import main
from sfn.field.licence import read_areas

RIDGE = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"
COMMON = ["contours", str(RIDGE), "--pixel-m", "400"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr."""
    code = main([*COMMON, *arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.mark.parametrize("ending", ["geojson", "kml"])
def test_contours_are_written_and_read_again(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    """The areas in the file are those of the answer; a file written here can serve as a licence, and all stay inside."""
    file = tmp_path / f"c.{ending}"
    code, out, _ = run(capsys, "--level-dbuvm", "60", "--site", "summit", "--out", str(file), "--json")
    found = json.loads(out)
    areas = read_areas(file.read_bytes())

    assert 0 == code
    assert ["summit"] == [one["site"] for one in found["sites"]]
    assert found["sites"][0]["areas"] == len(areas)
    assert found["sites"][0]["area_km2"] > 100.0
    _, out, _ = run(capsys, "--level-dbuvm", "75", "--site", "summit", "--licence", str(file), "--json")
    assert [(True, "licence")] == [(one["inside"], one["outer"]) for one in json.loads(out)["inside"]]


def test_fill_ins_are_held_against_the_main(capsys: pytest.CaptureFixture[str]) -> None:
    """Every other site is checked against the main's contour; where one reaches out it is said where and how far."""
    _, out, _ = run(capsys, "--level-dbuvm", "70", "--main", "summit", "--json")
    _, words, _ = run(capsys, "--level-dbuvm", "70", "--main", "summit")
    found = {one["site"]: one for one in json.loads(out)["inside"]}
    names = {"north": "North knob", "gap": "Long gap", "west": "West bench"}

    assert {"north", "gap", "west"} == set(found)
    for site, one in found.items():
        if one["inside"]:
            assert f"{names[site]} stays inside the contour of Summit" in words
            assert 0.0 == one["outside_km2"]
        else:
            assert f"{names[site]} reaches out of the contour of Summit by" in words
            assert one["farthest_m"] > 0


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (["--level-dbuvm", "400"], "--level-dbuvm: cannot be 400; -20 to 150 dBuV/m"),
        (["--level-dbuvm", "60", "--site", "x"], "there is no site 'x'; one of summit, north"),
        (["--level-dbuvm", "60", "--out", "a.shp"], "--out: cannot be a.shp"),
        (["--level-dbuvm", "60", "--licence", "/no/such"], "--licence: cannot be read"),
        (["--level-dbuvm", "60", "--bounds", "1,2"], "--bounds: cannot be '1,2'"),
        (["--level-dbuvm", "149", "--main", "summit"], "summit: reaches this level nowhere"),
    ],
)
def test_what_cannot_be_used_is_refused(capsys: pytest.CaptureFixture[str], arguments: list[str], text: str) -> None:
    """One line on stderr and exit code 2."""
    code, _, err = run(capsys, *arguments)

    assert 2 == code
    assert text in err


def test_a_licence_elsewhere_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A licence contour that does not touch the area is refused: nothing can be said about it."""
    square = [[8.0, 47.0], [8.1, 47.0], [8.1, 47.1], [8.0, 47.0]]
    file = tmp_path / "l.geojson"
    file.write_text(json.dumps({"type": "Polygon", "coordinates": [square]}))
    code, _, err = run(capsys, "--level-dbuvm", "60", "--licence", str(file))

    assert 2 == code
    assert "licence: has no part in the area" in err
