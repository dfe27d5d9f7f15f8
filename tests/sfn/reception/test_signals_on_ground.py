"""Signals where the terrain has gaps: what is not known is said, and never taken for sea level."""

from pathlib import Path

import numpy as np
import pytest

from sfn.answer.point import document
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.signals import PointSignals, signals_at
from sfn.reception.significance import criteria
from sfn.systems.service import service
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

NETWORK = read_file(Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json")


def at(lat_deg: float, lon_deg: float, ground: Ground) -> PointSignals:
    """Signals at a point."""
    return signals_at(
        NETWORK, {site.id: 0.0 for site in NETWORK.sites}, lat_deg=lat_deg, lon_deg=lon_deg, placed=place(NETWORK),
        counts=criteria(NETWORK, service(NETWORK.service)), ground=ground,
    )  # fmt: skip


def test_beyond_the_terrain_the_ground_is_not_known() -> None:
    """Off the terrain nobody is listed, everybody is named, and the ground is none, not 0."""
    found = at(36.05, -84.20, Ground(terrain=ridge()))

    assert () == found.signals
    assert tuple(site.name for site in NETWORK.sites) == found.uncovered
    assert found.rx_ground_m is None
    assert document(found)["rx_ground_m"] is None


def test_a_signal_over_a_filled_gap_is_listed_and_marked() -> None:
    """Behind a gap of 300 m the site is listed, and named as crossing a gap; it is not called left out."""
    grid = ridge().grids[0]
    heights = grid.height_m.copy()
    row, column = (
        round((grid.north_deg - 36.215) / grid.step_lat_deg),
        round((-84.232 - grid.west_deg) / grid.step_lon_deg),
    )
    heights[row : row + 4, column - 15 : column + 15] = np.nan
    holed = terrain_from_grid(
        HeightGrid(heights, grid.north_deg, grid.west_deg, grid.step_lat_deg, grid.step_lon_deg), name="holed"
    )
    found = at(36.25, -84.232, Ground(terrain=holed))

    assert "Summit" in found.over_gaps
    assert "Summit" in [signal.site_name for signal in found.signals]
    assert () == found.uncovered
    assert found.rx_ground_m == pytest.approx(at(36.25, -84.232, Ground(terrain=ridge())).rx_ground_m)
