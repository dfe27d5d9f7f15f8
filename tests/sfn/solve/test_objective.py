"""The objective is the reception of the map, and symmetrical where the network is."""

import numpy as np
import pytest

from sfn.reception.quality import service_quality
from sfn.solve.objective import along, objective, quality_totals, score
from tests.sfn.solve.problems import FREQUENCIES, US_PER_KM, drawn, made


@pytest.mark.parametrize("service", ["fm-stereo", "dab-mode-1", "8-vsb"])
def test_the_packed_objective_equals_the_quality_of_the_map(service: str) -> None:
    """Totals over packed places and constants are those of `service_quality` at the same arrivals."""
    rng = np.random.default_rng(3)
    sites, points = rng.uniform(0, 60, (5, 2)), rng.uniform(0, 60, (3000, 2))
    what = made(sites, points, service=service, near_dbuvm=120.0)
    apart = np.linalg.norm(sites[:, None, :] - points[None, :, :], axis=2)
    level = 120.0 - 50.0 * np.log10(np.maximum(apart, 0.5))
    for offsets in rng.uniform(-40, 40, (3, 5)):
        ours = score(what, offsets)
        quality = service_quality(
            level,
            apart * US_PER_KM + offsets[:, None],
            what.yard,
            frequency_mhz=FREQUENCIES[service],
            level_1pct_dbuvm=level + 1.0,
        )
        whole = quality_totals(quality, what.weight, np.ones(3000, bool))
        # OFDM and VSB leave out signals worth 0.013 dB: a place in a thousand may change its class
        few = 0 if service == "fm-stereo" else 3
        assert abs(whole[0] - ours.without_service) <= few
        assert abs(whole[1] - ours.below_target) <= few
        assert -whole[2] / what.usable_weight == pytest.approx(ours.minus_mean_margin_db, abs=13e-3 if few else 2e-3)


@pytest.mark.parametrize("moved_n", [1, 2, 5])
@pytest.mark.parametrize(("service", "reach_us"), [("fm-stereo", 40.0), ("dab-mode-1", 400.0), ("8-vsb", 40.0)])
def test_moving_along_a_line_equals_scoring_each_place(service: str, reach_us: float, moved_n: int) -> None:
    """The incremental evaluation and the whole one agree, one site or several moved, far and near, there and back."""
    rng = np.random.default_rng(5)
    what = drawn(rng, sites=6, points=2000, service=service, near_dbuvm=120.0, side_km=100.0)
    offsets = np.round(rng.uniform(-reach_us, reach_us, 6))
    moved = np.isin(np.arange(6), rng.choice(6, moved_n, replace=False))
    shifts = np.concatenate([np.linspace(-2, 2, 30) * reach_us, [-1.0, 0.0, 4.5]])

    found = along(what, offsets, moved, shifts)
    for k, shift in enumerate(shifts):
        one = score(what, offsets + np.where(moved, shift, 0.0))
        expected = [one.without_service, one.below_target, one.minus_mean_margin_db]
        np.testing.assert_allclose(found[k], expected, rtol=0, atol=1e-5)


def test_a_hexagon_has_one_objective_under_its_symmetries() -> None:
    """Turned by sixty degrees with its offsets, and mirrored, a symmetric network scores the same."""
    angles = np.radians(np.arange(6) * 60)
    sites = np.vstack([[[0.0, 0.0]], 25 * np.column_stack([np.cos(angles), np.sin(angles)])])
    rng = np.random.default_rng(2)
    sixth = rng.uniform(-20, 20, (150, 2))

    def turned(points: np.ndarray, by: float) -> np.ndarray:
        c, s = np.cos(by), np.sin(by)
        return points @ np.array([[c, s], [-s, c]])

    whole = np.vstack([turned(sixth, a) for a in angles])
    points = np.vstack([whole, whole * [1.0, -1.0]])
    what = made(sites, points, decade_db=60.0)
    offsets = np.array([0.0, 5, -3, 8, 11, -6, 2])
    same = score(what, offsets)

    assert 0 < same.without_service < what.weight.sum()
    ring = offsets[1:]
    for other in (np.roll(ring, 1), np.roll(ring, 4), ring[[0, 5, 4, 3, 2, 1]]):
        turned_score = score(what, np.concatenate([[0.0], other]))
        # the float32 table row of an echo may fall either side of a threshold: a place of 1800
        assert turned_score.without_service == pytest.approx(same.without_service, abs=1.0)
        assert turned_score.minus_mean_margin_db == pytest.approx(same.minus_mean_margin_db, abs=1e-3)


def test_only_differences_of_offsets_count() -> None:
    """The same shift of every site changes nothing."""
    what = drawn(np.random.default_rng(8), sites=4, points=500)
    offsets = np.array([0.0, 5, -3, 8])

    assert score(what, offsets) == score(what, offsets + 64.0)


def test_weights_must_be_weights() -> None:
    """A negative weight is refused by name."""
    what = drawn(np.random.default_rng(8), sites=2, points=3)
    nothing = np.zeros((2, 3))
    with pytest.raises(ValueError, match="weight must be 3 finite numbers of 0 or more"):
        objective("ab", nothing, nothing, nothing, what.yard, frequency_mhz=98.0, weight=-np.ones(3), unit="people")
