"""Two figures with the same words say which is which; the level said to divide "too weak" from "upset" does divide."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.answer.point import document as point_document
from sfn.answer.zones import document
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.reception.classes import TOO_WEAK, UPSET
from sfn.reception.coverage import coverage
from sfn.reception.quality import service_quality, too_weak_below_dbuvm, yardstick
from sfn.study.point import judged, point_signals
from sfn.study.zones import zones
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import example

T2 = "dvb-t2-32k-19/128-pp2-8mhz"
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
    if service == "fm-stereo":
        assert "quick estimate" in answer["classes_say"]
        assert answer["too_weak_says"] is None
        assert answer["too_weak_below_dbuvm"] == answer["usable_dbuvm"]
        point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
        quality = point_document(point, judged(network, point, delay_table(network)).quality)["quality"]
        assert "people_class is a figure" in quality["classes_say"]
    else:
        assert answer["classes_say"] is None
        assert answer["too_weak_below_dbuvm"] < answer["usable_dbuvm"]
        assert f"below {answer['too_weak_below_dbuvm']:.1f}" in answer["too_weak_says"]
