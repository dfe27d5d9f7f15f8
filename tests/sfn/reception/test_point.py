"""One place judged: who is wanted, who hurts, and what really mends it."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sfn.answer.point import document
from sfn.plan import Network
from sfn.reception.classes import CLASSES, UPSET, WITH_MARGIN
from sfn.reception.point import PointQuality, point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.study.point import judged, point_signals
from sfn.systems.fm_answer import fm_answer
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


@pytest.mark.parametrize("significant_db", [35.0, 60.0, 6.0])
def test_verdict_table_and_what_hurts_count_the_same_signals(significant_db: float) -> None:
    """Places drawn between the sites: FM's verdict is that of all signals in the table, whatever limit is set in the
    document, which says who is significant; who hurts is significant, or decides the class and is then named too.
    """

    def change(tree: dict[str, Any]) -> None:
        tree["sites"][1].update(erp_kw={"h": 3, "v": 3})
        tree.setdefault("thresholds", {})["significant_db"] = significant_db

    network = example(change)
    yard = yardstick(network)
    rng = np.random.default_rng(3)
    left_out = 0
    for lat_deg, lon_deg in zip(rng.uniform(36.2, 36.4, 12), rng.uniform(-84.4, -84.1, 12), strict=True):
        found = point_signals(network, lat_deg=lat_deg, lon_deg=lon_deg)
        quality = point_quality(network, found, yard)
        assert quality is not None
        heard = [s for s in found.signals if s.significant]
        left_out += len(found.signals) - len(heard)
        every = [s.level_dbuvm for s in found.signals], [s.delay_difference_us for s in found.signals]
        alone = fm_answer(*every)["stereo"]
        assert quality.answer["stereo"] == alone
        assert quality.figure_db == pytest.approx(alone["snr_local_db"], abs=0.05)
        if quality.hurts_place is not None:
            assert with_verdict(found, quality).signals[quality.hurts_place].significant
        assert all(s.level_difference_db >= -significant_db for s in heard)
    assert left_out > 0 or significant_db > 6.0


def test_a_weak_signal_that_upsets_an_ofdm_place_counts_there() -> None:
    """Outside the guard interval and further down than signals count, yet what upsets: it counts, and the spread with it."""
    network = example(lambda tree: tree.update(service="dab-mode-1", frequency_mhz=223.936))
    found = point_signals(network, **PLACE)
    quality = point_quality(network, found, yardstick(network))
    assert quality is not None
    weak = replace(found, signals=tuple(replace(s, significant=k == 0) for k, s in enumerate(found.signals)))
    upset = with_verdict(weak, replace(quality, class_name=CLASSES[UPSET], hurts_place=2))

    assert [s.significant for s in upset.signals] == [True, False, True]
    assert upset.delay_spread_us == pytest.approx(abs(found.signals[2].delay_difference_us))
    assert with_verdict(weak, replace(quality, hurts_place=2)).signals == weak.signals
