"""Sites fed off air."""

from dataclasses import replace
from math import inf, isinf

import numpy as np
import pytest

from sfn.stream.off_air import (
    Repeater,
    greatest_output_dbw,
    longest_echo_m,
    parent_heard,
    repeater_problems,
    ripple_db,
)

# 80 dBuV/m at 100 MHz on 7.85 dBd (10 dBi): 80 - 40 - 107.2 + 10 = -57.2 dBW in; 17 dBW out is 74.2 dB of gain.
GAP = Repeater(80.0, 100.0, 7.85, 17.0, 87.2, processing_us=7.5)


def test_gain_by_hand():
    """Input, gain and margin of the worked example."""
    assert -57.2 == pytest.approx(GAP.input_dbw)
    assert 74.2 == pytest.approx(GAP.gain_db)
    assert 13.0 == pytest.approx(GAP.margin_db)
    assert 15.0 == pytest.approx(greatest_output_dbw(GAP, margin_db=15))


def test_received_power_agrees_with_physics():
    """An isotropic antenna in 120 pi ohm: E^2 lambda^2 / (480 pi^2) watts, within a hundredth of a decibel."""
    isotropic = replace(GAP, receiving_gain_dbd=-2.15)
    field, wavelength = 10 ** (80 / 20) * 1e-6, 299.792458 / 100
    watts = field**2 * wavelength**2 / (480 * np.pi**2)

    assert 10 * np.log10(watts) == pytest.approx(isotropic.input_dbw, abs=0.02)


def test_ripple_by_adding_the_loop_up():
    """The passband of a loop with 10 dB of margin, over all phases: the formula's peak to peak."""
    a = 10 ** (-10 / 20)
    response = 1 / np.abs(1 - a * np.exp(1j * np.linspace(0, 2 * np.pi, 10_000)))

    assert 20 * np.log10(response.max() / response.min()) == pytest.approx(ripple_db(10), abs=1e-4)
    assert isinf(ripple_db(0))


def test_margins_between_oscillation_and_common_practice():
    """No margin is an error, a small one a warning with its ripple and both ways out; enough is neither."""
    (little,) = repeater_problems(GAP, margin_db=15)
    (none,) = repeater_problems(replace(GAP, isolation_db=70.0), margin_db=10)

    assert "gain margin is 13.0 dB: 4.0 dB of ripple" == little.what
    assert "15 dB: at most 15.0 dBW out, or 2.0 dB more isolation" == little.expected
    assert ("warning", "error") == (little.severity, none.severity)
    assert "it oscillates" in none.what
    assert [] == repeater_problems(GAP, margin_db=13)
    assert [] == repeater_problems(replace(GAP, isolation_db=70.0, cancelled_db=20.0), margin_db=13)


def test_echoes_beyond_the_window_and_processing_beyond_the_guard():
    """A canceller of 10 us sees detours up to 3 km; processing longer than the guard interval is an error."""
    cancelling = replace(GAP, cancelled_db=15.0, window_us=10.0, processing_us=30.0)
    late, slow = repeater_problems(cancelling, margin_db=10, echo_us=12.0, guard_us=28.0)

    assert 2998 == round(longest_echo_m(10.0))
    assert "echoes of 12 us come back, the canceller sees 10" == late.what
    assert "from antenna to antenna it takes 30 us, the guard interval is 28" == slow.what


def test_the_wrong_parent():
    """Another site stronger at the antenna is an error, one too near a warning; discrimination counts."""
    levels = {"north": 72.0, "south": 75.0, "far": 40.0}
    deaf = parent_heard(levels, parent="north", discrimination_db={"south": 15.0})
    open_ear = parent_heard(levels, parent="north", discrimination_db={})
    (wrong,) = repeater_problems(GAP, margin_db=10, heard=open_ear, parent_margin_db=10)
    (close,) = repeater_problems(GAP, margin_db=10, heard=deaf, parent_margin_db=20)

    assert open_ear.wrong
    assert not deaf.wrong
    assert 72 - 10 * np.log10(10**6 + 10**4) == pytest.approx(deaf.margin_db)
    assert "south is received stronger than its parent: its launch time would follow that site" == wrong.what
    assert ("error", "warning") == (wrong.severity, close.severity)
    assert inf == parent_heard({"north": 60.0}, parent="north", discrimination_db={}).margin_db


def test_refusals():
    """Impossible figures are refused by name and range."""
    with pytest.raises(ValueError, match="levels_dbuvm must hold the parent 'x', got north"):
        parent_heard({"north": 1.0}, parent="x", discrimination_db={})
    with pytest.raises(ValueError, match="frequency_mhz must be from 30 to 3000 MHz"):
        replace(GAP, frequency_mhz=98_300.0)
    with pytest.raises(ValueError, match="margin_db must be from 0 to 40 dB"):
        greatest_output_dbw(GAP, margin_db=-1)
