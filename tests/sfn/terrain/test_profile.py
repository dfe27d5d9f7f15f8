"""Profiles run along the geodesic, and what is not known is said."""

import numpy as np
import pytest

from sfn.geodesy.line import direct, inverse
from sfn.terrain.dem import heights, terrain_from_grid, window
from sfn.terrain.heights import HeightGrid
from sfn.terrain.profile import bridged, path_points, profile, radial_positions, radials
from sfn.terrain.ridge import ridge

SUMMIT = (36.19833, -84.23083)


def test_a_profile_keeps_its_ends_and_its_step() -> None:
    """The ends are the places themselves, the steps are equal and at most as long as asked."""
    found = profile(ridge(), *SUMMIT, 36.3301, -84.1838, step_m=50.0)

    assert (*SUMMIT, 36.3301, -84.1838) == (found.lat_deg[0], found.lon_deg[0], found.lat_deg[-1], found.lon_deg[-1])
    assert np.allclose(np.diff(found.distance_m), found.distance_m[1], rtol=1e-12)
    assert 50.0 >= found.distance_m[1] > 49.0
    assert 1070.0 < found.ground_m[0] <= 1076.0


def test_a_very_short_profile_still_has_six_points() -> None:
    """Two places 10 m apart give a profile that can be drawn."""
    assert 6 == path_points(36.2, -84.2, 36.20009, -84.2, step_m=50.0)[0].size


def test_points_lie_on_the_geodesic() -> None:
    """The way over any point of the path is as long as the path, to a millimetre."""
    at_m, lat, lon = path_points(60.0, 10.0, 60.5, 14.0, step_m=20_000.0)
    whole_m = float(inverse(60.0, 10.0, 60.5, 14.0)[0])
    there, back = inverse(60.0, 10.0, lat, lon)[0], inverse(60.5, 14.0, lat, lon)[0]

    assert np.allclose(whole_m, there + back, rtol=0, atol=1e-3)
    assert np.allclose(at_m, there, rtol=0, atol=1e-3)


@pytest.mark.parametrize("lat_deg", [0.0, 36.2, -68.0])
def test_radial_positions_are_good_to_a_decimetre(lat_deg: float) -> None:
    """At any azimuth and distance the interpolated position is within 0.1 m of the geodesic's."""
    lat, lon, node_m = radial_positions(lat_deg, 179.9, azimuths=1440, range_m=100_000.0)
    picked = np.arange(0, 1440, 7)
    for at_m in (1_000.0, 49_000.0, 99_000.0):
        n, t = divmod(at_m / node_m, 1.0)
        here = [v[picked, int(n)] * (1 - t) + v[picked, int(n) + 1] * t for v in (lat, lon)]
        true = direct(lat_deg, 179.9, azimuth_deg=picked * 0.25, ground_m=np.full(picked.size, at_m))

        assert float(np.max(inverse(*here, *true)[0])) < 0.1


def test_radials_agree_with_single_profiles() -> None:
    """Heights along a radial are those of the terrain at the places of that radial."""
    grid = window(ridge(), south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    found = radials(grid, *SUMMIT, azimuths=720, step_m=40.0, range_m=4_000.0)
    lat, lon = direct(*SUMMIT, azimuth_deg=np.full(101, 123.5), ground_m=np.arange(101) * 40.0)

    assert (720, 101) == found.shape
    assert np.allclose(heights(ridge(), lat, lon), found[247], atol=0.1)


def test_radials_come_in_parts_that_equal_the_whole() -> None:
    """A part of the circle holds the same heights as the whole."""
    grid = window(ridge(), south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    whole = radials(grid, *SUMMIT, azimuths=64, step_m=100.0, range_m=3_000.0)
    part = radials(grid, *SUMMIT, azimuths=64, step_m=100.0, range_m=3_000.0, first=10, count=5)

    assert np.array_equal(whole[10:15], part)


def test_radials_beyond_the_terrain_are_not_known() -> None:
    """A radial that leaves the terrain is NaN from there on, never zero."""
    grid = window(ridge(), south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    south = radials(grid, *SUMMIT, azimuths=4, step_m=100.0, range_m=10_000.0)[2]

    assert np.isfinite(south[:43]).all()
    assert np.isnan(south[45:]).all()


def test_short_gaps_are_crossed_and_said() -> None:
    """A gap of two is crossed in a straight line, one of four is not; the first of each is named."""
    nan = np.nan
    filled, first_gap, first_break = bridged(
        [[10, nan, nan, 40, 50, 60, 70, 80], [10, 20, nan, nan, nan, nan, 70, 80], [1, 2, 3, 4, 5, 6, 7, 8]],
        most_samples=3,
    )

    assert [10, 20, 30, 40, 50, 60, 70, 80] == pytest.approx(list(filled[0]))
    assert [20, 20, 20, 20] == list(filled[1, 2:6])
    assert [1, 2, 8] == list(first_gap)
    assert [8, 2, 8] == list(first_break)


def test_an_end_that_is_not_known_is_never_crossed() -> None:
    """A gap without a far side is a break, and so is one at the site itself."""
    _, first_gap, first_break = bridged([[1, 2, np.nan], [np.nan, 2, 3]], most_samples=5)

    assert [2, 0] == list(first_gap)
    assert [2, 0] == list(first_break)


def test_a_step_of_nothing_is_refused() -> None:
    """The step is named with its value."""
    grid = terrain_from_grid(HeightGrid(np.zeros((3, 3), dtype=np.float32), 1.0, 0.0, 0.5, 0.5), name="flat")
    with pytest.raises(ValueError, match=r"step_m must be greater than 0 m, got 0\.0"):
        profile(grid, 0.2, 0.2, 0.4, 0.4, step_m=0.0)
