"""Where a station with another programme disturbs: who is named, whose class it is, and what listeners still hear."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.answer.point import document
from sfn.plan import Network
from sfn.reception.beside import Beside
from sfn.reception.classes import OTHER_STATION, TOO_WEAK, UPSET
from sfn.reception.quality import service_quality, yardstick
from sfn.study.point import judged, point_signals
from sfn.study.road_plan import line, on_line
from sfn.study.what_if import WhatIf
from sfn.survey.track import track_of
from sfn.timing import delay_table
from tests.sfn.networks import example


def beside(erp_kw: float) -> Network:
    """The FM example, and a transmitter on its channel 30 km away."""
    other: dict[str, Any] = {
        "id": "far", "name": "Far station", "position": {"text": "36.50, -83.95"}, "ground_m": 400.0,
        "antenna_m": 100.0, "erp_kw": {"h": erp_kw},
    }  # fmt: skip
    return example(lambda tree: tree.update(service="fm-stereo", frequency_mhz=98.3, other_transmitters=[other]))


def test_the_class_is_of_the_worse() -> None:
    """Equal signals 60 us apart upset by far more than 0.5 dB; others that ask 0.5 dB more than there is decide nothing
    there, and all where they ask 40 dB more. A lone signal is theirs either way, and no site of ours hurts then.
    """
    yard = yardstick(beside(50.0))
    levels = np.array([[80.0, 80.0, 80.0, 30.0], [80.0, 80.0, np.nan, np.nan]])
    arrivals = np.array([[0.0] * 4, [60.0] * 4])
    own = service_quality(levels, arrivals, yard, frequency_mhz=98.3)
    assert own.quality_class[:2].tolist() == [UPSET, UPSET]
    assert own.margin_db[0] < -0.5
    made = service_quality(
        levels, arrivals, yard, frequency_mhz=98.3, other=Beside(np.array([80.5, 120.0, 80.5, 90.0]), None)
    )
    assert made.quality_class.tolist() == [UPSET, OTHER_STATION, OTHER_STATION, TOO_WEAK]
    assert made.margin_db[0] == pytest.approx(own.margin_db[0])
    assert made.margin_db[1] == pytest.approx(-40.0)
    assert np.isfinite(made.limiting[0])
    assert np.isnan(made.limiting[1:3]).all()


def test_road_and_point_name_the_other_station_and_nobody_hears_it_clear(tmp_path: Path) -> None:
    """A megawatt on the channel: stretches and samples name it and no site of ours; shares of clear listening are 0."""
    network = beside(1000.0)
    track = track_of([(36.30, -84.20), (36.31, -84.19)], source="test")
    found = on_line(network, line(network, track, spacing_m=500.0, folder=tmp_path), WhatIf()).found
    assert {one.other_transmitter for one in found.stretches} == {"Far station"}
    assert {one.hurts for one in found.stretches} == {None}
    lost = found.quality.quality_class == OTHER_STATION
    assert lost.any()
    assert (found.shares["share_stereo"][lost] == 0).all()
    assert (found.shares["share_blended"][lost] == 0).all()

    point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
    said = document(point, judged(network, point, delay_table(network)).quality)["quality"]
    assert said["class"] == "disturbed by another station"
    assert (said["hurts"], said["other_transmitter"]) == (None, "Far station")
    assert [said[f"share_{name}"] for name in ("stereo", "blended", "clear_stereo", "clear_mono", "good")] == [0.0] * 5
    assert any("another station disturbs here" in one for one in said["shares_say"])


@pytest.mark.parametrize("erp_kw", [0.05, 1.0, 20.0])
def test_what_the_others_median_leaves_out_stands_beside_the_figure(erp_kw: float) -> None:
    """FM: both levels drawn here, 8 dB between them; the share that falls short is the one said, within 0.01.

    The class takes the median, so where just enough arrives half fall short: 90 % reach it from 10.3 dB more on, and
    95 % (cars' time) from 13.2 dB, by the normal distribution's published quantiles 1.2816 and 1.6449.
    """
    network = beside(erp_kw)
    point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
    found = judged(network, point, delay_table(network))
    assert found.quality is not None
    answer = document(found.point, found.quality)["quality"]
    spare_db = point.signals[0].level_dbuvm - answer["needed_beside_others_dbuvm"]
    rng = np.random.default_rng(17)
    ours, theirs = rng.normal(0.0, 8.0 / np.sqrt(2.0), (2, 400_000))
    short = float(np.mean(spare_db + ours - theirs < 0))
    assert answer["others_short_ratio"] == pytest.approx(short, abs=0.01)
    assert f"at {100 * answer['others_short_ratio']:.0f} % of the places around" in found.quality.others_short_says
    assert "95 % reach it from 13 dB more on" in answer["worse_says"]
    assert "are taken at their medians" in answer["worse_says"]


def test_ofdm_and_a_network_without_others_say_nothing_of_medians() -> None:
    """OFDM draws them; where none is listed nothing is left out; 8-VSB has no spread of its own."""
    other = {"id": "far", "name": "Far", "position": {"text": "36.50, -83.95"}, "ground_m": 400.0, "antenna_m": 100.0}
    listed = [other | {"erp_kw": {"h": 10.0}}]
    for service, frequency_mhz, others in (
        ("dab-mode-1", 223.936, listed),
        ("8-vsb", 575.0, listed),
        ("fm-stereo", 98.3, []),
    ):
        network = example(
            lambda tree, s=service, f=frequency_mhz, o=others: tree.update(
                service=s, frequency_mhz=f, other_transmitters=o
            )
        )
        point = point_signals(network, lat_deg=36.30, lon_deg=-84.20)
        found = judged(network, point, delay_table(network))
        assert found.quality is not None
        answer = document(found.point, found.quality)["quality"]
        assert answer["others_short_ratio"] is None
        assert ("are taken at their medians" in (answer["worse_says"] or "")) == (service == "8-vsb")
        assert "reach it from" not in (answer["worse_says"] or "")
