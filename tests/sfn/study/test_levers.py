"""What else would help: where the sector with most harm lies, by the compass."""

from math import atan2, cos, degrees, radians

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.reception.coverage import Coverage
from sfn.study.levers import SECTOR_DEG, _bearings, _worst_sector, compass
from tests.sfn.networks import example

SITES = ("north", "south", "gap")


def coverage() -> Coverage:
    """A grid round the example's sites; levels do not matter here."""
    grid = grid_for((36.1, -84.4, 36.5, -84.0), pixel_m=500, most_pixels_n=20_000)
    pixels_n = grid.rows_n * grid.columns_n
    nothing = np.zeros((3, pixels_n), np.float32)
    flat = np.zeros(pixels_n, np.float32)
    return Coverage(grid, SITES, nothing, nothing, np.zeros((3, pixels_n)), flat, np.ones(pixels_n, bool), True)


@pytest.mark.parametrize("i", range(3))
def test_bearings_are_those_of_the_geodesic(i: int) -> None:
    """Clockwise from north, within a degree of the geodesic beyond some pixels from the site."""
    network, computed = example(), coverage()
    at = place(network)[SITES[i]]
    lat = np.repeat(computed.grid.lat_deg, computed.grid.columns_n)
    lon = np.broadcast_to(computed.grid.lon_deg, computed.grid.shape).ravel()
    ground, bearing, _ = inverse(at.lat_deg, at.lon_deg, lat, lon)
    off = np.abs((_bearings(computed, network, i) - bearing + 180) % 360 - 180)

    assert off[ground > 3000].max() < 1.0


@given(st.floats(0, 359), st.integers(0, 10_000))
def test_the_worst_sector_lies_where_the_harm_is(towards_deg: float, seed: int) -> None:
    """Harm in one direction and a little everywhere: the sector's middle is within half a step of it."""
    rng = np.random.default_rng(seed)
    east, north = rng.uniform(-1, 1, (2, 4000))
    bearing = np.array([degrees(atan2(e, n)) % 360 for e, n in zip(east, north, strict=True)])
    unit = np.array([sin_of(towards_deg), cos(radians(towards_deg))])
    beside = np.degrees(np.arccos(np.clip((east * unit[0] + north * unit[1]) / np.hypot(east, north), -1, 1)))
    weight = np.where(beside < 25, 1.0, 0.0)
    middle, where = _worst_sector(bearing, weight)

    assert abs((middle - towards_deg + 180) % 360 - 180) <= 7.5 + 2
    assert where[weight > 0].mean() > 0.9
    assert not where[beside > SECTOR_DEG / 2 + 10].any()


def sin_of(angle_deg: float) -> float:
    """East part of a bearing."""
    return cos(radians(angle_deg - 90))


def test_the_compass() -> None:
    """Each name in the middle of its eighth."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    assert tuple(compass(45.0 * k + off) for k in range(8) for off in (-20, 0, 20)) == tuple(
        name for name in names for _ in range(3)
    )
