"""The overlap layers equal the plain definition at every pixel."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.reception.area import overlap, overlap_summary
from sfn.reception.classes import TOO_WEAK, UPSET
from sfn.reception.quality import service_quality, yardstick
from sfn.reception.significance import Criteria, delay_spread, significant
from tests.sfn.networks import example

FM = Criteria(54.0, "test", 20.0, float("nan"), 6.0)
OFDM = Criteria(40.0, "test", 15.0, 246.0, 6.0)


@pytest.mark.parametrize("counts", [FM, OFDM], ids=["fm", "ofdm"])
@pytest.mark.parametrize("sites", [1, 2, 7])
def test_layers_equal_the_definition(counts: Criteria, sites: int) -> None:
    """The fast loop and the plain arrays say the same, in threads too."""
    rng = np.random.default_rng(sites)
    level = rng.normal(55, 15, (sites, 70_000)).astype(np.float32)
    level[rng.random(level.shape) < 0.2] = np.nan
    arrival = rng.normal(0, 300, level.shape)
    with ThreadPoolExecutor(2) as executor:
        found = overlap(level, arrival, counts=counts, executor=executor)
    order = np.argsort(np.where(np.isnan(level), np.inf, -level), axis=0, kind="stable")
    levels = np.take_along_axis(level, order, axis=0)
    covered = levels[0] >= counts.usable_dbuvm
    counted = significant(level.astype(float), arrival, significant_db=counts.significant_db, guard_us=counts.guard_us)
    zone = covered & (counted.sum(axis=0) >= 2)

    np.testing.assert_array_equal(np.where(covered, order[0], np.nan), found.strongest)
    np.testing.assert_allclose(found.delay_spread_us, np.where(zone, delay_spread(arrival, counted), np.nan), rtol=1e-6)
    if sites > 1:
        both = covered & np.isfinite(levels[1])
        np.testing.assert_allclose(found.level_difference_db, np.where(both, levels[1] - levels[0], np.nan), atol=1e-4)
        arrivals = np.take_along_axis(arrival, order, axis=0)
        np.testing.assert_allclose(
            found.delay_difference_us, np.where(zone, arrivals[1] - arrivals[0], np.nan), rtol=1e-5, atol=1e-4
        )


def test_the_summary_weighs_by_area() -> None:
    """Quantiles of the spread count square kilometres, not pixels."""
    level = np.full((2, 4), 60.0, dtype=np.float32)
    arrival = np.array([[0.0, 0, 0, 0], [1.0, 2, 3, 4]])
    summary = overlap_summary(
        overlap(level, arrival, counts=FM),
        np.array([1.0, 1.0, 1.0, 7.0]),
        near_db=35.0,
        people=np.array([1.0, 2, 3, 4]),
    )

    assert (10.0, 4.0, 4.0, 4.0, 10.0) == (
        summary.area_km2,
        summary.median_us,
        summary.p90_us,
        summary.max_us,
        summary.people,
    )


def test_no_zone_is_said_and_not_zero() -> None:
    """Where nothing overlaps there is no median."""
    level = np.array([[60.0], [10.0]], dtype=np.float32)
    summary = overlap_summary(overlap(level, np.zeros((2, 1)), counts=FM), np.ones(1), near_db=35.0)

    assert (0.0, None) == (summary.area_km2, summary.median_us)


def test_arrays_of_different_shapes_are_refused() -> None:
    """The message gives both shapes."""
    with pytest.raises(ValueError, match=r"one shape \(S, M\), got \(1, 2\) and \(2, 2\)"):
        overlap(np.zeros((1, 2), dtype=np.float32), np.zeros((2, 2)), counts=FM)


@pytest.mark.parametrize("service_id", ["fm-stereo", "dab-mode-1", "8-vsb"])
def test_every_place_that_is_upset_lies_in_the_overlap_zone(service_id: str) -> None:
    """Class area and overlap area do not contradict each other, nor does "too weak" lie in the zone."""
    rng = np.random.default_rng(5)
    frequency_mhz = {"fm-stereo": 98.3, "dab-mode-1": 223.936, "8-vsb": 575.0}[service_id]
    yard = yardstick(example(lambda tree: tree.update(service=service_id, frequency_mhz=frequency_mhz)))
    level = (yard.counts.usable_dbuvm + rng.normal(8, 14, (6, 4000))).astype(np.float32)
    arrival = rng.uniform(0, 900 if service_id == "dab-mode-1" else 80, (6, 4000))
    quality = service_quality(level, arrival, yard, frequency_mhz=frequency_mhz)
    zone = np.isfinite(overlap(level, arrival, counts=yard.counts, quality=quality).delay_spread_us)

    upset = quality.quality_class == UPSET
    assert upset.sum() > 100
    assert zone[upset].all()
    assert not zone[quality.quality_class == TOO_WEAK].any()
