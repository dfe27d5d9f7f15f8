"""One added delay over several fields: exact, in whole steps, inside the limits."""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.plan import DelayField
from sfn.timing import field_limits, settings_for
from tests.sfn.networks import field


def fields(*changes: dict[str, Any]) -> list[DelayField]:
    """Delay fields, each named by its place."""
    return [DelayField(**field(name=f"f{i}", **change)) for i, change in enumerate(changes)]


@pytest.mark.parametrize(
    ("added", "of", "values"),
    [
        ("106382.6682", [{"unit": "ms", "greatest": 2000}, {"step": 0.1, "greatest": 5000}], [106, 382.7]),
        ("106382.6682", [{"step": 0.1, "greatest": 5000}, {"unit": "ms", "greatest": 2000}], [382.7, 106]),
        ("0.05", [{"step": 0.1}], [0.1]),
        ("0.15", [{"step": 0.1}], [0.2]),
        ("0.25", [{"step": 0.1}], [0.3]),
        ("-0.05", [{"step": 0.1, "least": -10}], [0]),
        ("-0.15", [{"step": 0.1, "least": -10}], [-0.1]),
        ("-0.15", [{"step": 0.1, "least": 0, "sign": "earlier"}], [0.1]),
        ("-0.05", [{"step": 0.1, "least": 0, "sign": "earlier"}], [0]),
        ("31.25", [{"unit": "samples@48000"}], [2]),
        ("100", [{"unit": "1/16.384MHz"}], [1638]),
        ("100.02", [{"unit": "100ns"}], [1000]),
        ("12.5", [{"insertion_us": 10}], [3]),
        ("1050", [{"unit": "ms"}, {"step": 1, "least": 0, "greatest": 999, "sign": "earlier"}], [2, 950]),
        ("999.97", [{"unit": "ms"}, {"step": 0.1, "greatest": 999.9}], [1, 0]),
        ("999.94", [{"unit": "ms"}, {"step": 0.1, "greatest": 999.9}], [0, 999.9]),
        ("5", [{"unit": "ms"}, {"step": 1, "least": -3276, "greatest": 3276}], [0, 5]),
        ("5", [{"unit": "ms", "least": 1}, {"step": 1, "least": -3276, "greatest": 3276}], [1, -995]),
        ("5000", [{"greatest": 100}], [100]),
        ("-5", [{}], [0]),
        ("4", [{"least": 2.5, "step": 5}], [5]),
    ],
)  # fmt: skip
def test_values(added: str, of: list[dict[str, Any]], values: list[float]) -> None:
    """Coarse rounded down, finest half up, whatever the sign, the unit and the order of the fields."""
    settings, total = settings_for(Fraction(added), fields(*of))

    assert values == [setting.value for setting in settings]
    assert float(total) == pytest.approx(sum(setting.set_us for setting in settings), abs=1e-9)


@given(st.integers(-400_000, 3_000_000), st.sampled_from([1, 10, 100]))
def test_an_exact_half_goes_to_the_later_launch(tenths: int, per_step: int) -> None:
    """Decimal halves are exact: no binary fraction decides them."""
    one = fields({"step": per_step / 10, "least": -50_000, "greatest": 500_000})
    half = Fraction(tenths * per_step, 10) + Fraction(per_step, 20)
    if not -50_000 < half < 499_000:
        return
    _, total = settings_for(half, one)

    assert total - half == Fraction(per_step, 20)


@given(
    st.fractions(-10_000, 3_000_000),
    st.sampled_from(["later", "earlier"]),
    st.floats(-100, 100),
    st.sampled_from([0.1, 0.5, 1.0]),
)
def test_what_is_inside_the_limits_is_met_to_half_a_step(
    added: Fraction, sign: str, insertion_us: float, step: float
) -> None:
    """Two fields together meet any delay within their limits to half the finest step, and never leave a limit."""
    two = fields(
        {"unit": "ms", "greatest": 2000},
        {"step": step, "least": -3000, "greatest": 3000, "sign": sign, "insertion_us": insertion_us},
    )
    settings, total = settings_for(added, two)
    least, greatest = field_limits(two)

    assert all(f.least <= s.value <= f.greatest for f, s in zip(two, settings, strict=True))
    if least <= added <= greatest:
        assert abs(total - added) <= Fraction(repr(step)) / 2
