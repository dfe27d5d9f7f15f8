"""Roof antennas and accepted level shifts: one place and the whole map say the same."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.answer.contours import document as contours_document
from sfn.answer.path import document as path_document
from sfn.errors import PlanError
from sfn.field.shift import shift_says
from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.aimed import received, roof_of
from sfn.reception.coverage import Coverage, bearings, coverage, coverage_key, transmitters
from sfn.study.contours import network_contours
from sfn.study.path import path_answer, path_text
from sfn.study.point import point_signals
from sfn.study.road_plan import line, on_line
from sfn.study.served import levels
from sfn.study.what_if import WhatIf
from sfn.study.zones import zones
from sfn.survey.track import track_of
from sfn.systems.receiving_antenna import BAND_II, relative_gain_db
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import example

BOUNDS = (36.15, -84.35, 36.40, -84.05)
SHIFT = {"sectors_db": [3.0, -2.0, 0.0, 5.0], "source": "night drive", "date": "2026-11-20"}


def roof(tree: dict) -> None:
    """A roof antenna."""
    tree["receiver"] = {"height_m": 10.0, "antenna": "roof"}


def shifted(tree: dict) -> None:
    """North corrected by four sectors."""
    tree["sites"][0]["level_shift"] = SHIFT


def computed(network: Network) -> Coverage:
    """Its levels over a smooth earth."""
    with ThreadPoolExecutor(2) as executor:
        return coverage(
            network, grid_for(BOUNDS, pixel_m=1500), placed=place(network), ground=Ground(), executor=executor
        )


def test_roof_antenna_lowers_what_it_does_not_point_at() -> None:
    """At a place each signal loses what BS.599 gives at its angle from the strongest; on the map the same."""
    network = example(roof)
    plain = example(lambda tree: tree.update(receiver={"height_m": 10.0}))
    found, open_ = (point_signals(n, lat_deg=36.30, lon_deg=-84.22) for n in (network, plain))
    placed = place(network)
    towards = {
        s.site: float(inverse(36.30, -84.22, placed[s.site].lat_deg, placed[s.site].lon_deg)[1]) for s in found.signals
    }
    before = {s.site: s.level_dbuvm for s in open_.signals}

    assert found.roof == "BS.599"
    assert open_.roof == ""
    assert found.signals[0].antenna_db == 0.0
    assert any(s.antenna_db < 0 for s in found.signals)
    for s in found.signals:
        off_db = float(relative_gain_db(towards[s.site] - towards[found.signals[0].site], antenna=BAND_II))
        assert s.antenna_db == pytest.approx(off_db)
        assert s.level_dbuvm == pytest.approx(before[s.site] + off_db)

    made = computed(network)
    level, _ = received(network, made, made.on_air(network))
    lat, lon = (axis.ravel() for axis in made.grid.points_deg)
    for k in range(0, lat.size, 97):
        at = point_signals(network, lat_deg=float(lat[k]), lon_deg=float(lon[k]))
        for s in at.signals:
            assert level[made.sites.index(s.site), k] == pytest.approx(s.level_dbuvm, abs=0.6)


def test_the_aim_follows_what_is_on_air() -> None:
    """Without the strongest site the antennas of its listeners point elsewhere: nothing is taken off the next."""
    network = example(roof)
    made = computed(network)
    every, rest = np.arange(len(made.sites)), np.arange(1, len(made.sites))
    whole, without = received(network, made, every)[0], received(network, made, rest)[0]
    north = np.nanargmax(np.where(np.isnan(whole), -np.inf, whole), axis=0) == 0
    assert np.all(without[:, north].max(axis=0) >= whole[1:, north].max(axis=0) - 1e-4)
    assert np.array_equal(received(network, made, every)[0], whole)
    assert np.array_equal(
        made.level_dbuvm, computed(example(lambda t: t.update(receiver={"height_m": 10.0}))).level_dbuvm
    )
    kept = levels(network, made)[0]
    assert np.nanmax(np.abs(kept[:, made.covered] - whole[:, made.covered])) == 0


def test_no_roof_antenna_at_short_wave() -> None:
    """A frequency that no Recommendation covers is refused by the field's name."""
    network = example(roof).model_copy(update={"frequency_mhz": 6.0})
    with pytest.raises(PlanError) as refused:
        roof_of(network)
    assert refused.value.problems[0].where == "receiver.antenna"


