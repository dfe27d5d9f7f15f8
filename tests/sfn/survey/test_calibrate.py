"""Prediction minus measurement per site and sector."""

import numpy as np
import pytest

from sfn.field.shift import sector_shift
from sfn.survey.calibrate import calibrate, independent_n

SITES = ("main", "fill")


@pytest.fixture
def road() -> dict[str, np.ndarray]:
    """400 stretches round the main site: 5 dB too optimistic to the east, right elsewhere; 6 dB of spread."""
    rng = np.random.default_rng(1)
    bearing = np.linspace(0.0, 360.0, 400, endpoint=False)
    predicted = np.stack((np.full(400, 70.0), np.full(400, 40.0)))
    wrong = np.where(np.abs(bearing - 90.0) < 22.5, 5.0, 0.0)
    return {
        "measured": predicted[0] - wrong + 6.0 * rng.normal(size=400),
        "predicted": predicted,
        "bearing": np.stack((bearing, (bearing + 180.0) % 360.0)),
    }


def run(road: dict[str, np.ndarray], alone: str = "main", **options: object) -> object:
    """Calibrate with one site alone on air."""
    return calibrate(
        road["measured"], predicted_dbuvm=road["predicted"], bearing_deg=road["bearing"], sites=SITES,
        alone=[alone] * len(road["measured"]), **options,  # type: ignore[arg-type]
    )  # fmt: skip


def test_the_wrong_sector_is_found(road: dict[str, np.ndarray]) -> None:
    """East needs about -5 dB and is significant; the spread is that of the road; other sectors are near nought."""
    rows = {row.from_deg: row for row in run(road).sectors if row.site == "main"}

    assert 5.0 == pytest.approx(rows[67.5].difference_db, abs=2.0)
    assert rows[67.5].significant
    assert -rows[67.5].difference_db == rows[67.5].shift_db
    assert 6.0 == pytest.approx(rows[67.5].spread_db, abs=1.5)
    assert 50 == rows[67.5].stretches_n
    assert abs(rows[247.5].difference_db) < 3 * rows[247.5].uncertainty_db
    assert (337.5, 22.5) == (rows[337.5].from_deg, rows[337.5].to_deg)


def test_all_stretches_are_in_exactly_one_sector(road: dict[str, np.ndarray]) -> None:
    """The sectors of a site hold what the whole holds."""
    found = run(road, sectors_n=12)

    assert 400 == found.whole[0].stretches_n == sum(r.stretches_n for r in found.sectors if r.site == "main")
    assert 0 == found.whole[1].stretches_n
    assert any("fill: 0 stretches are too few" in p.what for p in found.problems)


def test_with_all_on_air_only_dominated_stretches_count(road: dict[str, np.ndarray]) -> None:
    """30 dB above the other the site is told; 5 dB above it is not, and that is said."""
    told = run(road, alone="")
    assert 400 == told.whole[0].stretches_n
    assert 400 == told.together_db[2]
    near = dict(road, predicted=np.stack((np.full(400, 70.0), np.full(400, 65.0))))
    found = run(near, alone="")

    assert 0 == found.whole[0].stretches_n
    assert (None,) * 400 == found.site
    assert "400 of 400 stretches were not used" in found.problems[0].what
    assert 70 + 10 * np.log10(1 + 10**-0.5) - float(np.mean(road["measured"])) == pytest.approx(found.together_db[0])


def test_places_that_are_not_covered_do_not_count(road: dict[str, np.ndarray]) -> None:
    """NaN prediction: the stretch is left out of the mean."""
    road["predicted"][0, :100] = np.nan

    assert 300 == run(road).whole[0].stretches_n


def test_neighbours_on_a_road_count_for_less() -> None:
    """White values are all independent; values repeated ten times are worth about a tenth."""
    values = np.random.default_rng(2).normal(size=200)

    assert 150 < independent_n(values) <= 200
    assert 8 < independent_n(np.repeat(values[:40], 10)) < 60
    assert 2.0 == independent_n([1.0, 2.0])


def test_shifts_join_smoothly_round_the_site() -> None:
    """At the centres the shift itself, half way the mean, across north too; unknown sectors are bridged."""
    shifts = [4.0, np.nan, -2.0, 0.0]

    assert [4.0, 1.0, -2.0, -1.0, 2.0] == sector_shift([0, 90, 180, 225, 315], shifts_db=shifts).tolist()
    assert [0.0] == sector_shift([10.0], shifts_db=[np.nan]).tolist()


def test_shapes_and_sectors_are_refused(road: dict[str, np.ndarray]) -> None:
    """The message tells the shape that would be right."""
    with pytest.raises(ValueError, match=r"predicted_dbuvm must have the shape \(2, 400\)"):
        run(dict(road, predicted=road["predicted"][:1]))
    with pytest.raises(ValueError, match="sectors_n must be from 1 to 72, got 0"):
        run(road, sectors_n=0)
