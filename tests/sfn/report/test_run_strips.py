"""Strips of marks over distance."""

import numpy as np

from sfn.report.run_strips import run_strips
from sfn.survey.runs import SideBySide


def drawn(delay_us: list[float]) -> object:
    """Two settings over four stretches of 100 m."""
    nan = np.full((2, 4), np.nan)
    found = SideBySide(
        distance_m=np.array([50.0, 150.0, 250.0, 350.0]),
        lat_deg=np.zeros(4),
        lon_deg=np.zeros(4),
        settings_us=(-2.0, 2.0),
        level_dbuvm=nan,
        mark=np.array([[5.0, 5.0, 2.0, np.nan], [3.0, 3.0, 3.0, 3.0]]),
        quality_db=nan,
        best=np.array([0, 0, 1, -1]),
        parts=(),
        best_share_pct=(67.0, 33.0),
        lowest_mark=(2.0, 3.0),
        remarks=(),
        problems=(),
    )
    return run_strips(found, delay_difference_us=np.array(delay_us), pairs=["a, b", "a, b", "a, b", "b, a"])


def test_equal_neighbours_are_one_piece() -> None:
    """Grades 5, 2 and none; pieces join without gaps over the whole width."""
    strips = drawn([1.0, 2.0, -1.0, 0.0])
    first = strips.strips[0].pieces

    assert [5, 2, 0] == [p.grade for p in first]
    assert [p.x + p.width for p in first][:-1] == [p.x for p in first][1:]
    assert 2 * first[1].width == first[0].width
    assert [strips.strips[0].y, strips.strips[1].y] == [y for _, y, _ in strips.best]


def test_the_curve_has_gaps_and_a_zero() -> None:
    """Late is above; a gap or another pair parts the line; zero is drawn when inside."""
    strips = drawn([1.0, 2.0, np.nan, -1.0])
    ys = [int(pair.split(",")[1]) for pair in strips.curve[0].points.split()]

    assert ["a, b", "b, a"] == [part.title for part in strips.curve]
    assert ys[2] < ys[0]
    assert strips.curve_top < strips.curve_zero < strips.curve_bottom
    assert ((), None) == (drawn([np.nan] * 4).curve, drawn([np.nan] * 4).curve_zero)


def test_ticks_carry_kilometres() -> None:
    """0.4 km in round steps from nought."""
    assert ["0", "0.05", "0.1"] == [text for _, text in drawn([0.0] * 4).ticks][:3]
