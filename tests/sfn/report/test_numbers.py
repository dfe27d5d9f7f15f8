"""Numbers as people read them."""

import pytest

from sfn.report.numbers import native, number, us
from sfn.report.scale import round_step, ticks


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (-0.00001, 4, "0.0000"),
        (None, 1, "–"),
        (float("nan"), 1, "–"),
        (1234567.8, 1, "1 234 567.8"),
        (-5.25, 1, "−5.2"),
    ],
)
def test_number(value: float | None, decimals: int, text: str) -> None:
    """No negative zero, no exponent, thousands apart, a dash for nothing."""
    assert text == number(value, decimals).replace("\u202f", " ")


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (382.7, "us", "382.7 µs"),
        (106.0, "ms", "106 ms"),
        (1638.0, "1/16.384MHz", "1 638 steps of 1/16.384 MHz"),
        (-195.0, "100ns", "−195 steps of 100 ns"),
    ],
)
def test_native(value: float, unit: str, text: str) -> None:
    """A setting shows exactly the digits that are typed into the device."""
    assert text == native(value, unit).replace("\u202f", " ")


def test_the_ruler_carries_kilometres_beneath_microseconds() -> None:
    """10 us of air are 2.997 km."""
    found = ticks(-10, 10, refractivity_n=315, signed=True, most=4)

    assert ["−10", "−5", "0", "+5", "+10"] == [tick.us_text for tick in found]
    assert ["−3.0", "−1.5", "0.0", "+1.5", "+3.0"] == [tick.km_text for tick in found]
    assert us(1.0) == "1.0\u202fµs"
    with pytest.raises(ValueError, match="span must be more than 0"):
        round_step(0)
