"""What listeners around a place hear: whose sets, what lock sheets let differ, and the class for people."""

from typing import Any

import numpy as np
import pytest

from sfn.answer.map_listeners import heard_document
from sfn.answer.point import document
from sfn.plan import Network
from sfn.reception.drawn_quality import by_listeners
from sfn.reception.fm_sets import blend_of, fm_sets
from sfn.reception.heard import PEOPLE_CLASSES, heard, heard_areas, map_sharing
from sfn.reception.judged import judge
from sfn.reception.quality import service_quality, yardstick
from sfn.study.map_listeners import heard_said
from sfn.study.point import judged, point_signals
from sfn.systems.fm_listeners import Errors
from sfn.timing import delay_table
from tests.sfn.networks import example


def with_locks(**locks: dict[str, Any]) -> Network:
    """The example with lock sheets by site id."""

    def change(document: dict[str, Any]) -> None:
        for site in document["sites"]:
            site["lock"] = locks.get(site["id"])

    return example(change)


def with_receiver(**receiver: Any) -> Network:
    """The example with another receiver."""
    return example(lambda document: document.__setitem__("receiver", receiver))


@pytest.mark.parametrize(
    ("receiver", "listeners", "blends", "served"),
    [
        ({"height_m": 1.5}, "car", 1.0, 0.95),
        ({"height_m": 10.0}, "hi-fi", 0.0, 0.9),
        ({"height_m": 1.5, "indoors": "traditional"}, "portable", 0.5, 0.9),
        ({"height_m": 1.5, "blend": {"listeners": "portable", "blending_pct": 80}}, "portable", 0.8, 0.9),
    ],
)
def test_the_receiver_says_whose_sets_listen(
    receiver: dict[str, Any], listeners: str, blends: float, served: float
) -> None:
    """Cars blend all, portables half, hi-fi none; cars want 95 % of time, the others 90 % of places."""
    blend = blend_of(with_receiver(**receiver))
    assert (blend.listeners, blend.blends_ratio, blend.served_ratio) == (listeners, blends, served)


def test_lock_sheets_say_what_may_differ() -> None:
    """Deviations by what they are and by what they may be off, pilots round the circle, carriers by root of squares."""
    network = with_locks(
        north={"deviation_khz": 75.0, "deviation_match_pct": 1.0, "pilot_phase_deg": 175.0, "carrier_error_hz": 3.0},
        south={"deviation_khz": 75.0, "pilot_phase_deg": -175.0, "carrier_error_hz": 4.0},
    )
    found = fm_sets(network, stereo=True).errors_of(["south", "gap", "north"])
    assert found[0, 2] == Errors(0.01, 10.0, 5.0)
    assert found[0, 1] == Errors(0.0, 0.0, 4.0)
    assert fm_sets(with_locks(), stereo=True).errors_of(["south", "gap", "north"]) == {}


def near(network: Network, late_us: float, weaker_db: float = 2.0, level_dbuvm: float = 80.0) -> Any:
    """Two sites of the example, so far apart."""
    level = np.array([[level_dbuvm], [level_dbuvm - weaker_db]])
    yard, late = yardstick(network), np.array([[0.0], [late_us]])
    found = judge(level, late, yard, frequency_mhz=98.3, sites=["north", "south"])
    assert found.shares is not None
    return heard(network, yard, found.shares, float(found.quality.quality_class[0]), level)


def test_classes_for_people_follow_the_shares() -> None:
    """Together: clear stereo; 2 us: blended in cars; 15 us: distorted; and weak is weak whatever the delay."""
    car = example()
    assert near(car, 0.0).people_class == PEOPLE_CLASSES[0]
    blended = near(car, 2.0)
    assert blended.people_class == PEOPLE_CLASSES[1]
    assert blended.share("clear_stereo") < blended.served_ratio
    assert blended.served_ratio <= blended.share("clear_stereo") + blended.share("clear_mono")
    assert near(car, 15.0).people_class == PEOPLE_CLASSES[2]
    assert near(car, 0.0, level_dbuvm=20.0).people_class == PEOPLE_CLASSES[4]
    assert not near(car, 15.0).served


def test_one_per_cent_of_deviation_undoes_alignment() -> None:
    """Signals at one time: clear for all while deviations agree, not with 3 % apart; what is assumed is said."""
    agreed = near(with_receiver(height_m=10.0), 0.0, weaker_db=0.0)
    apart = near(with_locks(north={"deviation_khz": 75.0}, south={"deviation_khz": 72.8}), 0.0, weaker_db=0.0)
    assert agreed.share("upset") < 0.02 < 0.1 < apart.share("upset")
    assert any("no lock sheet says otherwise" in said for said in agreed.says)
    assert any("3 % of deviation" in said for said in apart.says)


def test_carriers_that_beat_make_shares_of_time() -> None:
    """Every phase passes a listener at home too: 95 % of time is wanted, and said."""
    network = with_locks(north={"carrier_error_hz": 2.0})
    found = near(network, 3.0)
    assert (found.of, found.served_ratio) == ("time", 0.95)
    assert any("carriers beat" in said for said in found.says)


def test_the_answer_of_a_point_has_the_shares() -> None:
    """Page, command and interface give the same: shares that add up, the class, and what they rest on."""
    network = example()
    point = point_signals(network, lat_deg=36.3, lon_deg=-84.22)
    found = judged(network, point, delay_table(network))
    assert found.quality is not None
    answer = document(found.point, found.quality)["quality"]
    assert answer["share_clear_stereo"] + answer["share_clear_mono"] + answer["share_upset"] == pytest.approx(1.0)
    assert answer["people_class"] in PEOPLE_CLASSES
    assert answer["listeners"] == "car"
    assert answer["shares_say"][0] == "stations with other programmes are not counted"


def test_areas_add_up_and_follow_the_places() -> None:
    """Three pixels, one of each kind: together, 15 us apart, and weak; a pixel without signals is in no class."""
    network = example()
    level = np.array([[80.0, 80.0, 20.0, np.nan], [78.0, 78.0, 18.0, np.nan]])
    arrival = np.array([[0.0] * 4, [0.0, 15.0, 0.0, 0.0]])
    area_km2, people = np.array([1.0, 2.0, 4.0, 8.0]), np.array([10.0, 20.0, 40.0, 80.0])
    yard = yardstick(network)
    shares = map_sharing(yard, level, arrival, ["north", "south"])
    quick = service_quality(level, arrival, yard, frequency_mhz=98.3, sites=["north", "south"])
    classes = by_listeners(quick, level, arrival, yard, shares).quality_class
    found = heard_areas(network, yard, shares, classes, area_km2=area_km2, people=people)
    assert found is not None
    assert found.area_km2 == (1.0, 0.0, 2.0, 0.0, 4.0)
    assert found.people == (10.0, 0.0, 20.0, 0.0, 40.0)
    assert [each["share"] for each in heard_document(found)["classes"]] == pytest.approx([1 / 7, 0, 2 / 7, 0, 4 / 7])
    assert "distorted by our own transmitters 20 people (29 %)" in heard_said(found, "64 sets")
