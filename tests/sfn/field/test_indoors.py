"""Receivers indoors: one wall for map, point and road, with its name; paths, contours and drive tests stay outdoors."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from sfn.answer.path import document as path_document
from sfn.answer.point import document as point_document
from sfn.errors import PlanError
from sfn.field.indoors import indoor_loss_db, indoors_says, outdoors
from sfn.field.shift import shift_says
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network, checksum
from sfn.reception.along import line_signals
from sfn.reception.coverage import coverage, coverage_key
from sfn.study.contours import coverage_contours
from sfn.study.path import path_answer, path_text
from sfn.study.point import point_signals
from sfn.terrain.ground import Ground
from tests.sfn.networks import example


def indoors(**receiver: Any) -> Network:
    """The example with receivers as given."""
    return example(lambda tree: tree.setdefault("receiver", {}).update(receiver))


def by_hand_db(mhz: float) -> float:
    """Median of traditional buildings, P.2109 eq. (1) to (10)."""
    lg = np.log10(mhz / 1000.0)
    parts = np.array([12.64 + 3.72 * lg + 0.96 * lg**2, 9.1 - 3.0 * lg, -3.0])
    return float(10.0 * np.log10(np.sum(10.0 ** (parts / 10.0))))


def test_the_same_wall_on_map_point_and_road() -> None:
    """Every level of every site is lower by the same loss, and each says of what building."""
    outside, inside = indoors(), indoors(indoors="traditional")
    at = next(iter(place(outside).values()))
    south, west = at.lat_deg + 0.03, at.lon_deg + 0.04
    grid = grid_for((south, west, south + 0.02, west + 0.03), pixel_m=500.0)
    line = np.linspace(south, south + 0.05, 20), np.full(20, west)
    taken = []
    for network in (outside, inside):
        with ThreadPoolExecutor(1) as executor:
            on_map = coverage(network, grid, placed=place(network), ground=Ground(), executor=executor)
        point = point_signals(network, lat_deg=south, lon_deg=west)
        along = line_signals(network, *line)
        levels = {s.site: (s.level_dbuvm, s.level_1pct_dbuvm) for s in point.signals}
        taken.append((on_map.level_dbuvm, on_map.level_1pct_dbuvm, along.level_dbuvm, levels, point))
    expected_db = by_hand_db(outside.frequency_mhz)

    for place_n in range(3):
        apart = taken[0][place_n] - taken[1][place_n]
        assert apart[np.isfinite(apart)] == pytest.approx(expected_db, abs=1e-3)
        assert np.isfinite(apart).any()
    for site, values in taken[0][3].items():
        assert np.subtract(values, taken[1][3][site]) == pytest.approx(expected_db, abs=1e-6)
    assert "P.2109 of traditional buildings" in str(point_document(taken[1][4])["level_shifts"])
    assert point_document(taken[0][4])["level_shifts"] is None
    assert coverage_key(inside, grid, ground=Ground()) != coverage_key(outside, grid, ground=Ground())


def test_contours_of_a_map_are_outdoors_and_the_map_so_far_is_not() -> None:
    """Out of the map's levels, as computed anew: the field outdoors. What is shown while others are awaited: indoors."""
    outside, inside = indoors(), indoors(indoors="traditional")
    at = next(iter(place(outside).values()))
    grid = grid_for((at.lat_deg - 0.3, at.lon_deg - 0.4, at.lat_deg + 0.3, at.lon_deg + 0.4), pixel_m=2000.0)
    areas, shown = [], []
    for network in (outside, inside):
        with ThreadPoolExecutor(1) as executor:
            on_map = coverage(
                network, grid, placed=place(network), ground=Ground(), executor=executor,
                finished=lambda _, raster: shown.append(float(np.nanmax(raster.level_dbuvm))),
            )  # fmt: skip
        found = coverage_contours(network, on_map, (), at_dbuvm=70.0)
        areas.append([one.area_km2 for one in found.sites])

    assert max(areas[0]) > 10.0
    assert areas[0] == pytest.approx(areas[1], rel=1e-6)
    assert max(shown[: len(shown) // 2]) - max(shown[len(shown) // 2 :]) == pytest.approx(
        by_hand_db(outside.frequency_mhz), abs=1e-3
    )


def test_a_path_is_outdoors_and_says_so() -> None:
    """Its levels are those of a receiver outdoors; the loss stands beside them."""
    outside, inside = indoors(), indoors(indoors="efficient", indoor_places_pct=95.0)
    site, at = outside.sites[0].id, next(iter(place(outside).values()))
    answers = [
        path_answer(n, site_id=site, lat_deg=at.lat_deg + 0.1, lon_deg=at.lon_deg, ground=None)
        for n in (outside, inside)
    ]

    assert answers[0].levels.level_dbuvm == pytest.approx(answers[1].levels.level_dbuvm, abs=1e-9)
    assert path_document(answers[1])["building_loss_db"] == pytest.approx(indoor_loss_db(inside))
    assert "thermally efficient" in path_text(answers[1])
    assert "indoors" not in path_text(answers[0])


def test_the_name_and_the_way_back() -> None:
    """In words with share and building; nothing outdoors; drive tests are judged outdoors; checksums of others stay."""
    inside = indoors(indoors="efficient", indoor_places_pct=95.0)

    assert "not exceeded at 95 % of indoor places" in shift_says(inside)
    assert (indoors_says(indoors()), shift_says(indoors()), indoor_loss_db(outdoors(inside))) == ("", "", 0.0)
    assert checksum(outdoors(inside)) == checksum(indoors())


@pytest.mark.parametrize(
    ("receiver", "said"),
    [
        ({"indoors": "traditional", "antenna": "roof"}, "a roof antenna does not stand indoors"),
        ({"indoor_places_pct": 95}, "name the building"),
        ({"indoors": "brick"}, "traditional"),
    ],
)
def test_what_cannot_be_is_refused(receiver: dict[str, Any], said: str) -> None:
    """In words."""
    with pytest.raises(PlanError, match=said):
        indoors(**receiver)


def test_below_80_mhz_nothing_is_known() -> None:
    """Levels are refused with the reason, and pages can say it without failing."""
    low = indoors(indoors="traditional").model_copy(update={"frequency_mhz": 60.0})
    with pytest.raises(PlanError, match="says nothing of buildings at 60 MHz"):
        indoor_loss_db(low)
    assert "cannot be worked out" in indoors_says(low)
