"""Two figures with the same words say which is which; the level said to divide "too weak" from "upset" does divide."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from sfn.answer.point import document as point_document
from sfn.answer.road_document import document as road_document
from sfn.answer.zones import document
from sfn.check import all_problems
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.class_says import class_says
from sfn.reception.classes import BY_MEDIANS, BY_WORDS, DRAWN, QUICK, TOO_WEAK, UPSET, WITH_MARGIN
from sfn.reception.coverage import coverage
from sfn.reception.listeners import listeners
from sfn.reception.quality import service_quality, too_weak_below_dbuvm, yardstick
from sfn.report.stamp import stamp
from sfn.study.point import judged, point_signals
from sfn.study.road_plan import line, on_line
from sfn.study.what_if import WhatIf
from sfn.study.zones import Zones, zones
from sfn.survey.track import track_of
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from sfn.units import THIN
from tests.sfn.networks import example

DEMOS = Path(__file__).parents[3] / "demo_sites"
T2, VSB = "dvb-t2-32k-19/128-pp2-8mhz", "8-vsb"
# Typed here: one signal needs 20 dB in that mode, levels spread by 5.5 dB, and 0.5244 deviations serve 70 %.
RICE_DB, SPREAD_DB, DEVIATIONS = 20.0, 5.5, 0.5244


def test_the_level_said_divides_too_weak_from_upset() -> None:
    """Two equal T2 signals 2 ms apart, 0.1 dB below and above it."""
    yard = yardstick(example(lambda tree: tree.update(service=T2, frequency_mhz=600.0)))
    said = too_weak_below_dbuvm(yard, frequency_mhz=600.0)
    noise = noise_field_dbuvm(yard.carried, frequency_mhz=600.0)
    assert said == pytest.approx(noise + RICE_DB + DEVIATIONS * SPREAD_DB, abs=0.01)
    levels = np.array([[said - 0.1, said + 0.1]] * 2)
    made = service_quality(levels, np.array([[0.0] * 2, [2000.0] * 2]), yard, frequency_mhz=600.0)
    assert made.quality_class.tolist() == [TOO_WEAK, UPSET]


@pytest.mark.parametrize(("service", "frequency_mhz"), [("fm-stereo", 98.3), (T2, 600.0)])
def test_a_map_says_what_its_classes_are_and_what_divides_them(service: str, frequency_mhz: float) -> None:
    """FM names its classes the quick estimate beside the drawn listeners; T2 says the level that is not the usable one."""
    network = example(lambda tree: tree.update(service=service, frequency_mhz=frequency_mhz))
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(
            network, grid_for((36.25, -84.30, 36.35, -84.15), pixel_m=4000.0), placed=place(network),
            ground=Ground(), executor=executor,
        )  # fmt: skip
    found = zones(network, computed, delay_table(network).launches())
    answer = document(found, {})
    assert "quick estimate" in answer["classes_say"]
    if service == "fm-stereo":
        assert answer["too_weak_says"] is None
        assert answer["too_weak_below_dbuvm"] == answer["usable_dbuvm"]
        point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
        quality = point_document(point, judged(network, point, delay_table(network)).quality)["quality"]
        assert quality["class_by_drawn_shares"] == quality["people_class"]
        assert quality["classes_by"] == "drawn shares"
        assert quality["for_people"].startswith(quality["class_by_drawn_shares"])
        assert "searches, and a map whose delays are being tried, go by the quick estimate" in quality["classes_say"]
    else:
        assert answer["too_weak_below_dbuvm"] < answer["usable_dbuvm"]
        assert f"below {answer['too_weak_below_dbuvm']:.1f}" in answer["too_weak_says"]
        assert "not served and has its strongest signal below" in answer["too_weak_says"]


def test_several_weak_signals_serve_below_the_level_that_is_said() -> None:
    """Six equal T2 signals within the guard interval, each 2 dB under it, carry 7.8 dB more together: with margin."""
    yard = yardstick(example(lambda tree: tree.update(service=T2, frequency_mhz=600.0)))
    said = too_weak_below_dbuvm(yard, frequency_mhz=600.0)
    levels = np.full((6, 1), said - 2.0)
    made = service_quality(levels, 5.0 * np.arange(6.0)[:, None], yard, frequency_mhz=600.0)
    assert made.quality_class[0] == WITH_MARGIN


def test_a_positive_margin_alone_is_not_service_and_the_rule_says_so() -> None:
    """Two signals of which the second lies far outside the guard: margin 1 dB at the medians, yet half the places fail."""
    network = example(lambda tree: tree.update(service=T2, frequency_mhz=600.0))
    yard = yardstick(network)
    made = service_quality(np.array([[80.0], [80.0 - 21.3]]), np.array([[0.0], [3000.0]]), yard, frequency_mhz=600.0)
    assert 0.0 < made.margin_db[0] < 3.0
    assert made.quality_class[0] == UPSET
    assert made.probability is not None
    assert made.probability[0] < 0.70
    rule = class_says(network, yard).rule
    assert "low margin from 70 %" in rule
    assert "a positive one alone is not service" in rule


def test_what_the_document_says_of_spread_and_window_stands_beside_the_class() -> None:
    """3 dB and no correlation, window by "first": with the figures, at the point, on the map and along a road."""
    network = example(
        lambda tree: tree.update(
            service=T2,
            frequency_mhz=600.0,
            levels={"sigma_db": 3, "site_correlation": 0.0},
            receiver={"height_m": 10, "antenna": "roof", "window": {"strategy": "first", "backoff_us": 20}},
        )
    )
    says = class_says(network, yardstick(network))
    for said in ("3 dB (set in this network)", "correlated by 0 (set in this network"):
        assert said in says.spread
    assert says.window.startswith("first (back-off 20.0")
    point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
    quality = point_document(point, judged(network, point, delay_table(network)).quality)["quality"]
    assert quality["levels_spread_say"] == says.spread
    assert quality["receiver_window"] == says.window
    assert quality["class_rule"] == says.rule
    assert 0.0 <= quality["coverage_probability_quick"] <= 1.0
    share = quality["coverage_probability"]
    served = quality["class"] in ("with margin", "just enough")
    assert served == (share >= 0.70 and quality["quality_margin_db"] >= 0)
    track = track_of([(36.30, -84.20), (36.31, -84.20)], source="test")
    answer = road_document(on_line(network, line(network, track, spacing_m=500.0, folder=DEMOS), WhatIf()))
    assert (answer["levels_spread_say"], answer["receiver_window"]) == (says.spread, says.window)


def test_the_analogue_part_of_a_hybrid_service_is_said_not_to_be_judged() -> None:
    """NRSC-5: point, road, map and every file of them; no other service says it."""
    hybrid = example(lambda tree: tree.update(service="nrsc-5-fm-hybrid"))
    says = class_says(hybrid, yardstick(hybrid))
    assert says.lines[0].startswith("Not judged: the analogue FM of the same transmitter")
    assert "judge the network as fm-stereo too" in says.unjudged
    found = map_of(hybrid)
    assert document(found, {})["not_judged"] == says.unjudged
    by = stamp(hybrid, revision=1, made_at=datetime(2026, 1, 1, tzinfo=UTC), classes=found.beside_says)
    assert says.unjudged in by.remarks
    assert says.unjudged in by.tags()["classes_say"]
    point = point_signals(hybrid, lat_deg=36.30, lon_deg=-84.20)
    quality = point_document(point, judged(hybrid, point, delay_table(hybrid)).quality)["quality"]
    assert quality["not_judged"] == says.unjudged
    assert class_says(example(), yardstick(example())).unjudged == ""
    told = [p for p in all_problems(hybrid) if p.code == "part-unjudged"]
    assert [p.sites for p in told] == [tuple(site.id for site in hybrid.sites)]
    assert "powers" in told[0].what
    assert not [p for p in all_problems(example()) if p.code == "part-unjudged"]


def test_the_overlap_of_an_ofdm_map_is_also_given_by_level() -> None:
    """Two T2 sites far apart: near either one the other counts inside the guard, yet it is not near in level."""
    near_db = {"significant_db": 10}
    found = map_of(example(lambda tree: tree.update(service=T2, frequency_mhz=600.0, thresholds=near_db)))
    summary, layer = found.summary, found.found
    area = found.coverage.area_km2()
    zone = np.isfinite(layer.delay_spread_us)
    near = zone & (layer.level_difference_db >= -found.counts.significant_db)
    assert summary.near_km2 == pytest.approx(float(area[near].sum()))
    assert 0.0 < summary.near_km2 < summary.area_km2
    said = document(found, {})["overlap"]
    assert (said["near_km2"], said["near_db"]) == (summary.near_km2, found.counts.significant_db)
    assert "however weak" in found.overlap_says


def test_no_signal_hurts_that_does_not_count() -> None:
    """DAB, a kilometre from its transmitter: the echo beyond the guard lies 70 dB down, counts nowhere and hurts nobody."""
    yard = yardstick(example(lambda tree: tree.update(service="dab-mode-1", frequency_mhz=222.0)))
    arrivals = np.array([[0.0, 0.0], [1000.0, 1000.0]])
    made = service_quality(np.array([[110.0, 80.0], [40.0, 78.0]]), arrivals, yard, frequency_mhz=222.0)
    assert made.quality_class.tolist() == [WITH_MARGIN, UPSET]
    assert np.isnan(made.limiting[0])
    assert made.limiting[1] == 1


def test_a_usable_level_for_another_height_says_so() -> None:
    """FM's 54 dBuV/m are for 10 m; a car's antenna stands at 1.5 m. Nothing of it for a roof."""
    assert "planned for an antenna 10 m above ground" in class_says(example(), yardstick(example())).usable
    roof = example(lambda tree: tree.update(receiver={"height_m": 10}))
    assert class_says(roof, yardstick(roof)).usable == ""


def test_who_may_be_counted_twice_stands_beside_the_people() -> None:
    """A town of 200 000 with a district of 30 000 two kilometres away: 30 000 of them, by name."""
    places = [
        {"name": "Town", "lat": 36.30, "lon": -84.20, "people": 200_000},
        {"name": "District", "lat": 36.318, "lon": -84.20, "people": 30_000},
        {"name": "Far", "lat": 36.9, "lon": -84.20, "people": 30_000},
    ]
    network = example(lambda tree: tree.update(listeners={"places": places}))
    said = listeners(network, grid_for((36.2, -84.3, 36.4, -84.1), pixel_m=4000.0), folder=DEMOS).said
    assert f"30{THIN}000 of their people may be counted twice" in said
    assert f"(Town 30{THIN}000)" in said
    alone = example(lambda tree: tree.update(listeners={"places": [places[0], places[2]]}))
    assert "twice" not in listeners(alone, grid_for((36.2, -84.3, 36.4, -84.1), pixel_m=4000.0), folder=DEMOS).said


def map_of(network: Network) -> Zones:
    """A small map over a smooth earth."""
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(
            network, grid_for((36.1, -84.45, 36.45, -84.0), pixel_m=3000.0), placed=place(network),
            ground=Ground(), executor=executor,
        )  # fmt: skip
    return zones(network, computed, delay_table(network).launches())


def test_a_road_says_in_which_classes_a_stretch_is_lost_and_by_whom() -> None:
    """FM demo and a strong station on the same channel: lengths by class add up to what is lost, in the legend's words."""
    far = {
        "id": "far", "name": "Far hill", "position": {"text": "36.60000,-84.60000"}, "ground_m": 800, "antenna_m": 60,
        "erp_kw": {"h": 20.0, "v": 20.0}, "spacing_khz": 0,
    }  # fmt: skip
    network = example(lambda tree: tree.update(other_transmitters=[far]))
    track = track_of([(36.21, -84.23), (36.38, -84.12)], source="test")
    answer = road_document(on_line(network, line(network, track, spacing_m=500.0, folder=DEMOS), WhatIf()))
    assert answer["stretches"]
    for stretch in answer["stretches"]:
        assert sum(stretch["lengths_m"].values()) == pytest.approx(stretch["lost_m"])
        assert stretch["for_people"] in stretch["lengths_m"]
        assert set(stretch["lengths_m"]) <= {
            "distorted by our own transmitters",
            "disturbed by another station",
            "signal too weak",
        }
    assert "the class names the worse" in answer["worse_says"]
    point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
    quality = point_document(point, judged(network, point, delay_table(network)).quality)["quality"]
    shares = [quality[f"share_{name}"] for name in ("clear_stereo", "clear_mono", "upset", "disturbed")]
    assert sum(shares) == pytest.approx(1.0, abs=1e-6)
    assert quality["share_disturbed"] > 0


@pytest.mark.parametrize(
    ("service", "frequency_mhz", "code"),
    [("fm-stereo", 98.3, "quick estimate"), (T2, 600.0, "quick estimate"), (VSB, 575.0, "median levels")],
)
def test_the_rule_is_a_code_and_its_words_stand_in_one_place(service: str, frequency_mhz: float, code: str) -> None:
    """8-VSB has one rule alone, whatever is drawn; the others have two, and a code for each."""
    network = example(lambda tree: tree.update(service=service, frequency_mhz=frequency_mhz))
    quick, drawn = (class_says(network, yardstick(network), drawn=drawn) for drawn in (False, True))
    assert quick.by == quick.as_json()["classes_by"] == code
    assert drawn.by == (code if service == VSB else "drawn shares")
    assert set(BY_WORDS) == {QUICK, DRAWN, BY_MEDIANS}
    assert quick.by_words == BY_WORDS[code]
