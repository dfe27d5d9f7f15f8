"""A site's raster out of several parts is the raster, bit for bit: whoever computes it, and in how many pieces."""

from dataclasses import replace

import numpy as np
import pytest

from sfn.field.around import rectangle
from sfn.field.raster import LevelRaster, joined, level_raster, part_of
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import Grid, grid_for
from sfn.propagation.share import Share
from sfn.terrain.dem import heights, terrain_from_grid
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

RIDGE = ridge()


def site(lat_deg: float, lon_deg: float) -> Transmitter:
    """A site in the ridge country."""
    height_m = float(heights(RIDGE, [lat_deg], [lon_deg])[0])
    return Transmitter("a", lat_deg, lon_deg, height_m, 60.0, 10.0, 0.0, 97.0, 45.0, 325.0)


def read(of: Transmitter, grid: Grid, *, void: bool = False, cover: bool = False) -> GroundWindow:
    """The ground of a site and a grid; with a small void, or with ground cover, where that is asked for."""
    tile = RIDGE.grids[0]
    terrain = RIDGE
    if void:
        holed = tile.height_m.copy()
        holed[150:152, 100:240] = np.nan
        terrain = terrain_from_grid(replace(tile, height_m=holed), name="holed")
    on_it = None
    if cover:
        trees = np.zeros(tile.height_m.shape, dtype=np.float32)
        trees[::3, ::2] = 12.0
        made = HeightGrid(trees, tile.north_deg, tile.west_deg, tile.step_lat_deg, tile.step_lon_deg)
        on_it = terrain_from_grid(made, name="trees", blended=False)
    south, west, north, east = rectangle(of, grid.bounds_deg)
    ground = Ground(terrain=terrain, cover=on_it)
    return ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)


def in_parts(of: Transmitter, grid: Grid, ground: GroundWindow, parts_n: int) -> LevelRaster:
    """The raster out of parts, each computed alone."""
    found = []
    for part_n in range(parts_n):
        share = Share(part_n, parts_n)
        raster = level_raster(of, grid, ground=ground, rx_height_m=10.0, share=share)
        found.append(part_of(raster, share))
    return joined(found[::-1], grid)


@pytest.mark.parametrize("parts_n", [2, 3, 7])
@pytest.mark.parametrize("pixel_m", [90.0, 800.0], ids=["own radial", "between radials"])
def test_parts_are_the_whole_bit_for_bit(pixel_m: float, parts_n: int) -> None:
    """With the pixels beside the site, a void that was filled, trees; and in a corner, where most parts are narrow."""
    for of, more in (
        (site(36.31, -84.21), {}),
        (site(36.42, -84.3), {"void": True}),
        (site(36.2, -84.4), {"cover": True}),
    ):
        grid = grid_for((36.17, -84.41, 36.46, -84.08), pixel_m=pixel_m)
        ground = read(of, grid, **more)
        whole = level_raster(of, grid, ground=ground, rx_height_m=10.0)
        made = in_parts(of, grid, ground, parts_n)
        for name, expected in whole.arrays().items():
            assert made.arrays()[name].tobytes() == expected.tobytes(), name
        assert (made.smooth, made.averaged) == (whole.smooth, whole.averaged)
        assert np.isfinite(whole.level_dbuvm).any()
        assert bool(more.get("void")) is bool((~whole.covered & np.isfinite(whole.level_dbuvm)).any())


def test_parts_are_about_alike_and_a_missing_one_is_refused() -> None:
    """Each has its share of the pixels; what is not whole, or doubled, is no raster."""
    of, grid = site(36.31, -84.21), grid_for((36.17, -84.41, 36.46, -84.08), pixel_m=90.0)
    ground, found = read(of, grid), []
    for part_n in range(4):
        share = Share(part_n, 4)
        found.append(part_of(level_raster(of, grid, ground=ground, rx_height_m=10.0, share=share), share))
    assert all(0.2 < part.at.size / grid.pixels_n < 0.3 for part in found)
    for wrong in (found[1:], [*found, found[2]], [*found[:3], found[2]]):
        with pytest.raises(ValueError, match="each of its pixels once"):
            joined(wrong, grid)
    turned = replace(found[3], raster=replace(found[3].raster, averaged_n=2))
    with pytest.raises(ValueError, match="one ground"):
        joined([*found[:3], turned], grid)


def test_shares_that_cannot_be_are_refused() -> None:
    """By name; and over a smooth earth there are none."""
    for part_n, of_n in ((-1, 2), (2, 2), (0, 0), (0, 5000)):
        with pytest.raises(ValueError, match="must be from"):
            Share(part_n, of_n)
    grid = grid_for((36.25, -84.45, 36.3, -84.4), pixel_m=500.0)
    with pytest.raises(ValueError, match="smooth earth"):
        level_raster(site(36.3, -84.4), grid, ground=None, rx_height_m=10.0, share=Share(0, 2))


def test_cover_that_stands_nearer_in_some_places_is_looked_for_in_all() -> None:
    """Classes with distances of their own: how far before a receiver cover ends hangs on the farthest of all."""
    tile, of = RIDGE.grids[0], site(36.31, -84.21)
    classes = np.ones(tile.height_m.shape, dtype=np.float32)
    classes[::5, ::4], classes[20:24, 30:34] = 2.0, 3.0
    made = HeightGrid(classes, tile.north_deg, tile.west_deg, tile.step_lat_deg, tile.step_lon_deg)
    ground = Ground(
        terrain=RIDGE, cover=terrain_from_grid(made, name="classes", blended=False),
        cover_classes=((1, 0.0), (2, 15.0), (3, 8.0)), clutter=((2, 12.0), (3, 140.0)),
    )  # fmt: skip
    grid = grid_for((36.17, -84.41, 36.46, -84.08), pixel_m=150.0)
    south, west, north, east = rectangle(of, grid.bounds_deg)
    window = ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east)
    whole = level_raster(of, grid, ground=window, rx_height_m=10.0)
    made_of = in_parts(of, grid, window, 5)
    for name, expected in whole.arrays().items():
        assert made_of.arrays()[name].tobytes() == expected.tobytes(), name
