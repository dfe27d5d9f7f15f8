"""Readings at a site: slips questioned in words, cables subtracted, restarts summed up."""

import re

import pytest

from sfn.plan import DelayField
from sfn.survey.readings import measured_launch, question_launch, question_setting, restart_tolerance, state
from sfn.survey.rules import asked
from sfn.survey.slips import setting_rules
from sfn.units import THIN, exact


def field(
    unit: str = "us", step: float = 0.1, least: float = -1e6, greatest: float = 1e6, sign: str = "later"
) -> DelayField:
    """A delay field that takes almost anything."""
    return DelayField(name="exciter delay", unit=unit, step=step, least=least, greatest=greatest, sign=sign, set=0)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("typed", "planned", "unit", "words"),
    [
        ("-12.5", 12.5, "us", "the plan says 12.5 us, you typed -12.5 us: is the sign meant?"),
        (
            "382700",
            382.7,
            "us",
            "382700 is the planned 382.7 us in nanoseconds (a factor of 1,000); this field takes micro",
        ),
        ("0.5", 500, "us", "0.5 is the planned 500 us in milliseconds (a factor of 1,000)"),
        (
            "382.7",
            3827,
            "100ns",
            "382.7 is the planned 3827 units of 100 ns in microseconds; this field takes units of",
        ),
        (
            "1000",
            48,
            "samples@48000",
            "1000 is the planned 48 samples at 48 kHz in microseconds; this field takes samples at 48 kHz",
        ),
        ("100", 1638.4, "1/16.384MHz", "100 is the planned 1638.4 units of 1/16.384 MHz in microseconds"),
        ("106", 382.7, "us", "106 us is the old value, the new one is 382.7 us: is it not set yet?"),
        ("3827", 382.7, "us", "3827 us is 10 times the planned 382.7 us: is the decimal point right?"),
        ("1382700", 1382.7, "ms", "1382700 is the planned 1382.7 ms in microseconds (a factor of 1,000)"),
        ("387.2", 382.7, "us", "387.2 us has the digits of the planned 382.7 us in another order: is it a slip?"),
        ("383.7", 382.7, "us", "exciter delay differs from the plan by 1 us, 1 us later: is it meant?"),
    ],
)
def test_slips_are_questioned_in_words(typed: str, planned: float, unit: str, words: str) -> None:
    """Sign, factor 1,000, unit confused, old instead of new, decimal point, digits exchanged, anything else."""
    step = {"1/16.384MHz": 0.1, "samples@48000": 1, "ms": 0.1}.get(unit, 0.1)
    asked = question_setting(typed, field=field(unit, step), planned=planned, old=106)

    assert words in asked[0].replace(THIN, "")


@pytest.mark.parametrize("typed", ["382.7", "382,7", " 382.70 ", 382.7])
def test_the_planned_value_is_not_questioned(typed: str | float) -> None:
    """However it is written."""
    assert () == question_setting(typed, field=field(), planned=382.7, old=106)


def test_limits_and_steps_are_questioned() -> None:
    """A value that the field cannot hold, by range or by step."""
    narrow = field(step=0.5, least=0, greatest=100)

    assert "is outside what exciter delay can take, 0 to 100" in question_setting("250", field=narrow)[0]
    (asked,) = question_setting("14.6", field=narrow)
    assert "steps of 0.5 us, so it cannot stand at 14.6: is it 14.5?" in asked
    assert () == question_setting("14.5", field=narrow)


def test_an_earlier_field_turns_the_words() -> None:
    """More in a field that advances emission is earlier."""
    assert "1 us earlier" in question_setting("5", field=field(sign="earlier"), planned=4)[0]


def test_no_number_is_refused() -> None:
    """The text comes back in the message."""
    with pytest.raises(ValueError, match="'about 5' is no number"):
        question_setting("about 5", field=field())


