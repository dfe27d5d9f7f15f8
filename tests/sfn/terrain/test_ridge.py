"""The ridge terrain lies where it should."""

from collections.abc import Callable

import numpy as np
import pytest

from sfn.terrain.dem import heights
from sfn.terrain.ridge import ridge


def test_the_true_bounds_stand_not_those_of_the_file() -> None:
    """South 36.159583, west -84.41375, north 36.44625, east -84.077917, row 0 in the north."""
    assert (36.159583, -84.41375, 36.44625, -84.077917) == pytest.approx(ridge().bounds_deg, abs=1e-6)


def test_the_summit_is_where_the_map_has_it(published: Callable[..., None]) -> None:
    """Cross Mountain's summit, 1 076 m, at 36.198 N 84.231 W."""
    grid = ridge().grids[0]
    row, column = np.unravel_index(int(np.argmax(grid.height_m)), grid.height_m.shape)

    assert (36.198, -84.231) == pytest.approx(
        (grid.north_deg - row * grid.step_lat_deg, grid.west_deg + column * grid.step_lon_deg), abs=1e-3
    )
    published(
        "summit of the ridge terrain", float(heights(ridge(), 36.19833, -84.23083)), 1076.0, tolerance=1.0, unit="m",
        source="map height of the summit, from memory", reason="a place written to five decimals",
    )  # fmt: skip


def test_towns_have_their_heights(published: Callable[..., None]) -> None:
    """The town in the valley stands within 15 m of its published elevation."""
    published(
        "Jacksboro, Tennessee", float(heights(ridge(), 36.3301, -84.1838)), 323.0, tolerance=15.0, unit="m",
        source="gazetteer, from memory", reason="one number for a whole town",
    )  # fmt: skip


def test_it_covers_itself_without_voids() -> None:
    """Every sample is known and between 236 and 1 076 m."""
    grid = ridge().grids[0]

    assert (344, 403) == grid.height_m.shape
    assert (236.0, 1076.0) == (grid.height_m.min(), grid.height_m.max())
