"""One place judged: who is wanted, who hurts, and what really mends it."""

from typing import Any

import pytest

from sfn.answer.point import document, judged, point_signals
from sfn.plan import Network
from sfn.reception.point import PointQuality, point_quality
from sfn.reception.quality import CLASSES, WITH_MARGIN, yardstick
from sfn.timing import delay_table
from tests.sfn.networks import example

PLACE = {"lat_deg": 36.283, "lon_deg": -84.228}


def quality_at(network: Network) -> PointQuality:
    """Quality at a place between north and south."""
    found = point_quality(network, point_signals(network, **PLACE), yardstick(network))
    assert found is not None
    return found


def two_sites(offset_us: float) -> Network:
    """North and south alone, with fine delay fields, south at an offset."""

    def change(tree: dict[str, Any]) -> None:
        tree["sites"] = tree["sites"][:2]
        tree["sites"][1].update(offset_us=offset_us, erp_kw={"h": 3, "v": 3}, ground_m=850, antenna_m=60)

    return example(change)


def test_a_fix_that_is_promised_comes_true() -> None:
    """Applying the offset that is said to bring the point to target brings it there."""
    before = quality_at(two_sites(20.0))
    assert CLASSES[WITH_MARGIN] != before.class_name
    fix = before.fixes[0]
    assert fix.reaches_target
    assert (before.hurts is not None, fix.site) == (True, "south")

    after = quality_at(two_sites(20.0 + fix.change_us))
    assert CLASSES[WITH_MARGIN] == after.class_name
    assert after.margin_db == pytest.approx(fix.margin_db, abs=0.3)


def test_a_held_site_is_not_proposed() -> None:
    """The north's offset is held: only the south may be asked to move."""
    assert {"south"} == {fix.site for fix in quality_at(two_sites(20.0)).fixes}


def test_the_answer_carries_quality_beside_the_signals() -> None:
    """Keys that scripts read, next to the raw level and delay differences."""
    network = two_sites(20.0)
    found = point_signals(network, **PLACE)
    answer = document(found, quality_at(network))["quality"]

    assert {"class", "quality_margin_db", "wanted", "hurts", "fixes", "answer"} <= set(answer)
    assert {"snr_median_db", "snr_mean_db", "snr_decile_db", "snr_local_db"} <= set(answer["answer"]["stereo"])


def test_pictures_of_an_ofdm_point_show_the_guard_interval() -> None:
    """The band of the stems is as long as the guard interval on the delay scale."""
    network = example(lambda tree: tree.update(service="dab-mode-1", frequency_mhz=223.936))
    found = judged(network, point_signals(network, **PLACE), delay_table(network))

    assert found.stems is not None
    assert found.stems.band_from_ratio is not None
    assert found.stems.band_to_ratio is not None
    assert 0 <= found.stems.band_from_ratio < found.stems.band_to_ratio <= 1
    assert len(found.stems.stems) == 3