def test_cable_and_demodulator_are_subtracted() -> None:
    """122,602.9 on the instrument, 0.1 cable, 2.3 demodulator, 0.45 of feeder still to come."""
    found = measured_launch(122_602.9, test_cable_us=0.1, demodulator_us=2.3, planned_us=122_600.0, plane_us=0.45)

    assert 122_600.95 == pytest.approx(found.launch_us, abs=1e-9)
    with pytest.raises(ValueError, match="test_cable_us must be 0 or more us, got -1"):
        measured_launch(1.0, test_cable_us=-1, demodulator_us=0, planned_us=0)


def test_whole_seconds_come_from_the_plan() -> None:
    """A pulse per second cannot tell 1.2 s from 0.2 s, nor 0.1 us early from 999,999.9 us late."""
    assert 1_200_000.5 == pytest.approx(
        measured_launch(200_000.5, test_cable_us=0, demodulator_us=0, planned_us=1_200_000.0).launch_us
    )
    assert -0.1 == pytest.approx(
        measured_launch(999_999.9, test_cable_us=0, demodulator_us=0, planned_us=0.0).launch_us
    )


@pytest.mark.parametrize(
    ("measured_us", "words"),
    [
        (122_100.45, "is what the old setting gives: is the new one set, and was it stored?"),
        (122_602.75, "late by just the demodulator (2.300 us): was that subtracted?"),
        (122_600.35, "early by just the test cable (0.100 us): was that subtracted twice?"),
        (-122_600.45, "the planned launch with the other sign"),
        (122.60045, "is the planned launch in ms: this field takes us"),
        (122_607.0, "differs from the plan by +6.550 us, more than 0.02 us"),
    ],
)
def test_a_launch_that_differs_is_questioned(measured_us: float, words: str) -> None:
    """Old setting, forgotten amounts, sign, unit; otherwise the plane."""
    (asked,) = question_launch(
        measured_us,
        planned_us=122_600.45,
        tolerance_us=0.02,
        old_us=122_100.45,
        known=[("test cable", 0.1), ("demodulator", 2.3)],
    )

    assert words in asked


def test_a_launch_within_tolerance_is_not_questioned() -> None:
    """0.3 us off with 0.5 tolerated."""
    assert () == question_launch(100.3, planned_us=100.0, tolerance_us=0.5, old_us=100.3)


def test_restarts_give_the_restart_tolerance() -> None:
    """Six restarts: mean, standard deviation, range; the tolerance covers the farthest and the next."""
    found = restart_tolerance([100.0, 100.4, 99.7, 100.1, 99.9, 100.2])

    assert 100.05 == pytest.approx(found.mean_us)
    assert 0.7 == pytest.approx(found.range_us)
    assert 0.2429 == pytest.approx(found.deviation_us, abs=1e-4)
    # Student's t, 5 degrees of freedom: 2.5706, times sqrt(1 + 1/6).
    assert 2.5706 * 0.24290 * 1.0801 == pytest.approx(found.tolerance_us, abs=1e-3)
    assert "" == found.remark


def test_launches_on_steps_are_recognised() -> None:
    """A buffer that starts on any 48 kHz sample."""
    sample = 1e6 / 48_000
    found = restart_tolerance([1000.0, 1000.0 + 3 * sample, 1000.1 - sample, 1000.0 + sample, 1000.0])

    assert sample == found.step_us
    assert "steps of one sample at 48 kHz (20.833 us)" in found.remark


def test_few_restarts_say_so() -> None:
    """Two readings promise little; one promises nothing."""
    found = restart_tolerance([10.0, 10.2])

    assert "only 2 restarts" in found.remark
    assert found.tolerance_us > 1.0
    with pytest.raises(ValueError, match="at least 2 values"):
        restart_tolerance([10.0])


def test_another_split_of_the_right_total_is_no_disagreement() -> None:
    """What is on air is as planned; a launch that is off disagrees all the same."""
    for measured_us, expected in ((None, "split"), (100.4, "split"), (100.6, "disagrees")):
        assert expected == state(
            as_set_agrees=False, measured_us=measured_us, planned_us=100.0, tolerance_us=0.5, split=True
        )


