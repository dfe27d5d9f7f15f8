"""Treetops and roofs that count as bare ground for want of cover: said at places, on ways and of maps, by how much."""

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sfn.check.doubts import consequence_of
from sfn.check.ground import ground_basis_problems
from sfn.field.levels import levels_at
from sfn.field.over_treetops import STANDS, way_over
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import read
from sfn.reception.along import line_signals
from sfn.reception.coverage import coverage
from sfn.reception.on_treetops import on_treetops_of
from sfn.study.contours import coverage_contours, network_contours
from sfn.study.path import path_answer, resting_on
from sfn.study.point import point_signals
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid
from sfn.terrain.treetops import on_treetops, on_treetops_grid
from tests.sfn.networks import example

STEP_DEG = 1.0 / 1200.0
NORTH, WEST, EDGE_LON = 36.6, -84.6, -84.2
CLASSES = ((10, 15.0), (30, 0.0), (80, 0.0))


def grid(values: np.ndarray, *, west_deg: float = WEST) -> HeightGrid:
    """Samples from 36.6 N southwards."""
    return HeightGrid(values.astype(np.float32), NORTH, west_deg, STEP_DEG, STEP_DEG)


def ground(*, cover: bool = True, zones: bool = False) -> Ground:
    """Level treetops at 315 m from 36.6 to 35.9 N, 84.6 to 83.9 W, the sea south of 36.0; cover west of 84.2 W alone."""
    rows, columns = 840, 840
    heights_m = np.full((rows, columns), 315.0)
    heights_m[720:] = 0.0
    woods = np.full((rows, 480), 10.0)
    woods[720:] = 80.0
    sea = np.full((rows, columns), 1.0)
    sea[:240, 600:] = 2.0  # a lake that the zones know: north of 36.4, east of 84.1
    return Ground(
        terrain_from_grid(grid(heights_m), name="tops"),
        terrain_from_grid(grid(woods), name="cover", blended=False) if cover else None,
        CLASSES if cover else None,
        terrain_from_grid(grid(sea), name="zones", blended=False) if zones else None,
        ((1, "inland"), (2, "sea")) if zones else (),
        surface=True,
    )


def test_places_without_cover_are_found_and_water_is_none() -> None:
    """East of the cover's edge; not in the sea at 0 m, not in a lake of the zones, not where nothing is known."""
    lat, lon = np.array([36.3, 36.3, 35.95, 36.5, 36.3, 37.5]), np.array([-84.4, -84.0, -84.0, -84.0, -84.15, -84.0])
    height_m = np.array([300.0, 315.0, 0.0, 315.0, 315.0, np.nan])

    assert on_treetops(ground(zones=True), lat, lon, height_m).tolist() == [False, True, False, False, True, False]
    assert on_treetops(ground(), lat, lon, height_m).tolist() == [False, True, False, True, True, False]
    assert on_treetops(ground(cover=False), lat, lon, height_m).tolist() == [True, True, False, True, True, False]
    assert not on_treetops(replace(ground(), surface=False), lat, lon, height_m).any()
    assert not on_treetops(None, lat, lon, height_m).any()
    # A raster of heights above ground has no negative ones: those are not known.
    low = np.full((840, 840), 3.0)
    low[:, 700:] = -1.0
    tall = replace(ground(), cover=terrain_from_grid(grid(low), name="m", blended=False), cover_classes=None)
    assert on_treetops(tall, lat[1:5], lon[1:5], height_m[1:5]).tolist() == [True, False, True, False]


def test_a_map_finds_the_same_places_as_points_do() -> None:
    """One by one and as a grid, at places that are no samples."""
    lat, lon = np.linspace(36.55, 35.95, 37), np.linspace(-84.55, -83.95, 41)
    height_m = np.where(lat < 36.0, 0.0, 315.0)[:, None] * np.ones(41)
    for made in (ground(), ground(zones=True), ground(cover=False)):
        one_by_one = on_treetops(made, *np.broadcast_arrays(lat[:, None], lon[None, :]), height_m)
        assert (on_treetops_grid(made, lat, lon, height_m) == one_by_one).all()
        assert 0 < one_by_one.sum() < one_by_one.size


