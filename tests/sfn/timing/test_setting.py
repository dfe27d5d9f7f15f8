"""One added delay over several fields: the nearest total that whole steps inside the limits can make, exactly."""

from fractions import Fraction
from itertools import product
from math import ceil, floor
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from sfn.plan import DelayField
from sfn.timing import commissioning_settings, field_limits, settings_for
from sfn.timing.setting import _outward, split, staying
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
    made, total = settings_for(Fraction(added), fields(*of))

    assert values == [setting.value for setting in made]
    assert float(total) == pytest.approx(sum(setting.set_us for setting in made), abs=1e-9)


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
    made, total = settings_for(added, two)
    least, greatest = field_limits(two)

    assert all(f.least <= s.value <= f.greatest for f, s in zip(two, made, strict=True))
    if least <= added <= greatest:
        assert abs(total - added) <= Fraction(repr(step)) / 2


# Lengths of the units, written down from their definitions: a sample is 1 s / rate, a clock period 1 us / MHz.
LENGTH_US = {
    "us": Fraction(1),
    "ms": Fraction(1000),
    "100ns": Fraction(1, 10),
    "samples@48000": Fraction(1_000_000, 48_000),
    "samples@44100": Fraction(1_000_000, 44_100),
    "1/16.384MHz": Fraction(1000, 16_384),
}


def exhaustive(of: list[dict[str, Any]]) -> set[Fraction]:
    """Every delay that the fields can contribute together, one setting after the other."""
    each = []
    for one in of:
        step = Fraction(str(one["step"]))
        low, high = ceil(Fraction(str(one["least"])) / step), floor(Fraction(str(one["greatest"])) / step)
        sign = -1 if one["sign"] == "earlier" else 1
        unit, insertion = LENGTH_US[one["unit"]], Fraction(str(one["insertion_us"]))
        each.append([insertion + sign * k * step * unit for k in range(low, high + 1)])
    return {sum(chosen, Fraction(0)) for chosen in product(*each)}


