"""One path over real ground: what it rests on, what it refuses to answer, and how antennas bear on it."""

from dataclasses import replace

import numpy as np
import pytest

from sfn.antenna import Pattern
from sfn.field.levels import Transmitter, levels_at
from sfn.field.path import path_levels
from sfn.propagation.p1812 import path_loss
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

SUMMIT = Transmitter(
    id="summit", lat_deg=36.19833, lon_deg=-84.23083, ground_m=1076.0, antenna_m=60.0, erp_h_kw=3.0, erp_v_kw=0.0,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip
TOWN = (36.3301, -84.1838)
BOUNDS = {"south_deg": 36.16, "west_deg": -84.413, "north_deg": 36.446, "east_deg": -84.078}


@pytest.fixture(scope="module")
def ground() -> GroundWindow:
    """The ridge terrain as arrays."""
    return ground_window(Ground(terrain=ridge()), **BOUNDS)


def flat(height_m: float, **voids: slice) -> GroundWindow:
    """Level ground of 0.3 x 0.3 degrees with 3 arc-second samples, with a void."""
    heights = np.full((361, 361), height_m, dtype=np.float32)
    if voids:
        heights[voids["rows"], voids["columns"]] = np.nan
    terrain = terrain_from_grid(HeightGrid(heights, 36.3, -84.4, 1 / 1200, 1 / 1200), name="flat")
    return ground_window(Ground(terrain=terrain), south_deg=36.0, west_deg=-84.4, north_deg=36.3, east_deg=-84.1)


def test_the_answer_is_p1812_over_the_profile(ground: GroundWindow) -> None:
    """The level is P.1812's field for 1 kW, plus the e.r.p., over the profile that is shown."""
    found = path_levels(SUMMIT, *TOWN, ground=ground, rx_height_m=10.0)
    again = path_loss(
        found.ground.distance_m / 1000.0, found.ground.ground_m, frequency_mhz=98.3, tx_height_m=60.0,
        rx_height_m=10.0, polarisation="H", time_pct=50.0, latitude_deg=found.loss[0].intermediates["phi"],
    )  # fmt: skip

    assert again.field_dbuvm + 10 * np.log10(3.0) == pytest.approx(found.level_dbuvm[0], abs=1e-9)
    assert found.ground.covered
    assert not found.ground.smooth
    assert found.level_dbuvm[1] >= found.level_dbuvm[0]


def test_the_sites_own_height_stands_at_the_foot_of_the_mast(ground: GroundWindow) -> None:
    """The first point has the typed ground height, the last the terrain's, or the given one."""
    found = path_levels(replace(SUMMIT, ground_m=1070.0), *TOWN, ground=ground, rx_height_m=10.0)
    given = path_levels(SUMMIT, *TOWN, ground=ground, rx_height_m=10.0, rx_ground_m=330.0)

    assert 1070.0 == found.ground.ground_m[0]
    assert (330.0, 330.0, 340.0) == (given.ground.ground_m[-1], given.rx_ground_m, given.rx_m)


def test_beyond_the_terrain_there_is_no_level(ground: GroundWindow) -> None:
    """A point off the terrain gets NaN and says where the ground ends; it is never taken for sea level."""
    found = path_levels(SUMMIT, 36.10, -84.23, ground=ground, rx_height_m=1.5)

    assert all(np.isnan(v) for v in found.level_dbuvm)
    assert (False, True) == (found.ground.covered, found.ground.broken)
    assert 4_200.0 < found.ground.gap_from_m < 4_500.0
    assert np.isnan(found.rx_ground_m)


def test_a_small_void_is_crossed_and_said() -> None:
    """Over a void of 500 m there is a level, marked as not covered; over one of 3 km there is none."""
    site = replace(SUMMIT, lat_deg=36.25, lon_deg=-84.35, ground_m=200.0)
    small, large = (flat(200.0, rows=slice(100, last), columns=slice(40, 80)) for last in (105, 135))
    short = path_levels(site, 36.1, -84.35, ground=small, rx_height_m=10.0)
    long = path_levels(site, 36.1, -84.35, ground=large, rx_height_m=10.0)
    whole = path_levels(site, 36.1, -84.35, ground=flat(200.0), rx_height_m=10.0)

    assert whole.level_dbuvm == pytest.approx(short.level_dbuvm, abs=1e-6)
    assert (False, False, True) == (short.ground.covered, short.ground.broken, long.ground.broken)
    assert np.isnan(long.level_dbuvm[0])


def test_the_edge_of_the_terrain_is_not_a_void_to_fill() -> None:
    """A strip of 500 m that is missing along the edge stays missing."""
    ground = flat(200.0, rows=slice(355, 361), columns=slice(0, 361))

    assert ground.filled is None
    assert np.isnan(ground.terrain.height_m[-3]).all()


def test_a_void_in_the_sea_is_sea_level() -> None:
    """Where the zones say sea, terrain that is not known is 0 m, and known."""
    heights = np.full((361, 361), 200.0, dtype=np.float32)
    heights[100:200, 100:200] = np.nan
    sea = np.where(np.isnan(heights), 7.0, 5.0).astype(np.float32)
    terrain, zones = (
        terrain_from_grid(HeightGrid(values, 36.3, -84.4, 1 / 1200, 1 / 1200), name="coast", blended=blended)
        for values, blended in ((heights, True), (sea, False))
    )
    both = Ground(terrain=terrain, zones=zones, zone_classes=((5, "inland"), (7, "sea")))
    found = ground_window(both, south_deg=36.1, west_deg=-84.35, north_deg=36.25, east_deg=-84.2)

    assert {0.0, 200.0} == set(np.unique(found.terrain.height_m).tolist())
    assert found.filled is None


def test_level_terrain_equals_the_smooth_earth() -> None:
    """Over level ground at 200 m the levels with and without terrain are the same, at both percentages."""
    site = replace(SUMMIT, lat_deg=36.25, lon_deg=-84.35, ground_m=200.0, plain_m=200.0)
    over = path_levels(site, 36.1, -84.2, ground=flat(200.0), rx_height_m=10.0, step_m=100.0)
    smooth = path_levels(site, 36.1, -84.2, ground=GroundWindow(), rx_height_m=10.0, rx_ground_m=200.0)

    assert over.level_dbuvm == pytest.approx(smooth.level_dbuvm, abs=1e-3)
    assert smooth.ground.smooth


def test_cover_on_the_way_takes_level_and_at_the_receiver_does_not(ground: GroundWindow) -> None:
    """A wood of 20 m between the antennas lowers the level; the receiver's own cover is not counted."""
    woods = np.full((361, 361), 20.0, dtype=np.float32)
    plain = flat(200.0)
    wooded = GroundWindow(plain.terrain, HeightGrid(woods, 36.3, -84.4, 1 / 1200, 1 / 1200))
    site = replace(SUMMIT, lat_deg=36.25, lon_deg=-84.35, ground_m=200.0, antenna_m=30.0)
    bare, covered = (
        path_levels(site, 36.15, -84.25, ground=g, rx_height_m=10.0).level_dbuvm[0] for g in (plain, wooded)
    )

    assert bare > covered + 3.0


def test_sea_on_the_way_lifts_the_rare_level(ground: GroundWindow) -> None:
    """Over sea the level exceeded for 1 % of time is higher than over land; the median hardly differs."""
    sea = HeightGrid(np.full((361, 361), 2.0, dtype=np.float32), 36.3, -84.4, 1 / 1200, 1 / 1200)
    plain = flat(0.0)
    site = replace(SUMMIT, lat_deg=36.29, lon_deg=-84.39, ground_m=0.0, antenna_m=30.0)
    land, water = (
        path_levels(site, 36.01, -84.11, ground=GroundWindow(plain.terrain, None, zones), rx_height_m=10.0).level_dbuvm
        for zones in (None, sea)
    )

    assert water[1] > land[1] + 1.0


def test_the_antenna_takes_off_what_its_table_says(ground: GroundWindow) -> None:
    """Behind the antenna the level is lower by the table; the vertical table is read at the ray's elevation."""
    horizontal = ((0.0, 0.0), (90.0, 10.0), (180.0, 20.0), (270.0, 10.0))
    vertical = ((-90.0, 40.0), (0.0, 0.0), (90.0, 40.0))
    pattern = Pattern(180.0, 0.0, 0.0, horizontal, vertical, None, None)
    free = path_levels(SUMMIT, *TOWN, ground=ground, rx_height_m=10.0)
    aimed = path_levels(replace(SUMMIT, pattern=pattern), *TOWN, ground=ground, rx_height_m=10.0)
    by_table = np.interp(free.bearing_deg, [0.0, 90.0], [20.0, 10.0]) - 40.0 / 90.0 * free.loss[0].tx_elevation_deg

    assert by_table == pytest.approx(aimed.attenuation_db, abs=1e-9)
    assert free.level_dbuvm[0] - by_table == pytest.approx(aimed.level_dbuvm[0], abs=1e-9)


def test_the_stronger_plane_is_found_for_each_direction(ground: GroundWindow) -> None:
    """With the horizontal plane shielded towards the receiver, the weaker vertical plane is the one received."""
    shielded = Pattern(0.0, 0.0, 0.0, ((0.0, 30.0), (180.0, 30.0)), None, None, None)
    both = replace(SUMMIT, erp_v_kw=0.3, pattern=shielded)
    found = path_levels(both, *TOWN, ground=ground, rx_height_m=10.0)

    assert (10 * np.log10(0.3), 0.0) == pytest.approx((found.erp_dbk, found.attenuation_db))


def test_levels_at_points_are_those_of_their_paths(ground: GroundWindow) -> None:
    """The seam gives, point by point, what the path gives."""
    lat, lon = [36.3301, 36.25, 36.10], [-84.1838, -84.10, -84.23]
    found = levels_at(SUMMIT, lat, lon, rx_height_m=10.0, ground=ground)
    single = [path_levels(SUMMIT, a, b, ground=ground, rx_height_m=10.0) for a, b in zip(lat, lon, strict=True)]

    assert [p.level_dbuvm[0] for p in single] == pytest.approx(list(found.level_dbuvm), nan_ok=True)
    assert [True, True, False] == list(found.covered)
    assert not found.smooth


def test_many_points_by_the_sweep_are_those_of_their_paths(ground: GroundWindow) -> None:
    """Forty points at once get the levels of their own paths, but for a metre of bearing: 0.1 dB in rough ground."""
    lat, lon = np.linspace(36.2, 36.43, 40), np.linspace(-84.4, -84.09, 40)
    found = levels_at(SUMMIT, lat, lon, rx_height_m=10.0, ground=ground)
    single = [path_levels(SUMMIT, a, b, ground=ground, rx_height_m=10.0) for a, b in zip(lat, lon, strict=True)]
    apart = np.array([p.level_dbuvm for p in single]).T - [found.level_dbuvm, found.level_1pct_dbuvm]

    assert float(np.max(np.abs(apart))) < 0.3
    assert float(np.sqrt(np.mean(apart**2))) < 0.05
    assert [p.loss[0].line_of_sight for p in single] == list(found.line_of_sight)


def test_given_heights_hold_over_a_smooth_earth_too() -> None:
    """Forty points on two heights without terrain get what their own paths give."""
    site = replace(SUMMIT, ground_m=200.0)
    lat, lon = np.linspace(36.2, 37.43, 40), np.linspace(-84.4, -83.09, 40)
    ground_m = np.where(np.arange(40) % 2, 150.0, 300.0)
    found = levels_at(site, lat, lon, rx_height_m=10.0, rx_ground_m=ground_m)
    single = [
        path_levels(site, a, b, ground=GroundWindow(), rx_height_m=10.0, rx_ground_m=h).level_dbuvm
        for a, b, h in zip(lat, lon, ground_m, strict=True)
    ]

    assert np.allclose(np.array(single).T, [found.level_dbuvm, found.level_1pct_dbuvm], rtol=0, atol=1e-3)
    assert found.smooth


def test_a_receiver_at_the_mast_has_a_level(ground: GroundWindow) -> None:
    """At the site itself the distance is that to the antenna above: no division by zero."""
    found = path_levels(SUMMIT, 36.19833, -84.23083, ground=ground, rx_height_m=1.5)

    assert 100.0 < found.level_dbuvm[0] < 160.0


def test_a_height_out_of_range_is_refused(ground: GroundWindow) -> None:
    """The model's limits hold, by name."""
    with pytest.raises(ValueError, match="rx_height_m must be from 1 to 3000 m"):
        path_levels(SUMMIT, *TOWN, ground=ground, rx_height_m=0.5)


def test_terrain_from_a_grid_keeps_its_place() -> None:
    """A grid made into terrain and windowed again has the same heights at the same places."""
    grid = flat(123.0).terrain
    again = ground_window(
        Ground(terrain=terrain_from_grid(grid, name="flat")),
        south_deg=36.1,
        west_deg=-84.3,
        north_deg=36.2,
        east_deg=-84.2,
    )

    assert {123.0} == set(np.unique(again.terrain.height_m).tolist())
