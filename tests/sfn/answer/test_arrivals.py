"""One recording of I and Q in the overlap: arrivals given to sites, and rows that `reconcile` takes."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sfn.cli import main
from sfn.plan.sheets import read_sheet
from sfn.study.echoes import HEAD
from sfn.study.point import point_signals
from sfn.survey.measurements import understood
from tests.sfn.networks import EXAMPLE_PATH, example
from tests.sfn.survey.arrivals import made_at_rf as made

LAT_DEG, LON_DEG, LATE_US = 36.28, -84.15, 3.0


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    """What a receiver between the example's sites records when south launches 3 us late; the composite beside it."""
    signals = point_signals(example(), lat_deg=LAT_DEG, lon_deg=LON_DEG).signals
    first_us = min(s.arrival_us for s in signals)
    late = {"south": LATE_US}
    arrivals = [
        (s.arrival_us - first_us + late.get(s.site, 0.0), s.level_difference_db, 1.0 + k) for k, s in enumerate(signals)
    ]
    reference, z = made.recorded(arrivals, seed=8, snr_db=45.0)
    soundfile.write(tmp_path / "composite.wav", reference, made.REFERENCE_HZ, subtype="FLOAT")
    meta = {"global": {"core:datatype": "ci16_le", "core:sample_rate": made.RATE_HZ, "core:version": "1.2.0"}}
    (tmp_path / "overlap.sigmf-meta").write_text(json.dumps(meta), encoding="utf-8")
    z = z / np.max(np.abs(z)) * 30_000
    np.column_stack((z.real, z.imag)).round().astype("<i2").tofile(tmp_path / "overlap.sigmf-data")
    return tmp_path / "overlap.sigmf-meta", tmp_path / "composite.wav"


def test_one_recording_gives_rows_of_several_sites(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """South's three microseconds stand in its row against the strongest, within its interval."""
    options = ["--deviation-khz", str(made.DEVIATION_HZ / 0.7e3), "--search-us", "2000"]
    at = ["--network", str(EXAMPLE_PATH), "--at", f"{LAT_DEG},{LON_DEG}"]
    assert 0 == main(["arrivals", *map(str, files), *options, *at, "--json"])

    answer = json.loads(capsys.readouterr().out)
    assert "iq" == answer["kind"]
    text = "\n".join([answer["measurements_head"], *answer["measurements"]])
    assert ",".join(HEAD) == answer["measurements_head"]
    table = understood(read_sheet(text.encode(), source="rows"), {s.id: s.name for s in example().sites})
    assert () == table.refused
    planned = {s.site: s.arrival_us for s in point_signals(example(), lat_deg=LAT_DEG, lon_deg=LON_DEG).signals}
    late = {"south": LATE_US}
    rows = table.measurements
    assert "south" in {r.site for r in rows} | {r.reference_site for r in rows}
    for row in rows:
        truth_us = (
            planned[row.site]
            + late.get(row.site, 0.0)
            - planned[row.reference_site]
            - late.get(row.reference_site, 0.0)
        )
        assert abs(row.delay_difference_us - truth_us) < 1.96 * row.uncertainty_us
        assert 0 < row.shared_uncertainty_us < row.uncertainty_us < 1.0
    assert 1 == len({r.response for r in rows})


def test_a_place_without_a_network_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both or neither, in one line."""
    assert 2 == main(
        ["arrivals", str(tmp_path / "a.wav"), str(tmp_path / "b.wav"), "--deviation-khz", "75", "--at", "1,2"]
    )

    assert "--network and --at together, or neither" in capsys.readouterr().err