@st.composite
def odd_fields(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Two to four fields of any unit, step, sign, insertion delay and (short) range, with gaps between them or not."""
    count = draw(st.integers(2, 4))
    made = []
    for _ in range(count):
        step = draw(st.sampled_from([1, 1, 0.1, 0.5, 2.5, 7, 10]))
        low = draw(st.integers(-6, 3))
        high = low + draw(st.integers(0, {2: 40, 3: 12, 4: 6}[count]))
        ragged = draw(st.sampled_from([0, 0, 0.3]))  # limits need not be whole steps
        made.append(
            {
                "unit": draw(st.sampled_from(sorted(LENGTH_US))),
                "step": step,
                "least": round((low - ragged) * step, 6),
                "greatest": round((high + ragged) * step, 6),
                "sign": draw(st.sampled_from(["later", "earlier"])),
                "insertion_us": draw(st.sampled_from([0, 0, 12.5, -3.75])),
            }
        )
    return made


@settings(max_examples=150)
@given(odd_fields(), st.data())
def test_any_device_comes_as_near_as_trying_every_setting(of: list[dict[str, Any]], data: st.DataObject) -> None:
    """Equal to exhaustive search, always; of two totals as near, the later launch."""
    totals = sorted(exhaustive(of))
    at = data.draw(st.sampled_from(totals))
    near = data.draw(st.one_of(st.just(Fraction(0)), st.fractions(-700, 700, max_denominator=3000)))
    between = (at + data.draw(st.sampled_from(totals))) / 2
    added = data.draw(st.sampled_from([at + near, between]))
    wanted = min(totals, key=lambda total: (abs(total - added), -total))

    made, total = settings_for(added, fields(*of))

    assert total == wanted
    for one, setting in zip(of, made, strict=True):
        assert one["least"] <= setting.value <= one["greatest"]
        assert (Fraction(str(setting.value)) / Fraction(str(one["step"]))).denominator == 1
    assert float(total) == pytest.approx(sum(setting.set_us for setting in made), abs=1e-9)


def test_a_gap_between_coarse_and_fine_is_crossed_to_the_nearer_side() -> None:
    """900 us: one coarse step is 100 too late, the whole fine field 650 too early."""
    gap = fields({"unit": "ms", "greatest": 2000}, {"step": 0.1, "greatest": 250})

    assert [one.value for one in settings_for(Fraction(900), gap)[0]] == [1, 0]
    assert [one.value for one in settings_for(Fraction(600), gap)[0]] == [0, 250]
    assert [one.value for one in settings_for(Fraction(625), gap)[0]] == [1, 0]  # as far either way: later
    assert [one.value for one in settings_for(Fraction(62499, 100), gap)[0]] == [0, 250]


def test_steps_of_millions_are_solved_at_once() -> None:
    """Sample steps beside clock periods over two million steps each: the nearest is within half of what both share."""
    two = fields(
        {"unit": "samples@44100", "greatest": 2_000_000}, {"unit": "1/16.384MHz", "greatest": 2_000_000, "least": -5}
    )
    _, total = settings_for(Fraction(12_345_678), two)

    # 10^6/44100 us and 1000/16384 us are 163,840 and 441 of their greatest common part.
    shared = LENGTH_US["samples@44100"] / 163_840
    assert shared == LENGTH_US["1/16.384MHz"] / 441
    assert abs(total - 12_345_678) <= shared / 2


@pytest.mark.parametrize(
    ("added", "values"),
    [
        ("0", [0]), ("-0.49", [0]), ("-0.5", [0]), ("-0.51", [0]), ("99.49", [99]), ("99.5", [100]), ("100.5", [100]),
    ],
)  # fmt: skip
def test_limits_belong_to_the_range(added: str, values: list[float]) -> None:
    """The least and the greatest setting can be set, and nothing beyond."""
    assert [one.value for one in settings_for(Fraction(added), fields({"greatest": 100}))[0]] == values


def test_a_commissioning_setting_stands_where_trials_cross_no_coarse_step() -> None:
    """The same total with the fine field in its middle, and how far can be tried there."""
    two = fields({"unit": "ms", "greatest": 2000}, {"step": 0.1, "greatest": 5000})
    found = commissioning_settings(Fraction("106382.6682"), two)

    assert [one.value for one in found.settings] == [104, 2382.7]
    assert found.total == Fraction("106382.7")
    assert found.earlier_us == pytest.approx(2382.7)
    assert found.later_us == pytest.approx(5000 - 2382.7)


@settings(max_examples=60)
@given(odd_fields(), st.data())
def test_a_commissioning_setting_launches_as_the_nearest_one(of: list[dict[str, Any]], data: st.DataObject) -> None:
    """Whatever the device: the same total, inside the limits, and the room on either side is what the others have."""
    added = data.draw(st.sampled_from(sorted(exhaustive(of)))) + data.draw(st.fractions(-50, 50, max_denominator=100))
    found = commissioning_settings(added, fields(*of))
    _, total = settings_for(added, fields(*of))

    assert found.total == total
    assert float(total) == pytest.approx(sum(one.set_us for one in found.settings), abs=1e-9)
    assert all(one["least"] <= s.value <= one["greatest"] for one, s in zip(of, found.settings, strict=True))
    sizes = [Fraction(str(one["step"])) * LENGTH_US[one["unit"]] for one in of]
    coarsest = sizes.index(max(sizes))
    others = [s for i, s in enumerate(found.settings) if i != coarsest]
    assert found.earlier_us == pytest.approx(sum(s.set_us - s.least_us for s in others), abs=1e-6)
    assert found.later_us == pytest.approx(sum(s.greatest_us - s.set_us for s in others), abs=1e-6)


def test_staying_on_the_coarse_setting_is_offered_where_little_is_left() -> None:
    """Sample steps come nearer with another coarse value; the present one leaves less than is tolerated."""
    two = fields({"unit": "samples@48000", "greatest": 1000, "set": 48}, {"step": 0.1, "greatest": 500, "set": 0})
    now = {"f0": 48.0, "f1": 0.0}
    wished = Fraction(1000) + Fraction(1, 20)
    nearest = split(wished, two, now=now)
    stays = staying(wished, two, now=now, within=Fraction(1, 2))

    assert stays is not None
    assert [one.value for one in stays.settings] == [48, 0.1]
    assert stays.total - wished == Fraction(1, 20)
    assert abs(nearest.total - wished) < Fraction(1, 20)
    assert nearest.settings[0].change != 0
    assert staying(wished, two, now=now, within=Fraction(1, 20)) is None  # less than, not as much as
    assert staying(wished, two, now={"f0": None, "f1": 0.0}, within=Fraction(1, 2)) is None


def test_a_device_that_cannot_be_searched_says_so() -> None:
    """Two dozen switches of odd delays: filled coarse first, and marked as not proven nearest."""
    many = fields(*[{"step": 1_000.0019 + 0.7919 * i * i, "greatest": 2_000} for i in range(24)])

    assert not split(Fraction(12_345), many).proven
    assert split(Fraction(12_345), many[:2]).proven


@given(
    st.integers(1, 60), st.integers(-9000, 9000), st.integers(-500, 500), st.integers(-300, 100), st.integers(0, 400)
)
def test_steps_come_outward_as_if_sorted(size: int, total: int, twice: int, lo: int, many: int) -> None:
    """Beside sorting all of them by how far they leave the rest from its middle, the lower first."""
    start = min(lo + many, max(lo, (2 * total - twice) // (2 * size)))
    steps = range(max(lo, start - 50), min(lo + many, start + 50) + 1)

    def key(n: int) -> int:
        return abs(2 * (total - size * n) - twice)

    assert list(_outward(steps, key=key, start=start)) == sorted(steps, key=key)
