"""A map whose shares are drawn: classes, km2 and people go by them; before that they are marked as an estimate."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from sfn.answer.zones import document
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.classes import BLENDED, JUST_ENOUGH, OTHER_STATION, TOO_WEAK, UPSET, WITH_MARGIN
from sfn.reception.coverage import coverage
from sfn.reception.heard import map_sharing
from sfn.reception.quality import yardstick
from sfn.study.shares_said import shares_said
from sfn.study.zones import Zones, zones
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import example

BOUNDS = (36.15, -84.45, 36.5, -84.0)


def beside(service: str, frequency_mhz: float, erp_kw: float) -> Network:
    """The example with a transmitter of another programme 30 km away."""
    other: dict[str, Any] = {
        "id": "far", "name": "Far station", "position": {"text": "36.50, -83.95"}, "ground_m": 400.0,
        "antenna_m": 100.0, "erp_kw": {"h": erp_kw}, "spacing_khz": 100.0 if service == "fm-stereo" else 0.0,
    }  # fmt: skip
    return example(lambda tree: tree.update(service=service, frequency_mhz=frequency_mhz, other_transmitters=[other]))


def maps(network: Network, *, pixel_m: float = 2000.0) -> tuple[Zones, Zones, np.ndarray]:
    """The map as drawn and as estimated, with two hundred people on each pixel; and arrivals."""
    grid = grid_for(BOUNDS, pixel_m=pixel_m)
    people, launches = np.full(grid.pixels_n, 200.0), delay_table(network).launches()
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=place(network), ground=Ground(), executor=executor)
    return (
        zones(network, computed, launches, people=people, drawn=True),
        zones(network, computed, launches, people=people),
        computed.arrivals(launches),
    )


@pytest.mark.parametrize("erp_kw", [0.001, 0.5])
def test_ofdm_classes_and_figures_go_by_the_drawn_share(erp_kw: float) -> None:
    """Each class is that of the drawn layer beside it (70 and 99 % typed here), and sums are those of the pixels."""
    drawn, quick, _ = maps(beside("dab-mode-1", 223.936, erp_kw))
    share, classes = drawn.quality.probability, drawn.quality.quality_class
    assert share is not None
    served = np.isin(classes, [WITH_MARGIN, JUST_ENOUGH])
    assert (share[served] >= 0.7).all()
    assert (share[classes == WITH_MARGIN] >= 0.99).all()
    lost_though_many = np.isin(classes, [UPSET, TOO_WEAK, OTHER_STATION]) & (share >= 0.7)
    assert (drawn.quality.margin_db[lost_though_many] < 0).all()
    area = drawn.coverage.area_km2()
    for code in (WITH_MARGIN, JUST_ENOUGH, UPSET, TOO_WEAK, OTHER_STATION):
        assert drawn.classes.area_km2[code] == pytest.approx(float(area[classes == code].sum()))
        assert drawn.classes.people is not None
        assert drawn.classes.people[code] == pytest.approx(200.0 * (classes == code).sum())
    assert drawn.drawn
    assert drawn.quick is not None
    assert drawn.quick.area_km2 == quick.classes.area_km2

    between = quick.served_between_km2
    assert between is not None
    assert between[0] <= drawn.classes.served_km2 <= between[1]
    assert shares_said(quick).startswith("Estimate, updating")
    assert "with its uncertainty (" in shares_said(quick)
    answer = document(drawn, {})
    assert answer["classes_by"] == "drawn shares"
    assert answer["served_between_km2"] is None
    assert "drawn" in answer["classes_say"]
    assert sum(one["area_km2"] for one in answer["classes"]) == pytest.approx(answer["spoken_km2"])
    estimate = document(quick, {})
    assert (estimate["classes_by"], estimate["served_between_km2"]) == ("quick estimate", list(between))


def test_fm_classes_and_listeners_are_one_figure() -> None:
    """Beside a station 100 kHz away: what is disturbed, distorted and clear by class is the same by listeners, and a
    class is the one of the shares (95 % of cars' time typed here).
    """
    network = beside("fm-stereo", 98.3, 30.0)
    drawn, quick, arrivals = maps(network)
    assert drawn.heard is not None
    by_class = drawn.classes.area_km2
    groups = (
        by_class[WITH_MARGIN] + by_class[JUST_ENOUGH], by_class[BLENDED], by_class[UPSET], by_class[OTHER_STATION],
        by_class[TOO_WEAK],
    )  # fmt: skip
    assert drawn.heard.area_km2 == pytest.approx(groups)
    assert groups[3] > 0
    yard, classes = yardstick(network), drawn.quality.quality_class
    shares = map_sharing(yard, drawn.coverage.level_dbuvm, arrivals, drawn.coverage.sites)
    clear = shares.clear_stereo + shares.clear_mono
    assert (shares.clear_stereo[np.isin(classes, [WITH_MARGIN, JUST_ENOUGH])] >= 0.95).all()
    assert (clear[classes == BLENDED] >= 0.95).all()
    assert (clear[classes == UPSET] < 0.95).all()
    between = quick.served_between_km2
    assert between is not None
    assert between[0] <= drawn.classes.served_km2 <= between[1]
    assert "go by these shares" in shares_said(drawn)
    assert "steps of" in shares_said(drawn)


def test_a_service_with_one_rule_says_nothing_of_two() -> None:
    """8-VSB goes by the margin alone."""
    drawn, _, _ = maps(example(lambda tree: tree.update(service="8-vsb", frequency_mhz=600.0)), pixel_m=4000.0)
    assert not drawn.drawn
    assert shares_said(drawn) == ""
    assert drawn.served_between_km2 is None
