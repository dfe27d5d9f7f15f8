"""Transmitters of other programmes: what they ask for, and the same class on point, map, road and in the search."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from sfn.answer.point import document
from sfn.check.others import other_problems
from sfn.errors import PlanError
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.along import line_signals
from sfn.reception.classes import OTHER_STATION
from sfn.reception.coverage import coverage, coverage_key
from sfn.reception.others import needed, needed_along, others_says, protection_ratios
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.point import judged, point_signals
from sfn.study.served import served_summary
from sfn.study.zones import zones
from sfn.systems.of_network import service_of
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import example

AT = (36.30, -84.20)


def beside(service: str = "fm-stereo", frequency_mhz: float = 98.3, **changes: Any) -> Network:
    """The example with a strong transmitter of another programme 30 km away."""
    other = {
        "id": "far",
        "name": "Far station",
        "position": {"text": "36.50, -83.95"},
        "ground_m": 400.0,
        "antenna_m": 100.0,
        "erp_kw": {"h": 50.0},
    }

    def change(tree: dict[str, Any]) -> None:
        tree.update(service=service, frequency_mhz=frequency_mhz, other_transmitters=[other | changes])

    return example(change)


def test_the_worse_of_steady_and_tropospheric_counts() -> None:
    """Typed by hand from the table (from memory): 45 and 37 dB on the channel in stereo, 7 and 7 at 200 kHz, none beyond."""
    carried = service_of(beside())
    ratios = {
        khz: protection_ratios(beside(spacing_khz=khz).other_transmitters[0], carried) for khz in (0.0, -200.0, 500.0)
    }
    assert ratios[0.0] == (45.0, 37.0)
    assert ratios[-200.0] == (7.0, 7.0)
    assert ratios[500.0] == (-np.inf, -np.inf)
    listed = beside().other_transmitters * 2
    level, rare = np.array([[50.0, 30.0, np.nan], [40.0, np.nan, np.nan]]), np.array([[62.0, 31.0, np.nan]] * 2)
    found = needed(listed, carried, level, rare)
    assert found.level_dbuvm[:2] == pytest.approx([99.0, 75.0])
    assert np.isnan(found.level_dbuvm[2])
    assert found.by.tolist() == [0, 0, -1]


def test_a_service_without_a_table_needs_ratios_off_the_channel() -> None:
    """OFDM: on the channel its own C/N; beside it the document must say, and what does not count is said."""
    here, away = (beside("dab-mode-1", 223.936, spacing_khz=khz) for khz in (0.0, 1_712.0))
    carried = service_of(here)
    assert protection_ratios(here.other_transmitters[0], carried) == (carried.required_cn_db,) * 2
    assert [p.code for p in other_problems(away, carried)] == ["others-without-ratio"]
    assert "not counted, without a ratio: Far station" in others_says(away, carried)
    given = beside("dab-mode-1", 223.936, spacing_khz=1_712.0, steady_ratio_db=-40.0, tropospheric_ratio_db=-40.0)
    assert protection_ratios(given.other_transmitters[0], carried) == (-40.0, -40.0)
    with pytest.raises(PlanError, match="go together"):
        beside(steady_ratio_db=20.0)


@pytest.mark.parametrize(("service", "frequency_mhz"), [("fm-stereo", 98.3), ("dab-mode-1", 223.936)])
def test_point_map_road_and_search_disagree_nowhere(service: str, frequency_mhz: float) -> None:
    """One place of the map, the same on a line and as a point: class, and what must be reached there."""
    network = beside(service, frequency_mhz)
    alone = network.model_copy(update={"other_transmitters": None})
    placed, table = place(network), delay_table(network)
    launches = table.launches()
    grid = grid_for((36.25, -84.30, 36.35, -84.15), pixel_m=2000.0)
    with ThreadPoolExecutor(2) as executor:
        computed, own = (coverage(n, grid, placed=placed, ground=Ground(), executor=executor) for n in (network, alone))
    on_map, without = zones(network, computed, launches), zones(alone, own, launches)
    disturbed = on_map.quality.quality_class == OTHER_STATION
    assert disturbed.any()
    assert not (without.quality.quality_class == OTHER_STATION).any()
    assert on_map.classes.served_km2 < without.classes.served_km2 or service == "fm-stereo"

    lat, lon = (part.ravel() for part in np.meshgrid(grid.lat_deg, grid.lon_deg, indexing="ij"))
    signals = line_signals(network, lat, lon)
    asked = needed_along(network, signals, np.arange(3), service_of(network))
    assert asked is not None
    for k in np.flatnonzero(disturbed)[::9]:
        point = point_signals(network, lat_deg=float(lat[k]), lon_deg=float(lon[k]))
        answer = document(point, judged(network, point, table).quality)["quality"]
        assert answer["class"] == "disturbed by another station"
        assert answer["other_transmitter"] == "Far station"
        assert answer["needed_beside_others_dbuvm"] == pytest.approx(asked.level_dbuvm[k], abs=0.1)
        assert answer["quality_margin_db"] == pytest.approx(float(on_map.quality.margin_db[k]), abs=0.3)

    what = network_objective(network, computed, Asked(), executor=None)
    assert not np.isin(what.places.place, np.flatnonzero(disturbed)).any()
    assert served_summary(network, computed, launches).area_km2[OTHER_STATION] == pytest.approx(
        on_map.classes.area_km2[OTHER_STATION]
    )


def test_levels_are_kept_apart_by_what_else_is_on_the_channel() -> None:
    """The key of a map's levels knows the others; what is off the air is no part of it, and it is said who counts."""
    grid = grid_for((36.25, -84.30, 36.35, -84.15), pixel_m=2000.0)
    silent, plain = beside(on_air=False), example()
    key = coverage_key(beside(), grid, ground=Ground())
    assert key != coverage_key(plain, grid, ground=Ground())
    assert key != coverage_key(beside(antenna_m=50.0), grid, ground=Ground())
    assert coverage_key(silent, grid, ground=Ground()) == coverage_key(plain, grid, ground=Ground())
    assert others_says(silent, service_of(silent)).startswith("No transmitter of another programme is listed")


def test_a_position_that_cannot_be_read_is_named_at_its_place() -> None:
    """The problem says which of the other transmitters."""
    network = beside(position={"text": "nowhere"})
    assert [p.where for p in other_problems(network, service_of(network))] == ["other_transmitters(far).position"]
