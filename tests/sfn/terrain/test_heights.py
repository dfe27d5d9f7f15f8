"""Heights between samples, at the edge, over voids and across the date line."""

import numpy as np
import pytest

from sfn.terrain.heights import HeightGrid, sample, sample_nearest


def plane(west_deg: float = 10.0) -> HeightGrid:
    """A grid of 4 x 5 samples of a plane: 100 + 10 rows + 3 columns."""
    rows, columns = np.mgrid[0:4, 0:5]
    return HeightGrid((100 + 10 * rows + 3 * columns).astype(np.float32), 50.0, west_deg, 0.5, 0.25)


def test_between_samples_a_plane_stays_a_plane() -> None:
    """Bilinear sampling gives a plane back exactly."""
    assert 100 + 10 * 1.5 + 3 * 2.25 == pytest.approx(float(sample(plane(), 50.0 - 0.75, 10.0 + 2.25 * 0.25)))


def test_half_a_step_outside_counts_and_no_more() -> None:
    """The outermost samples' cells are covered; beyond them nothing is known."""
    found = sample(plane(), [50.2, 50.3, 49.0], [10.0, 10.0, 11.1])

    assert [100.0, 100 + 20 + 12] == [found[0], found[2]]
    assert np.isnan(found[1])


def test_a_void_bears_only_where_it_has_weight() -> None:
    """A void spoils the four cells that touch it, not the samples beside it."""
    grid = plane()
    grid.height_m[1, 1] = np.nan
    found = sample(grid, [49.5, 49.5, 49.6, 50.0], [10.25, 10.5, 10.3, 10.25])

    assert [True, False, True, False] == list(np.isnan(found))


def test_the_date_line_is_a_place_like_any_other() -> None:
    """A grid from 179.75 east to 179.25 west answers to both ways of writing a longitude."""
    found = sample(plane(179.75), 50.0, [180.0, -180.0, 180.25, -179.75])

    assert [103.0, 103.0, 106.0, 106.0] == pytest.approx(list(found))


def test_nearest_never_blends() -> None:
    """Classes are taken from the nearest sample."""
    found = sample_nearest(plane(), [49.9, 49.7, 51.0], [10.1, 10.2, 10.0])

    assert [100.0, 113.0] == list(found[:2])
    assert np.isnan(found[2])


def test_points_keep_their_shape() -> None:
    """A table of points gives a table of heights, a single point a single height."""
    assert (2, 3) == sample(plane(), np.full((2, 3), 49.5), 10.5).shape
    assert () == sample(plane(), 49.5, 10.5).shape


def test_bounds_are_those_of_the_cells() -> None:
    """The grid's bounds run half a step beyond its samples."""
    assert (48.25, 9.875, 50.25, 11.125) == plane().bounds_deg
