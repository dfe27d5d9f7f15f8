"""Clocks in holdover: published anchors and values worked out from the quadratic model."""

from collections.abc import Callable

import pytest

from sfn.clock.holdover import Clock, greatest_error, resynchronised_until, time_error, time_to_limit
from sfn.clock.reference import asymmetry_error_us, cable_delay_us
from sfn.units import SPEED_OF_LIGHT_M_PER_US

VIG = "J. Vig, Quartz Crystal Resonators and Oscillators (tutorial), error budget of a clock"
MODEL = "x0 + y0 t + D t^2 / 2, by hand"


@pytest.mark.parametrize(("days", "theirs"), [(1, 21.6), (2, 86.4), (7, 1058.4)])
def test_ageing_alone(days: int, theirs: float, published: Callable[..., None]) -> None:
    """5e-10 a day: published as about 20, 80 and 1000 us after one, two and seven days."""
    ours = float(time_error(Clock(ageing_per_day=5e-10), after_h=24 * days))
    published(f"ageing 5e-10/day, {days} d", ours, theirs, tolerance=1e-4 * theirs, unit="us", source=VIG)


def test_resynchronised_every_four_days(published: Callable[..., None]) -> None:
    """2e-8 and 5e-10 a day, set every 4 days, 25 ms: published as about 100 days."""
    clock = Clock(frequency_offset_ratio=2e-8, ageing_per_day=5e-10)
    ours = resynchronised_until(clock, every_days=4, limit_us=25_000)
    published("set every 4 days, 25 ms", ours, 102.7, tolerance=0.1, unit="days", source=VIG)


# y0, D a day, then hours to 1, 2, 5 and 10 us.
TABLE = [
    (0.0, 5e-10, (5.164, 7.303, 11.547, 16.330)),
    (1e-10, 5e-10, (2.250, 3.939, 7.705, 12.221)),
    (1e-11, 1e-10, (9.394, 14.105, 23.531, 34.194)),
    (1e-12, 1e-12, (93.94, 141.05, 235.31, 341.94)),
    (5e-12, 1e-12, (46.53, 82.65, 164.72, 264.36)),
    (1e-9, 0.0, (0.2778, 0.5556, 1.3889, 2.7778)),
]


@pytest.mark.parametrize(("offset", "ageing", "hours"), TABLE)
def test_time_to_a_limit(
    offset: float, ageing: float, hours: tuple[float, ...], published: Callable[..., None]
) -> None:
    """Hours to 1, 2, 5 and 10 us for offset and ageing of one sign."""
    clock = Clock(frequency_offset_ratio=offset, ageing_per_day=ageing)
    for limit_us, theirs in zip((1, 2, 5, 10), hours, strict=True):
        ours = time_to_limit(clock, limit_us=limit_us)
        last_digit = 0.006 if theirs > 40 else 6e-4 if theirs > 2.9 else 6e-5 if theirs not in (2.250,) else 6e-4
        what = f"y0 {offset:g}, D {ageing:g}/day, {limit_us} us"
        published(what, ours, theirs, tolerance=last_digit, unit="h", source=MODEL)


def test_more_digits(published: Callable[..., None]) -> None:
    """1e-11 and 1e-10 a day: 1 us at 9.3938 h, 10 us at 34.194 h."""
    clock = Clock(frequency_offset_ratio=1e-11, ageing_per_day=1e-10)
    for limit_us, theirs in ((1.0, 9.3938), (10.0, 34.194)):
        ours = time_to_limit(clock, limit_us=limit_us)
        published(f"1e-11, 1e-10/day, {limit_us:g} us", ours, theirs, tolerance=1e-3, unit="h", source=MODEL)


def test_offset_and_ageing_of_opposite_sign(published: Callable[..., None]) -> None:
    """2e-10 against -5e-10 a day: peak 3.456 us at 9.600 h, 3 us at 6.1129 h, 5 us only on the way back."""
    clock = Clock(frequency_offset_ratio=2e-10, ageing_per_day=-5e-10)
    peak_us = float(time_error(clock, after_h=9.6))
    published("peak", peak_us, 3.456, tolerance=1e-3, unit="us", source=MODEL)
    for limit_us, theirs in ((3.0, 6.1129), (5.0, 24.616)):
        ours = time_to_limit(clock, limit_us=limit_us)
        published(f"|x| = {limit_us:g} us", ours, theirs, tolerance=1e-3, unit="h", source=MODEL)

    assert float(time_error(clock, after_h=9.59)) < peak_us > float(time_error(clock, after_h=9.61))


def test_temperature(published: Callable[..., None]) -> None:
    """1e-10 a degree with 5 degrees day and night swings 6.88 us; 5e-11 x 10 degrees drift 43.2 us a day."""
    swing = Clock(temperature_per_degc=1e-10, temperature_swing_degc=5).swing_us
    step = Clock(temperature_per_degc=5e-11, temperature_step_degc=10)
    published("daily swing", swing, 6.88, tolerance=0.005, unit="us", source="k A 86400 / (2 pi), by hand")
    ours = float(greatest_error(step, after_h=24))
    published("constant step", ours, 43.2, tolerance=1e-9, unit="us", source="k dT t, by hand")


def test_reference_path(published: Callable[..., None]) -> None:
    """Antenna cable left uncompensated, two-way asymmetry, and a long coaxial feeder."""
    source = "length / (c factor), by hand"
    for factor, theirs in ((0.83, 121.0), (0.66, 152.0)):
        ours = 1000 * cable_delay_us(30, velocity_factor=factor)
        published(f"30 m of cable, {factor}", ours, theirs, tolerance=0.5, unit="ns", source=source)
    ours = 1000 * cable_delay_us(120, velocity_factor=0.88)
    published("120 m of cable, 0.88", ours, 454.860, tolerance=1e-3, unit="ns", source=source)
    fibre_us = 10 * 1.468 / SPEED_OF_LIGHT_M_PER_US
    ours = 1000 * asymmetry_error_us(fibre_us, back_us=0.0)
    published("10 m of fibre one way", ours, 24.5, tolerance=0.05, unit="ns", source="half the difference, by hand")