def test_shifts_correct_every_answer_and_say_so() -> None:
    """Point, map and road add the same shift at a bearing; the key of the levels follows; others stay."""
    plain, network = example(), example(shifted)
    assert "North" in shift_says(network)
    assert shift_says(plain) == ""
    grid, ground = grid_for(BOUNDS, pixel_m=1500), Ground()
    assert coverage_key(plain, grid, ground=ground) != coverage_key(network, grid, ground=ground)

    moved = computed(network).level_dbuvm - computed(plain).level_dbuvm
    north = transmitters(network, place(network))[0]
    bearing = bearings(north, grid)
    expected = np.interp(bearing, [0, 90, 180, 270, 360], [3.0, -2.0, 0.0, 5.0, 3.0])
    known = np.isfinite(moved[0])
    assert moved[0][known] == pytest.approx(expected[known], abs=1e-3)
    assert np.all(moved[1:][np.isfinite(moved[1:])] == 0)

    at = {"lat_deg": 36.25, "lon_deg": -84.15}
    was, now = ({s.site: s for s in point_signals(n, **at).signals} for n in (plain, network))
    angle = now["north"].bearing_deg
    add_db = float(np.interp(angle, [0, 90, 180, 270, 360], [3.0, -2.0, 0.0, 5.0, 3.0]))
    assert now["north"].level_dbuvm - was["north"].level_dbuvm == pytest.approx(add_db)
    assert now["north"].level_1pct_dbuvm - was["north"].level_1pct_dbuvm == pytest.approx(add_db)
    assert now["south"].level_dbuvm == was["south"].level_dbuvm

    from pathlib import Path

    track = track_of([(36.2, -84.3), (36.35, -84.1)], source="t")
    roads = [on_line(n, line(n, track, spacing_m=1000, folder=Path()), WhatIf()).found for n in (plain, network)]
    difference = roads[1].level_dbuvm - roads[0].level_dbuvm
    assert np.ptp(difference[0]) > 0.5
    assert np.all(difference[1:] == 0)
    launches = delay_table(network).launches()
    assert zones(network, computed(network), launches).layer("level_dbuvm") is not None


def test_bearings_are_those_of_the_geodesic() -> None:
    """Within a tenth of a degree of pyproj's, over 30 km."""
    network = example()
    one, grid = transmitters(network, place(network))[0], grid_for(BOUNDS, pixel_m=3000)
    lat, lon = (axis.ravel() for axis in grid.points_deg)
    far, exact, _ = inverse(one.lat_deg, one.lon_deg, lat, lon)
    off = (bearings(one, grid) - exact + 180) % 360 - 180
    assert np.max(np.abs(off[far > 500])) < 0.2


def test_path_and_contours_say_that_the_roof_antenna_is_not_counted() -> None:
    """Levels before the receiving antenna say so wherever it is directional, and nothing where it is not."""
    roof = example(lambda tree: tree.setdefault("receiver", {}).update(height_m=10.0, antenna="roof"))
    for network, says in ((roof, True), (example(), False)):
        answer = path_answer(network, site_id="north", lat_deg=36.3, lon_deg=-84.2, ground=None)
        assert bool(path_document(answer)["receiving_antenna_says"]) == says
        assert ("receiving antenna" in path_text(answer)) == says
        grid = grid_for((36.25, -84.30, 36.35, -84.15), pixel_m=2000.0)
        with ThreadPoolExecutor(1) as executor:
            found = network_contours(
                network, ["north"], at_dbuvm=60.0, grid=grid, placed=place(network), ground=Ground(), executor=executor
            )
        assert bool(contours_document(found, file=None)["receiving_antenna_says"]) == says
