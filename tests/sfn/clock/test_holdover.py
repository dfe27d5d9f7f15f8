"""Time error and time to a limit, every sign."""

from math import inf, isinf, pi

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.clock.holdover import (
    Clock,
    alarms,
    greatest_error,
    pair_error,
    pair_time_to_limit,
    random_part,
    resynchronised_until,
    time_error,
    time_to_limit,
    worst,
)

offsets = st.floats(-1e-8, 1e-8)
ageings = st.floats(-1e-9, 1e-9)
initials = st.floats(-5, 5)
limits = st.floats(0.1, 50)


@given(initials, offsets, ageings, limits)
def test_nothing_reaches_the_limit_before_the_answer(
    initial_us: float, offset: float, ageing: float, limit_us: float
) -> None:
    """At the answer the error equals the limit; at every earlier time it is within, whatever the signs."""
    clock = Clock(initial_us, offset, ageing)
    end_h = time_to_limit(clock, limit_us=limit_us)
    if isinf(end_h):
        assert np.all(np.abs(time_error(clock, after_h=np.linspace(0, 1e8, 500))) < limit_us * (1 + 1e-9))
        return
    before = np.abs(time_error(clock, after_h=np.linspace(0, end_h, 500)[:-1]))

    assert end_h == 0.0 or np.all(before <= limit_us * (1 + 1e-9))
    assert abs(initial_us) >= limit_us or limit_us == pytest.approx(
        abs(float(time_error(clock, after_h=end_h))), rel=1e-6
    )


@given(initials, offsets, ageings, limits)
def test_turning_every_sign_changes_nothing(initial_us: float, offset: float, ageing: float, limit_us: float) -> None:
    """A clock and its mirror image reach the limit together, and the worst signs are never later."""
    clock = Clock(initial_us, offset, ageing)
    mirrored = Clock(-initial_us, -offset, -ageing)
    end_h = time_to_limit(clock, limit_us=limit_us)

    assert end_h == pytest.approx(time_to_limit(mirrored, limit_us=limit_us), rel=1e-12)
    assert time_to_limit(worst(clock), limit_us=limit_us) <= end_h * (1 + 1e-12)


def test_a_perfect_clock_never_gets_there() -> None:
    """No offset, no ageing: never; an offset beyond the limit: at once."""
    assert inf == time_to_limit(Clock(0.5), limit_us=1)
    assert 0.0 == time_to_limit(Clock(-1.5), limit_us=1)


def test_the_daily_swing_counts_at_its_worst_phase() -> None:
    """The envelope equals the greatest over many phases, and the first crossing is met with it."""
    clock = Clock(0.1, 1e-11, 1e-11, 1e-10, 0.0, 3.0)
    hours = np.linspace(0, 60, 241)
    phases = np.linspace(0, 2 * pi, 721)[:, None]
    turn = 2 * pi / 24
    swings = clock.swing_us * (np.cos(phases) - np.cos(turn * hours + phases))
    over_phases = np.abs(time_error(clock, after_h=hours) + swings).max(0)
    end_h = time_to_limit(clock, limit_us=5.0)

    assert np.allclose(over_phases, greatest_error(clock, after_h=hours), rtol=1e-4)
    assert 5.0 == pytest.approx(float(greatest_error(clock, after_h=end_h)), rel=1e-6)
    assert np.all(greatest_error(clock, after_h=np.linspace(0, end_h * 0.999, 400)) < 5.0)


def test_a_swing_alone_reaches_twice_its_amplitude() -> None:
    """Without drift the error never exceeds twice the swing, half a day on."""
    clock = Clock(temperature_per_degc=1e-10, temperature_swing_degc=5)

    assert 12.0 == pytest.approx(time_to_limit(clock, limit_us=2 * clock.swing_us * 0.9999999), abs=0.05)
    assert inf == time_to_limit(clock, limit_us=2 * clock.swing_us * 1.001)


def test_pairs_by_hand() -> None:
    """Two alike: worst case the time to half the limit, independent the time to 1/sqrt(2) of it."""
    clock = Clock(frequency_offset_ratio=1e-10, ageing_per_day=5e-10)
    limit_us = 2.0

    assert time_to_limit(clock, limit_us=1.0) == pytest.approx(
        pair_time_to_limit(clock, clock, limit_us=limit_us), rel=1e-9
    )
    assert time_to_limit(clock, limit_us=2**0.5) == pytest.approx(
        pair_time_to_limit(clock, clock, limit_us=limit_us, worst_case=False), rel=1e-9
    )
    assert [7.0, 5.0] == [float(pair_error(-3, 4, worst_case=w)) for w in (True, False)]


def test_a_locked_partner_takes_its_share() -> None:
    """Against a site 0.1 us off, the other reaches 1 us at 0.9; two locked sites never do, unless off already."""
    clock, locked = Clock(frequency_offset_ratio=1e-10), Clock(0.1)

    assert time_to_limit(clock, limit_us=0.9) == pytest.approx(pair_time_to_limit(clock, locked, limit_us=1), rel=1e-9)
    assert inf == pair_time_to_limit(locked, locked, limit_us=1)
    assert 0.0 == pair_time_to_limit(locked, locked, limit_us=0.2)
    assert isinf(pair_time_to_limit(locked, Clock(0.2), limit_us=0.5, worst_case=False))


def test_alarms_leave_time_to_get_there() -> None:
    """Leave when the reaction time is left; at once when it is longer than the whole holdover; none if never."""
    clock = Clock(frequency_offset_ratio=1e-10)
    lost, leave, limit = alarms(clock, limit_us=1.8, reaction_h=2)

    assert ("leave now", pytest.approx(3.0), pytest.approx(1.08)) == (leave.name, leave.after_h, leave.error_us)
    assert (0.0, 0.0) == (lost.after_h, lost.error_us)
    assert 5.0 == pytest.approx(limit.after_h)
    assert 0.0 == alarms(clock, limit_us=1.8, reaction_h=99)[1].after_h
    assert () == alarms(Clock(), limit_us=1, reaction_h=1)


def test_resynchronising_too_seldom_or_for_ever() -> None:
    """An interval that is too long fails at once; without ageing it never does."""
    assert 0.0 == resynchronised_until(Clock(frequency_offset_ratio=1e-6), every_days=4, limit_us=1000)
    assert inf == resynchronised_until(Clock(frequency_offset_ratio=1e-9), every_days=1, limit_us=1000)


def test_random_part_by_hand() -> None:
    """1e-12 over a day is 86.4 ns."""
    assert 0.0864 == pytest.approx(float(random_part(24, allan_deviation_ratio=1e-12)), rel=1e-12)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: Clock(frequency_offset_ratio=0.01), "frequency_offset_ratio must be from -0.001 to 0.001 (relative)"),
        (lambda: Clock(temperature_swing_degc=-1), "temperature_swing_degc must be from 0 to 75 degC, got -1"),
        (lambda: time_to_limit(Clock(), limit_us=0), "limit_us must be above 0 us, got 0"),
        (lambda: pair_time_to_limit(Clock(), Clock(), limit_us=-1), "limit_us must be above 0 us, got -1"),
        (lambda: alarms(Clock(), limit_us=1, reaction_h=-1), "reaction_h must be from 0 to 10000 h, got -1"),
        (lambda: resynchronised_until(Clock(), every_days=0, limit_us=1), "every_days and limit_us must be above 0"),
    ],
)
def test_refusals(make: object, text: str) -> None:
    """Refused by name, value and range."""
    with pytest.raises(ValueError, match="must be") as refusal:
        make()  # type: ignore[operator]

    assert text in str(refusal.value)
