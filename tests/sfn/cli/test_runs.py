"""The command runs: one answer a road, every key in the help."""

import json
from pathlib import Path

import numpy as np
import pytest

from sfn.cli import main
from tests.sfn.networks import EXAMPLE_PATH


def drive(path: Path, mark: int, *, lon: float = -84.21) -> Path:
    """A road of 3 km north, a mark every 122 m."""
    lat = 36.28 + np.arange(0, 3000, 122) / 111_320
    path.write_text("Lat,Lon,Mark\n" + "".join(f"{a:.6f},{lon},{mark}\n" for a in lat), encoding="utf-8")
    return path


def test_two_roads_are_two_answers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each with one best setting all the way; a run that no other drove is named."""
    files = [drive(tmp_path / "a.csv", 5), drive(tmp_path / "b.csv", 2), drive(tmp_path / "c.csv", 2, lon=-84.3),
             drive(tmp_path / "d.csv", 4, lon=-84.3), drive(tmp_path / "e.csv", 4, lon=-84.4)]  # fmt: skip
    runs = [text for k, path in enumerate(files) for text in ("--run", f"{-2 if k % 2 else 2}:{path}")]
    assert 0 == main(["runs", str(EXAMPLE_PATH), *runs, "--json"])
    answer = json.loads(capsys.readouterr().out)

    assert [[2.0], [-2.0]] == [[part["best_us"] for part in one["parts"]] for one in answer["routes"]]
    assert ["run-without-another"] == [p["code"] for p in answer["problems"]]
    assert ["e.csv"] == [p["where"] for p in answer["problems"]]
    assert 0 == main(["runs", str(EXAMPLE_PATH), *runs])
    assert 2 == capsys.readouterr().out.count("best setting us")
    with pytest.raises(SystemExit):
        main(["runs", "--help"])
    text = " ".join(capsys.readouterr().out.split())
    one = answer["routes"][0]
    keys = {*answer, *one, *one["runs"][0], *one["parts"][0], *one["stretches"][0], *answer["logs"][0]}
    assert [] == sorted(key for key in keys if f"`{key}`" not in text)
