"""The zones command writes what it says it writes."""

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio

from sfn.cli import main
from tests.sfn.networks import EXAMPLE_PATH


def test_files_answer_and_summary_agree(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every layer named is a GeoTIFF of the pixel and bounds named; NaN where not covered; lines in GeoJSON."""
    arguments = [
        "zones",
        str(EXAMPLE_PATH),
        "--out",
        str(tmp_path / "zones"),
        "--pixel-m",
        "400",
        "--bounds",
        "36.18,-84.28,36.40,-84.14",
    ]
    assert main([*arguments, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    names = [layer["name"] for layer in answer["layers"]]
    assert {"strongest_site", "level_difference_db", "delay_difference_us", "delay_spread_us"} <= set(names)
    for layer in answer["layers"]:
        with rasterio.open(layer["file"]) as file:
            assert file.dtypes == ("float32",)
            assert np.isnan(file.nodata)
            assert file.units == (layer["unit"],)
            assert file.crs.to_epsg() == 3857
            values = file.read(1)
        if layer["name"] == "level_difference_db":
            assert np.nanmax(values) <= 0
    assert answer["pixel_m"] == pytest.approx(400, rel=1e-3)
    assert answer["overlap"]["area_km2"] > 0
    assert answer["spoken_km2"] == pytest.approx(sum(one["area_km2"] for one in answer["classes"]))
    assert answer["overlap"]["area_km2"] <= answer["spoken_km2"] + 1e-6 <= answer["shown_km2"] + 2e-6
    assert answer["overlap"]["people"] is None
    spread = answer["overlap"]["delay_spread_us"]
    assert 0 <= spread["median"] <= spread["p90"] <= spread["max"]
    lines = json.loads(Path(answer["lines"]).read_text(encoding="utf-8"))
    assert {"equal-delay", "equal-signal"} == {feature["properties"]["kind"] for feature in lines["features"]}


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        (["--pixel-m", "1"], "pixel_m: 1 m makes"),
        (["--bounds", "1,2,3"], "--bounds: cannot be '1,2,3'"),
        (["--bounds", "40,-84,36,-80"], "bounds: south 40 and north 36"),
    ],
)
def test_an_impossible_area_is_refused_in_words(
    extra: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line a problem."""
    assert main(["zones", str(EXAMPLE_PATH), "--out", str(tmp_path), *extra]) == 2
    assert said in capsys.readouterr().err


def test_what_the_terrain_does_not_cover_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half of the area lies beyond the terrain: its size stands in the answer and under the table, inside all is known."""
    ridge = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"
    arguments = ["zones", str(ridge), "--out", str(tmp_path / "zones"), "--pixel-m", "500", "--bounds"]
    main([*arguments, "36.20,-84.40,36.40,-83.80", "--json"])
    answer = json.loads(capsys.readouterr().out)
    whole_km2 = 0.2 * 110.95 * 0.6 * 89.9
    beyond_km2 = whole_km2 * (84.078 - 83.80) / 0.6

    assert answer["uncovered_km2"] == pytest.approx(beyond_km2, rel=0.03)
    assert answer["uncovered_counted_km2"] == pytest.approx(0.0, abs=1.0)
    main([*arguments, "36.20,-84.40,36.40,-83.80"])
    assert "not covered by the terrain at the place on " in capsys.readouterr().out
    main([*arguments, "36.20,-84.40,36.40,-84.10", "--json"])
    assert json.loads(capsys.readouterr().out)["uncovered_km2"] == 0.0
