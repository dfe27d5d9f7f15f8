"""Classes of oscillators."""

import pytest

from sfn.clock.holdover import time_to_limit
from sfn.clock.oscillator import NOTE, oscillator, oscillators


def test_classes_get_better_down_the_list() -> None:
    """Each class holds 10 us longer than the one before, at its good and at its poor end."""
    for poor in (True, False):
        hours = [time_to_limit(kind.clock(poor=poor, step_degc=5), limit_us=10) for kind in oscillators().values()]
        assert hours == sorted(hours)
        assert len(set(hours)) == len(hours)


def test_the_good_end_is_never_worse() -> None:
    """Good figures are at most the poor ones, and figures are called typical."""
    for kind in oscillators().values():
        assert kind.frequency_offset_good_ratio <= kind.frequency_offset_poor_ratio
        assert kind.ageing_good_per_day <= kind.ageing_poor_per_day
        assert kind.temperature_good_per_degc <= kind.temperature_poor_per_degc
    assert "typical, verify on your data sheet" == NOTE


def test_unknown_class_lists_the_known() -> None:
    """A typing error is answered with what there is."""
    with pytest.raises(ValueError, match="must be one of tcxo, ocxo, ocxo-good, rubidium, caesium, got 'rubidum'"):
        oscillator("rubidum")