def test_levels_on_treetops_are_as_much_too_strong_as_is_said() -> None:
    """At 98 and 600 MHz. Woods of 15 m whose tops lie at 315 m: with cover the receiver stands in them, without it on top. P.1812."""
    rows, columns = 840, 840
    tops = terrain_from_grid(grid(np.full((rows, columns), 315.0)), name="tops")
    woods = terrain_from_grid(grid(np.full((rows, columns), 10.0)), name="woods", blended=False)
    at = (36.3, -84.5 + 20.0 / (111.32 * np.cos(np.radians(36.3))))

    def too_strong_db(frequency_mhz: float) -> float:
        """Without cover minus with it."""
        site = Transmitter(
            id="a", lat_deg=36.3, lon_deg=-84.5, ground_m=300.0, antenna_m=150.0, frequency_mhz=frequency_mhz,
            erp_h_kw=1.0, erp_v_kw=1.0, delta_n=45.0, surface_refractivity_n0=325.0, plain_m=300.0,
        )  # fmt: skip
        bare, covered = (
            float(levels_at(site, *at, rx_height_m=1.5, ground=made).level_dbuvm)
            for made in (Ground(tops, surface=True), Ground(tops, woods, CLASSES, surface=True))
        )
        return bare - covered

    assert 10.0 < too_strong_db(98.0) < 14.0
    assert 20.0 < too_strong_db(600.0) < 30.0
    assert "by 10 dB and more in woods of 15 m 20 km from an FM site, by twice that" in STANDS


def test_a_point_says_whether_it_stands_on_treetops_and_how_much_of_the_ways() -> None:
    """The way's part beyond the cover by geodesics; a ground height that is given takes the place itself out."""
    network, made = example(), ground()
    there = {"lat_deg": 36.3, "lon_deg": -84.0}
    said = point_signals(network, **there, ground=made).treetops_say
    north = place(network)["north"]
    whole_km = float(inverse(north.lat_deg, north.lon_deg, 36.3, -84.0)[0]) / 1000
    way = way_over(made, "Northside", (north.lat_deg, north.lon_deg), (36.3, -84.0))

    assert said.startswith("At this place heights are those of treetops and roofs")
    assert f"of {whole_km:.1f} km of the way from" in said
    # The cover ends half a sample east of its last one: the way runs on from there.
    beyond = (whole_km * 1000) * (-84.0 - (EDGE_LON - STEP_DEG / 2)) / (-84.0 - north.lon_deg)
    assert way.bare_m == pytest.approx(beyond, abs=100.0)
    given = point_signals(network, **there, ground=made, rx_ground_m=300.0).treetops_say
    assert given.startswith("No ground cover is known, and treetops and roofs count as bare ground, on ")
    assert point_signals(network, lat_deg=36.3, lon_deg=-84.4, ground=replace(made, surface=False)).treetops_say == ""


def test_a_path_says_it_too() -> None:
    """The same length by the profile's own points."""
    network, made = example(), ground()
    north = place(network)["north"]
    answer = path_answer(network, site_id="north", lat_deg=36.3, lon_deg=-84.0, ground=made)
    way = way_over(made, "", (north.lat_deg, north.lon_deg), (36.3, -84.0))

    assert answer.treetops_m == pytest.approx(way.bare_m, abs=100.0)
    assert answer.treetops_say.startswith("At this place")
    inside = path_answer(network, site_id="north", lat_deg=north.lat_deg + 0.05, lon_deg=-84.4, ground=made)
    assert (inside.treetops_m, inside.treetops_say) == (0.0, "")


