"""Lines of the lock sheet: questioned where the plan says otherwise, in words."""

import pytest

from sfn.plan.document import LockSheet
from sfn.survey.lock_sheet import PILOT_DEG_PER_US, question_cable, question_lock

LOCK = LockSheet(pilot_phase_deg=10.0, deviation_khz=75.0, pre_emphasis_us=75)


def test_pilot_turns_as_the_facts_say() -> None:
    """6.84 degrees a microsecond, 52.632 us a turn (link-and-timing facts, from 19 kHz)."""
    assert 6.84 == pytest.approx(PILOT_DEG_PER_US)
    assert 52.632 == pytest.approx(360 / PILOT_DEG_PER_US, abs=5e-4)


@pytest.mark.parametrize(
    ("name", "typed", "words"),
    [
        ("pilot_phase", "-10", "the plan says 10 degrees, you typed -10: is the sign meant?"),
        ("pilot_phase", "-171", "is the pilot or the composite inverted?"),
        ("pilot_phase", "30 degrees", "+20 degrees are as much as +2.92 us of delay"),
        ("pilot_phase", "1,234", "'1,234' can be 1.234 or 1234"),
        ("deviation", "67.5", "the plan says 75 kHz within 1 %, you typed 67.5"),
        ("pre_emphasis", "50 \u00b5s", "the plan says 75 us, you typed 50"),
    ],
)
def test_what_differs_is_asked(name: str, typed: str, words: str) -> None:
    """In these words."""
    (asked,) = question_lock(name, typed, lock=LOCK, tolerance_us=1.0)
    assert words in asked.text


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("pilot_phase", "16.8"),
        ("pilot_phase", "370"),
        ("deviation", "75.5"),
        ("pre_emphasis", "75"),
        ("pilot_source", "studio"),
        ("deviation", "about right"),
    ],
)
def test_what_agrees_or_is_words_is_not(name: str, typed: str) -> None:
    """Within the tolerance, a turn apart, or no number at all."""
    assert [] == question_lock(name, typed, lock=LOCK, tolerance_us=1.0)
    assert [] == question_lock(name, typed, lock=None, tolerance_us=1.0)


def test_a_test_lead_is_no_kilometres() -> None:
    """5 us of cable is a kilometre."""
    assert [] == question_cable(0.05) == question_cable(5.0)
    assert "about 40 km" in question_cable(200.0)[0].text
