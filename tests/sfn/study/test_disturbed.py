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