def test_a_path_says_where_zones_end_and_whether_a_sea_lies_there() -> None:
    """From 45 km off the North Sea's coast into it, over zones that end half way; none are named: nothing is said."""
    tree = json.loads((Path(__file__).parents[1] / "example-network.json").read_text(encoding="utf-8"))
    for site, lon in zip(tree["sites"], (8.0, 8.1, 8.2), strict=True):
        site["position"] = {"text": f"53.4, {lon}", "crs": "EPSG:4326"}
        site["ground_m"] = 5.0
    network = read(json.dumps(tree))
    flat = HeightGrid(np.full((400, 400), 1.0, np.float32), 55.0, 6.0, 0.01, 0.01)
    near = HeightGrid(np.zeros((80, 400), np.float32), 53.8, 6.0, 0.01, 0.01)  # from 53.0 to 53.8 N, inland
    terrain = terrain_from_grid(flat, name="flat")
    named = Ground(terrain, zones=terrain_from_grid(near, name="z", blended=False), zone_classes=((0, "inland"),))
    asked = {"site_id": "north", "lat_deg": 54.4, "lon_deg": 7.2}
    answer = path_answer(network, **asked, ground=named)  # type: ignore[arg-type]
    beyond = (54.4 - 53.805) / (54.4 - 53.4) * answer.levels.ground_distance_m
    assert answer.zones_unknown_m == pytest.approx(beyond, rel=0.02)
    assert answer.zones_unknown_m >= answer.unknown_at_sea_m > 0.5 * answer.zones_unknown_m
    assert "inland there, though" in resting_on(answer)
    bare = path_answer(network, **asked, ground=Ground(terrain))  # type: ignore[arg-type]
    assert (bare.zones_unknown_m, "zones" in resting_on(bare)) == (0.0, False)


def test_a_map_a_road_and_contours_say_on_how_much() -> None:
    """Half of a map lies beyond the cover: its km2, its people and what of both counts as served."""
    network, made = example(), ground()
    placed = place(network)
    area = grid_for((36.2, -84.3, 36.4, -84.1), pixel_m=1000.0)
    people = np.ones(area.pixels_n)
    with ThreadPoolExecutor(2) as executor:
        levels = coverage(network, area, placed=placed, ground=made, executor=executor)
        fresh = network_contours(
            network, ["north"], at_dbuvm=60.0, grid=area, placed=placed, ground=made, executor=executor
        )
    served = np.zeros(area.pixels_n, np.float32)
    found = on_treetops_of(levels, quality_class=served, people=people)
    east = np.broadcast_to(area.lon_deg >= EDGE_LON, area.shape).ravel()
    assert found.area_km2 == pytest.approx(levels.area_km2()[east].sum(), rel=0.06)
    assert found.judged_km2 == pytest.approx(levels.area_km2().sum())
    assert found.people == pytest.approx(east.sum(), rel=0.06)
    assert (found.served_km2, found.served_people) == (found.area_km2, found.people)
    assert f"On {found.area_km2:.0f} km2 of the {found.judged_km2:.0f} km2 judged" in found.says
    assert found.says.endswith("of it count as served")
    kept = coverage_contours(network, levels, ["north"], at_dbuvm=60.0)
    assert kept.treetops_say.partition(" judged")[0] == fresh.treetops_say.partition(" judged")[0] != ""
    assert on_treetops_of(replace(levels, on_treetops=None)).says == ""

    lon = np.linspace(-84.3, -84.1, 21)
    flags = line_signals(network, np.full(21, 36.3), lon, ground=made).on_treetops
    assert flags is not None
    assert flags.tolist() == [bool(at > EDGE_LON - STEP_DEG / 2) for at in lon]


def test_the_check_names_cover_that_ends_within_the_usual_map(tmp_path: Path) -> None:
    """With its share of the map; nothing where the cover reaches as far, or the terrain is of the ground itself."""
    network, made = example(), ground()
    placed = place(network)
    found = [p for p in ground_basis_problems(network, placed, made) if p.code == "surface-beyond-cover"]

    assert len(found) == 1
    # The map is bounded by the terrain: 0.4 of 0.7 degrees lie west of the edge.
    assert found[0].values["bare_km2"] / found[0].values["shown_km2"] == pytest.approx(3.0 / 7.0, abs=0.02)
    assert consequence_of(found[0], tolerated_us=1.0) == "remark"
    whole = replace(made, cover=terrain_from_grid(grid(np.full((840, 840), 30.0)), name="all", blended=False))
    for sound in (whole, replace(made, surface=False), ground(cover=False)):
        assert "surface-beyond-cover" not in {p.code for p in ground_basis_problems(network, placed, sound)}