@pytest.mark.parametrize(
    ("agrees", "measured_us", "expected"),
    [
        (None, None, "planned"),
        (True, None, "set"),
        (True, 100.4, "measured"),
        (None, 100.4, "measured"),
        (False, None, "disagrees"),
        (False, 100.0, "disagrees"),
        (True, 101.0, "disagrees"),
    ],
)
def test_the_state_of_a_site(agrees: bool | None, measured_us: float | None, expected: str) -> None:
    """Planned, set, measured, disagrees."""
    assert expected == state(as_set_agrees=agrees, measured_us=measured_us, planned_us=100.0, tolerance_us=0.5)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("160", "160 us has the digits of the old value 106 us in another order"),
        ("10.6", "10.6 us is a tenth of the old value 106 us"),
        ("0.106", "0.106 is the old value 106 us in milliseconds"),
        ("-106", "-106 us is the old value 106 us with the other sign"),
    ],
)
def test_an_old_value_typed_with_a_slip_is_questioned(typed: str, words: str) -> None:
    """Nobody turned the field, and the old value was typed wrong: both are asked at once."""
    asked = question_setting(typed, field=field(step=0.001), planned=382.7, old=106)[0]

    assert words in asked
    assert "is the old value still set, and typed with a slip?" in asked


@pytest.mark.parametrize("typed", ["101000", "1000000000000", "-0.00002", "123456.5"])
def test_no_question_has_an_exponent_or_an_ungrouped_thousand(typed: str) -> None:
    """1.01e+05 us was read as 1.01 us on a phone."""
    told = [
        *question_setting(typed, field=field(least=-1e12, greatest=2e12), planned=7.0),
        *question_setting(typed, field=field(least=-1e9, greatest=50_000.0), planned=7.0),
        *question_launch(float(typed), planned_us=3e9, tolerance_us=1e-5),
    ]
    assert len(told) > 2
    for text in told:
        assert not re.search(r"\de[+-]?\d|(?<![.\d])\d{4}", text), text


@pytest.mark.parametrize(
    ("typed", "planned", "first", "then"),
    [
        ("269.6", 2696, "269.6 is the planned 2696 units of 100 ns in microseconds", "is it 270?"),
        # Not the plan's value, but only a whole one in microseconds.
        ("271.3", 2696, "differs from the plan", "are microseconds meant, that is 2713?"),
    ],
)
def test_the_likeliest_is_asked_first(typed: str, planned: float, first: str, then: str) -> None:
    """Another unit comes before the nearest step."""
    asked = [
        one.replace(THIN, "") for one in question_setting(typed, field=field("100ns", 1), planned=planned, old=106)
    ]

    assert first in asked[0]
    assert any(then in one for one in asked[1:])
    order = [n for n, one in enumerate(asked) if "microseconds" in one]
    assert order[0] < next(n for n, one in enumerate(asked) if "is it 27" in one)


def test_two_fields_exchanged_are_asked() -> None:
    """The number of the field beside it is named before any other slip; nought and the old value say nothing of that."""
    others = {"exciter delay": exact(484.5), "filter": exact(0), "link": exact(600)}
    rules = setting_rules("set", field("ms", 1), planned=3, old=600, others=others)
    first, *_ = asked(rules, {"set": exact(484.5)})
    assert "484.5 is the number planned for exciter delay: are the two fields exchanged?" == first.text
    for typed in (0, 600, 3):
        assert not any(one.code == "fields-exchanged" for one in asked(rules, {"set": exact(typed)}))


def test_digits_exchanged_in_a_setting_and_in_a_launch_are_asked() -> None:
    """160 for 106; 126200.43 for 122600.45, within what is tolerated."""
    (asked,) = question_setting("160", field=field("ms", 1), planned=106)
    assert "160 ms has the digits of the planned 106 ms in another order: is it a slip?" == asked
    (asked,) = question_launch(126_200.43, planned_us=122_600.45, tolerance_us=0.1)
    assert "with two digits exchanged it is 122600.43 us, as planned: is it a slip?" == asked.replace(THIN, "")
