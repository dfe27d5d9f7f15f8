"""The shaded ground of a map that has no levels yet."""

import numpy as np
import pytest

from sfn.report.ground import _middles


@pytest.mark.parametrize(("pixels_n", "parts_n"), [(12, 4), (10, 5), (7, 7)])
def test_a_coarser_pixel_stands_in_the_middle_of_those_it_covers(pixels_n: int, parts_n: int) -> None:
    """The mean of their centres, so that the picture lies on the map and not half a pixel beside it."""
    centres = np.linspace(36.0, 37.0, pixels_n)
    np.testing.assert_allclose(_middles(centres, parts_n), centres.reshape(parts_n, -1).mean(axis=1), rtol=1e-12)
