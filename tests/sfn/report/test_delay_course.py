"""The drawing of a delay over the time of a recording."""

from sfn.report.delay_course import delay_course


def test_later_is_higher_and_time_runs_to_the_right() -> None:
    """Three sections, the last one latest."""
    drawn = delay_course([1.0, 2.0, 3.0], [10.0, 10.5, 12.0])

    assert drawn is not None
    assert sorted(drawn.points) == list(drawn.points)
    assert drawn.points[0][1] > drawn.points[1][1] > drawn.points[2][1]
    assert all(drawn.left <= x <= drawn.right and drawn.top <= y <= drawn.bottom for x, y in drawn.points)


def test_one_section_is_no_course() -> None:
    """Nothing to draw; nor with a section that has no delay."""
    assert delay_course([1.0], [10.0]) is None
    assert delay_course([1.0, 2.0], [10.0, float("nan")]) is None
    assert delay_course([1.0, 2.0], [10.0, 10.0]) is not None
