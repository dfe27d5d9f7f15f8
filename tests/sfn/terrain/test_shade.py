"""Hillshade: light from where it should come."""

import numpy as np
import pytest

from sfn.terrain.shade import hillshade


def test_level_ground_has_the_sine_of_the_suns_elevation() -> None:
    """On a plain the light is sin(elevation)."""
    assert np.allclose(
        np.sin(np.radians(30.0)), hillshade(np.zeros((4, 4)), step_x_m=90, step_y_m=90, sun_elevation_deg=30)
    )


def test_a_slope_that_faces_the_sun_is_full_of_light_and_its_back_is_dark() -> None:
    """A slope of 45 degrees that falls to the north-west gets 1, the one that falls to the south-east 0."""
    rows, columns = np.mgrid[0:5, 0:5]
    to_north_west = (rows + columns) * 100.0 / np.sqrt(2.0)

    assert np.allclose(1.0, hillshade(to_north_west, step_x_m=100, step_y_m=100), atol=1e-6)
    assert np.allclose(0.0, hillshade(-to_north_west, step_x_m=100, step_y_m=100), atol=1e-6)


def test_where_no_height_is_known_there_is_no_light() -> None:
    """Unknown ground stays unknown."""
    ground = np.zeros((6, 6))
    ground[3, 3] = np.nan
    light = hillshade(ground, step_x_m=90, step_y_m=90)

    assert np.isnan(light[3, 3])
    assert np.isfinite(light[0]).all()


def test_a_single_row_is_refused() -> None:
    """A slope needs two rows."""
    with pytest.raises(ValueError, match="2 rows and columns or more"):
        hillshade(np.zeros((1, 5)), step_x_m=90, step_y_m=90)
