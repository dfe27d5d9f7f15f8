"""Charts are well-formed, within their frame, and without what the page's policy forbids."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from sfn.clock.holdover import Clock
from sfn.report.charts import HEIGHT, LEFT, WIDTH, Axis, Curve, bars, lines, strip
from sfn.report.stream_charts import burst_chart, delay_chart, holdover_chart
from sfn.stream.capture import Piece
from sfn.stream.loss import LossModel
from sfn.stream.measured import measure

NAME = 'Ridge & <"far">'


def charts():
    """One of each kind."""
    x, y = Axis("h", 0.25, 720, logarithmic=True), Axis("us", 0.0, 10.0)
    curves = [Curve(NAME, [(0.5, 1.0), (10.0, 5.0), (1e9, 5.0), (20.0, float("nan"))]), Curve("b", [(1.0, 2.0)])]
    return {
        "lines": lines(NAME, curves, x=x, y=y, limit=(5.0, "tolerance")),
        "bars": bars(NAME, [("a", 12.5), (NAME, 0.0)], unit="us"),
        "strip": strip(NAME, [("00", 1.0), ("01", None), ("02", 3.0)], unit="ms", limit=2.0),
        "empty strip": strip(NAME, [], unit="ms"),
    }


@pytest.mark.parametrize("kind", ["lines", "bars", "strip", "empty strip"])
def test_pictures_are_safe_and_titled(kind):
    """Parsable, no style attribute or script, names escaped, a title for those who cannot see."""
    text = charts()[kind]
    root = ElementTree.fromstring(text)

    assert "style=" not in text
    assert "<script" not in text
    assert NAME == root.findtext("{http://www.w3.org/2000/svg}title")
    assert "nan" not in text


def test_points_lie_within_the_frame_and_strangers_are_left_out():
    """Two of four points are on the scale; the limit is drawn where its value is."""
    text = charts()["lines"]
    (points,) = re.findall(r'points="([^"]*)"', text)
    places = [tuple(map(float, p.split(","))) for p in points.split()]

    assert 2 == len(places)
    assert all(LEFT <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in places)
    assert "tolerance" in text


def test_ticks_are_round():
    """Powers of ten on logarithmic scales, steps of 1, 2 or 5 on others."""
    assert [0.001, 0.01, 0.1, 1.0] == pytest.approx(Axis("", 1e-3, 1.0, logarithmic=True).ticks(6))
    assert [0, 20, 40, 60] == Axis("", 0.0, 73.0).ticks(5)


def test_charts_of_a_record():
    """Bursts beside their model, lateness down to one packet, holdover with its limit."""
    rng = np.random.default_rng(1)
    kept = np.array([k for k in range(5000) if k % 100 >= 3])
    record = measure([Piece(kept, kept * 0.004 + rng.exponential(1e-3, kept.size), False)], packet_time_s=0.004)

    assert 2 == burst_chart(record, LossModel(0.01, 0.3)).count("<polyline")
    assert 1 == delay_chart(record).count("<polyline")
    assert "5 µs" in holdover_chart([("a", Clock(frequency_offset_ratio=1e-9))], limit_us=5, limit_name="5 µs")
    clean = measure([Piece(np.arange(500), np.arange(500) * 0.004, False)])
    assert "" == burst_chart(clean, None)
