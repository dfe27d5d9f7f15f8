"""Contours lie where the level is, and what reaches out is measured."""

import numpy as np
import pytest

from sfn.field.contours import area_geometry, contours, inside, isolines, overreach, regions
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.line import inverse

GRID = grid_for((46.9, 7.9, 47.1, 8.1), pixel_m=100.0)


def cone(grid: Grid, lat_deg: float = 47.0, lon_deg: float = 8.0) -> np.ndarray:
    """A level that falls 1 dB a 100 m from a place, 100 dB there."""
    return 100.0 - inverse(lat_deg, lon_deg, *grid.points_deg)[0] / 100.0


def test_a_contour_lies_where_the_level_is() -> None:
    """The contour of a cone is a circle: every point at the radius, within a hundredth of a pixel."""
    (area,) = contours(cone(GRID), GRID, at_dbuvm=50.0)
    away_m = inverse(47.0, 8.0, area.outer[:, 1], area.outer[:, 0])[0]

    assert np.allclose(5000.0, away_m, rtol=0, atol=5.0)
    assert np.array_equal(area.outer[0], area.outer[-1])
    assert () == area.holes


def test_rings_turn_as_geojson_wants() -> None:
    """Outer rings run anticlockwise, holes clockwise."""
    ring = np.minimum(cone(GRID), 160.0 - 1.2 * cone(GRID))
    (area,) = contours(ring, GRID, at_dbuvm=50.0)

    def turn(points: np.ndarray) -> float:
        """Signed area."""
        return float(np.sum(points[:-1, 0] * points[1:, 1] - points[1:, 0] * points[:-1, 1]))

    assert 1 == len(area.holes)
    assert turn(area.outer) > 0 > turn(area.holes[0])
    assert ["Polygon", 2] == [area_geometry(area)["type"], len(area_geometry(area)["coordinates"])]


def test_the_mask_of_a_contour_is_the_raster_above_it() -> None:
    """Contours drawn and filled again give the pixels at or above the level, but for pixels on the line."""
    level = cone(GRID)
    again = inside(contours(level, GRID, at_dbuvm=60.0), GRID)

    assert np.array_equal(again[np.abs(level - 60.0) > 0.02], (level > 60.0)[np.abs(level - 60.0) > 0.02])


def test_the_largest_area_comes_first() -> None:
    """Two separate areas, the larger first."""
    level = np.maximum(cone(GRID), cone(GRID, 46.93, 7.93) - 30.0)
    first, second = contours(level, GRID, at_dbuvm=60.0)

    assert len(first.outer) > len(second.outer)


def test_not_covered_is_not_inside() -> None:
    """Pixels without a level are outside every contour."""
    level = cone(GRID)
    level[: GRID.rows_n // 2] = np.nan

    assert not inside(contours(level, GRID, at_dbuvm=50.0), GRID)[: GRID.rows_n // 2 - 1].any()


def test_an_area_that_goes_on_ends_at_the_grids_edge() -> None:
    """A level that is reached everywhere is one area with the grid's own bounds."""
    (area,) = contours(cone(GRID), GRID, at_dbuvm=-1000.0)
    south, west, north, east = GRID.bounds_deg

    assert (west, south, east, north) == pytest.approx((*area.outer.min(axis=0), *area.outer.max(axis=0)))
    assert inside((area,), GRID).all()


def test_nothing_above_is_no_area() -> None:
    """A level that is nowhere reached has no contour, and its mask is empty."""
    assert () == contours(cone(GRID), GRID, at_dbuvm=120.0)
    assert not inside((), GRID).any()


def test_a_fill_in_inside_the_main_stays_inside() -> None:
    """A small circle within a large one does not reach out."""
    found = overreach(cone(GRID, 47.01, 8.0) > 85.0, cone(GRID) > 50.0, GRID)

    assert (True, 0.0, 0.0) == (found.inside, found.outside_km2, found.farthest_m)


def test_what_reaches_out_is_measured() -> None:
    """A circle of 1.5 km whose centre lies on the main's edge reaches out by 1.5 km, with about half its area."""
    fill = cone(GRID, 47.0, 8.0 + 5000.0 / 75_990.0) > 85.0
    found = overreach(fill, cone(GRID) > 50.0, GRID)

    assert not found.inside
    assert 1500.0 == pytest.approx(found.farthest_m, abs=200.0)
    assert np.pi * 1.5**2 * 0.55 == pytest.approx(found.outside_km2, rel=0.1)
    assert 55.0 == pytest.approx(found.outside_pct, abs=5.0)
    assert (47.0, 8.0 + 6500.0 / 75_990.0) == pytest.approx((found.lat_deg, found.lon_deg), abs=6e-3)
    assert not found.edge_cut


def test_an_area_that_leaves_the_grid_is_said() -> None:
    """What was not looked at is said."""
    assert overreach(cone(GRID, 46.9, 8.0) > 70.0, cone(GRID) > 0.0, GRID).edge_cut


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: contours(np.zeros((3, 3)), GRID, at_dbuvm=50.0), "must have the grid's shape"),
        (lambda: contours(cone(GRID), GRID, at_dbuvm=np.nan), "at_dbuvm must be a number"),
        (lambda: overreach(cone(GRID) > 0, cone(GRID) > 900, GRID), "outer must contain at least one pixel"),
        (lambda: overreach(np.ones((2, 2)), cone(GRID) > 0, GRID), "inner must have the grid's shape"),
    ],
)
def test_what_cannot_be_compared_is_refused(call: object, text: str) -> None:
    """Shapes and levels that make no sense are refused by name."""
    with pytest.raises(ValueError, match=text):
        call()


def test_regions_leave_out_speckle_and_keep_the_rest() -> None:
    """A block of 100 pixels with a hole of one and a speck of one beside it: block whole, speck gone."""
    grid = grid_for((36.0, -84.2, 36.2, -84.0), pixel_m=500)
    mask = np.zeros(grid.shape, dtype=bool)
    mask[5:15, 5:15], mask[9, 9], mask[20, 20] = True, False, True

    every, some = regions(mask, grid), regions(mask, grid, least_pixels_n=6)
    assert [(len(area.holes)) for area in every] == [1, 0]
    assert [len(area.holes) for area in some] == [0]
    assert inside(some, grid)[5:15, 5:15].all()
    assert not inside(some, grid)[20, 20]


def test_an_isoline_lies_where_the_raster_has_its_value() -> None:
    """A plane that rises by 1 a column: the line at 7.25 stands a quarter of the way from column 7 to 8."""
    grid = grid_for((36.0, -84.2, 36.2, -84.0), pixel_m=500)
    values = np.broadcast_to(np.arange(grid.columns_n, dtype=float), grid.shape).copy()
    values[10] = np.nan
    lines = isolines(values, grid, at=7.25)

    assert len(lines) == 2  # cut where nothing is known
    for line in lines:
        np.testing.assert_allclose(line.at_pixels[:, 0], 7.25)
        step = grid.lon_deg[1] - grid.lon_deg[0]
        np.testing.assert_allclose(line.lon_lat[:, 0], grid.lon_deg[7] + 0.25 * step)
