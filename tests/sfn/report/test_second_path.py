"""What a plan adds for a second path, in words."""

import pytest

from sfn.report.second_path import second_path_said


@pytest.mark.parametrize(
    ("longer_us", "way_us", "said"),
    [
        (29_688.2, 12_344.6, ("adds 29.689 ms", "12.345 ms longer than the first's", "variation takes 17.344 ms")),
        (12_345.0, 12_345.0, ("adds 12.345 ms", "12.345 ms longer than the first's, if one clock")),
        (1200.0, -3000.0, ("adds 1.200 ms", "3.000 ms shorter than the first's", "variation takes 1.200 ms")),
        (0.0, -3000.0, ("adds nothing", "3.000 ms shorter than the first's, if one clock")),
    ],
)
def test_both_figures_by_their_names(longer_us, way_us, said):
    """The longer way, what the variation takes, and their sum; never less than was measured."""
    text = second_path_said({"second_longer_us": longer_us, "differential_us": way_us})

    for words in said:
        assert words in text
