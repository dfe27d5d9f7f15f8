"""Profiles run along the geodesic, and what is not known is said."""

import numpy as np
import pytest

from sfn.geodesy.line import inverse
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.heights import HeightGrid
from sfn.terrain.profile import path_points, profile
from sfn.terrain.ridge import ridge

SUMMIT = (36.19833, -84.23083)


def test_a_profile_keeps_its_ends_and_its_step() -> None:
    """The ends are the places themselves; steps are as asked, the last one half to one and a half of that."""
    found = profile(ridge(), *SUMMIT, 36.3301, -84.1838, step_m=50.0)

    assert (*SUMMIT, 36.3301, -84.1838) == (found.lat_deg[0], found.lon_deg[0], found.lat_deg[-1], found.lon_deg[-1])
    assert np.allclose(50.0, np.diff(found.distance_m)[:-1])
    assert 25.0 <= np.diff(found.distance_m)[-1] < 75.0
    assert 1070.0 < found.ground_m[0] <= 1076.0


def test_a_very_short_profile_has_its_two_ends() -> None:
    """Two places 10 m apart are a profile of two points."""
    at_m, _, _ = path_points(36.2, -84.2, 36.20009, -84.2, step_m=50.0)

    assert [0.0, 10.0] == pytest.approx(list(at_m), abs=0.1)


def test_points_lie_on_the_geodesic() -> None:
    """The way over any point of the path is as long as the path, to a millimetre."""
    at_m, lat, lon = path_points(60.0, 10.0, 60.5, 14.0, step_m=20_000.0)
    whole_m = float(inverse(60.0, 10.0, 60.5, 14.0)[0])
    there, back = inverse(60.0, 10.0, lat, lon)[0], inverse(60.5, 14.0, lat, lon)[0]

    assert np.allclose(whole_m, there + back, rtol=0, atol=1e-3)
    assert np.allclose(at_m, there, rtol=0, atol=1e-3)


def test_beyond_the_terrain_the_profile_is_not_known() -> None:
    """A profile that leaves the terrain is NaN from there on, never zero."""
    found = profile(ridge(), *SUMMIT, 36.1, -84.23083, step_m=100.0)

    assert np.isfinite(found.ground_m[:43]).all()
    assert np.isnan(found.ground_m[45:]).all()


def test_a_step_of_nothing_is_refused() -> None:
    """The step is named with its value."""
    grid = terrain_from_grid(HeightGrid(np.zeros((3, 3), dtype=np.float32), 1.0, 0.0, 0.5, 0.5), name="flat")
    with pytest.raises(ValueError, match=r"step_m must be greater than 0 m, got 0\.0"):
        profile(grid, 0.2, 0.2, 0.4, 0.4, step_m=0.0)
