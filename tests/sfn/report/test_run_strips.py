"""Strips of marks over distance."""

from collections.abc import Sequence

import numpy as np

from sfn.reception.classes import CLASSES, FM_CLASSES
from sfn.report.run_strips import RunStrips, run_strips
from sfn.survey.runs import Remark, SideBySide


def drawn(
    delay_us: list[float], *, predicted: bool = False, logged: bool = False, words: Sequence[str] = CLASSES
) -> RunStrips:
    """Two settings over four stretches of 100 m."""
    nan = np.full((2, 4), np.nan)
    found = SideBySide(
        distance_m=np.array([50.0, 150.0, 250.0, 350.0]),
        lat_deg=np.zeros(4),
        lon_deg=np.zeros(4),
        settings_us=(-2.0, 2.0),
        level_dbuvm=np.array([[60.0, 62.0, np.nan, 58.0], [61.0, 61.0, 61.0, 61.0]]) if logged else nan,
        mark=np.array([[5.0, 5.0, 2.0, np.nan], [3.0, 3.0, 3.0, 3.0]]),
        quality_db=nan,
        best=np.array([0, 0, 1, -1]),
        parts=(),
        best_share_pct=(67.0, 33.0),
        lowest_mark=(2.0, 3.0),
        remarks=(Remark(2.0, 100.0, "rough"),),
        problems=(),
    )
    return run_strips(
        found,
        level_dbuvm=np.array([65.0, 64.0, 63.0, np.nan]),
        delay_difference_us=np.array(delay_us),
        pairs=["a, b", "a, b", "a, b", "b, a"],
        predicted_class=np.array([[0.0, 0.0, 2.0, np.nan], [1.0, 1.0, 1.0, 1.0]]) if predicted else None,
        words=words,
    )


def test_equal_neighbours_are_one_piece() -> None:
    """Grades 5, 2 and none; pieces join without gaps over the whole width."""
    strips = drawn([1.0, 2.0, -1.0, 0.0])
    first = strips.strips[0].pieces

    assert [5, 2, 0] == [p.grade for p in first]
    assert [p.x + p.width for p in first][:-1] == [p.x for p in first][1:]
    assert 2 * first[1].width == first[0].width
    assert [strips.strips[0].y, strips.strips[1].y] == [y for _, y, _ in strips.best]


def test_the_curve_has_gaps_and_a_zero() -> None:
    """Late is above; a gap or another pair parts the line; zero is drawn when inside; nothing known, no panel."""
    (panel,) = drawn([1.0, 2.0, np.nan, -1.0]).panels
    ys = [int(pair.split(",")[1]) for pair in panel.lines[0].points.split()]

    assert ["a, b", "b, a"] == [part.title for part in panel.lines]
    assert ys[2] < ys[0]
    assert panel.zero is not None
    assert panel.top < panel.zero < panel.bottom
    assert () == drawn([np.nan] * 4).panels


def test_levels_as_logged_stand_over_the_prediction() -> None:
    """A line a setting and the prediction in one panel on one scale, parted where nothing was logged."""
    level, delay = drawn([1.0, 1.0, 1.0, 1.0], logged=True).panels

    assert ("65", "58") == (level.high, level.low)
    assert ["measured", "measured", "measured", "planned"] == [line.kind for line in level.lines]
    assert ["measured at −2.0 µs"] * 2 == [line.title for line in level.lines][:2]
    assert delay.top > level.bottom


def test_predicted_classes_and_remarks_belong_to_their_setting() -> None:
    """A class beneath each strip with its name; a remark at its distance in the strip of its run."""
    bare, strips = drawn([0.0] * 4), drawn([0.0] * 4, predicted=True)

    assert [(), ()] == [strip.predicted for strip in bare.strips]
    assert [1, 3, 0] == [piece.grade for piece in strips.strips[0].predicted]
    assert strips.strips[0].predicted[1].title.endswith("predicted upset by our own sites")
    fm = drawn([0.0] * 4, predicted=True, words=FM_CLASSES)
    assert fm.strips[0].predicted[1].title.endswith("predicted distorted by our own transmitters")
    assert strips.strips[1].y - strips.strips[0].y > bare.strips[1].y - bare.strips[0].y
    assert () == strips.strips[0].remarks
    ((x, text),) = strips.strips[1].remarks
    assert text.endswith("km: rough")
    assert abs(x - (84 + 804 / 4)) <= 1


def test_ticks_carry_kilometres() -> None:
    """0.4 km in round steps from nought."""
    assert ["0", "0.05", "0.1"] == [text for _, text in drawn([0.0] * 4).ticks][:3]
