"""A published levelling network: height differences are to heights what delay differences are to launch times.

Worked example of one-dimensional adjustment from the documentation of a general geodetic adjustment program
(vrmapper.com/gama/1doutput.html, read there): point 1 held at 1000 m, eight differences, 5 mm each.
"""

from collections.abc import Callable

import numpy as np
import pytest

from sfn.survey.adjustment import adjust

SOURCE = "vrmapper.com/gama/1doutput.html, one-dimensional network"
TO_FROM = [(4, 1), (3, 4), (2, 3), (1, 2), (2, 1), (3, 2), (4, 3), (1, 4)]
OBSERVED_M = [-1.225, -0.848, 1.342, 0.720, -0.724, -1.335, 0.842, 1.231]


def solve(**options: object) -> object:
    """The network, in metres where ours says microseconds."""
    site, reference = np.array(TO_FROM).T - 1
    return adjust(
        site, reference, difference_us=OBSERVED_M, uncertainty_us=[0.005] * 8, sites_n=4, **options  # type: ignore[arg-type]
    )  # fmt: skip


def test_heights(published: Callable[..., None]) -> None:
    """Adjusted heights to a micrometre."""
    found = solve(held_us={0: 1000.0})
    for point, height_m in ((4, 998.775125), (3, 997.933250), (2, 999.274875)):
        ours = float(found.value_us[point - 1])
        published(f"height of point {point}", ours, height_m, tolerance=1e-6, unit="m", source=SOURCE)

    assert 1000.0 == found.value_us[0]


def test_statistics(published: Callable[..., None]) -> None:
    """Sum of squares, standard deviations, redundancy, w, chi-square and its limits, rank and freedom."""
    found = solve(held_us={0: 1000.0})
    m0_mm = 5.0 * found.scale_ratio
    sum_mm2 = 1e6 * float(np.sum(found.residual_us**2))
    published("sum of squared residuals", sum_mm2, 146.625, tolerance=1e-3, unit="mm2", source=SOURCE)
    published("standard deviation of unit weight", m0_mm, 5.415, tolerance=1e-3, unit="mm", source=SOURCE)
    for point, sigma_mm in ((4, 3.06), (3, 3.54), (2, 3.06)):
        ours = 1e3 * float(found.uncertainty_us[point - 1])
        published(f"standard deviation of point {point}", ours, sigma_mm, tolerance=5e-3, unit="mm", source=SOURCE)
    for number, r in enumerate(found.redundancy_ratio, start=1):
        published(f"redundancy of observation {number}", float(r), 0.625, tolerance=1e-6, unit="1", source=SOURCE)
    worst = int(np.argmax(np.abs(found.w_ratio)))
    published("largest w", abs(float(found.w_ratio[worst])), 1.676, tolerance=1e-3, unit="1", source=SOURCE)
    published("chi-square", found.chi_square_ratio, 5.865, tolerance=1e-3, unit="1", source=SOURCE)
    published("its lower 95 % limit", found.chi_square_limits[0], 0.831, tolerance=1e-3, unit="1", source=SOURCE)
    published("its upper 95 % limit", found.chi_square_limits[1], 12.833, tolerance=1e-3, unit="1", source=SOURCE)

    assert (6, 5, 3) == (worst + 1, found.freedom, found.rank)
    matrix = np.zeros((8, 4))
    for row, (to, start) in enumerate(TO_FROM):
        matrix[row, to - 1], matrix[row, start - 1] = 1.0, -1.0
    assert 3 == np.linalg.matrix_rank(matrix)


def test_differences_do_not_depend_on_the_datum() -> None:
    """With no point held the heights sum to zero, and every difference, w and redundancy stays the same."""
    held, free = solve(held_us={0: 1000.0}), solve()

    assert 0.0 == pytest.approx(float(free.value_us.sum()), abs=1e-12)
    np.testing.assert_allclose(np.diff(free.value_us), np.diff(held.value_us), atol=1e-12)
    np.testing.assert_allclose(free.w_ratio, held.w_ratio, atol=1e-9)
    np.testing.assert_allclose(free.redundancy_ratio, held.redundancy_ratio, atol=1e-12)
