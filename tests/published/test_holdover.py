"""Clocks in holdover: published anchors and values worked out from the quadratic model; masks of Recommendations."""

from collections.abc import Callable

import pytest

from sfn.clock.holdover import Clock, greatest_error, resynchronised_until, time_error, time_to_limit
from sfn.clock.masks import (
    enhanced_clock_holdover,
    equipment_clock_holdover,
    network_mtie,
    prc_mtie,
    prtc_mtie,
    prtc_tdev,
)
from sfn.clock.reference import asymmetry_error_us, cable_delay_us
from sfn.units import SPEED_OF_LIGHT_M_PER_US

VIG = "J. Vig, Quartz Crystal Resonators and Oscillators (tutorial), error budget of a clock"
MODEL = "x0 + y0 t + D t^2 / 2, by hand"
G8272 = "ITU-T G.8272 (07/2025), figures 1 and 2, as a public test quotes them"


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


def test_prtc_masks(published: Callable[..., None]) -> None:
    """The points that G.8272 prints, and the knees that follow."""
    at_knee = float(prtc_mtie(54.5, grade="B"))
    published("PRTC-B MTIE at 54.5 s", 1000 * at_knee, 40.0, tolerance=0.5, unit="ns", source=G8272)
    published("PRTC-A MTIE at 54.5 s", 1000 * float(prtc_mtie(54.5, grade="A")), 40.0, tolerance=0.5, unit="ns",
              source=G8272)  # fmt: skip
    published("PRTC-A MTIE at 273 s", 1000 * float(prtc_mtie(273, grade="A")), 100.0, tolerance=0.5, unit="ns",
              source=G8272)  # fmt: skip
    published("PRTC-A TDEV at 1000 s", 1000 * float(prtc_tdev(1000, grade="A")), 30.0, tolerance=0.5, unit="ns",
              source=G8272)  # fmt: skip
    published("PRTC-B TDEV at 500 s", 1000 * float(prtc_tdev(500, grade="B")), 5.0, tolerance=0.5, unit="ns",
              source=G8272)  # fmt: skip


def test_enhanced_clock(published: Callable[..., None]) -> None:
    """After 6 days locked an ePRTC-A holds 518 400 s, to 100 ns."""
    source = "ITU-T G.8272.1 (2024) Amd.1 (07/2025), 8.2.1 and figure V.2, as a public test quotes them"
    held = enhanced_clock_holdover(6)
    published("ePRTC-A, 6 days locked", held.holds_s, 518_400, tolerance=0.5, unit="s", source=source)
    published("its limit at the end", 1000 * held.end_us, 100.0, tolerance=0.5, unit="ns", source=source)

    assert [70_000, 518_400, 3_456_000] == [enhanced_clock_holdover(d).holds_s for d in (5.9, 39.9, 40)]


@pytest.mark.parametrize(
    ("kind", "interval_s", "theirs"),
    [
        ("network", 2.4, 280), ("network", 275, 580), ("enhanced network", 2.4, 60.67),
        ("enhanced network", 20.2, 100.72), ("enhanced network", 211.11, 200.0),
    ],
)  # fmt: skip
def test_network_limits(kind: str, interval_s: float, theirs: float, published: Callable[..., None]) -> None:
    """The printed points of the network limits at reference point C."""
    source = "ITU-T G.8271.1 Amd.3 (05/2025), figures 7-2 and 7-3, as a public test quotes them"
    ours = 1000 * float(network_mtie(interval_s, kind=kind))
    published(f"{kind}, {interval_s:g} s", ours, theirs, tolerance=1e-6, unit="ns", source=source)


def test_frequency_clocks(published: Callable[..., None]) -> None:
    """G.813 option 1 drifts 7.38 ms in an hour and 178 ms in a day; G.811 meets its own knee."""
    source = "ITU-T G.813 option 1, holdover (from memory)"
    hour_ms, day_ms = (float(equipment_clock_holdover(s)) / 1000 for s in (3600, 86_400))
    published("equipment clock, 1 h", hour_ms, 7.38, tolerance=0.005, unit="ms", source=source)
    published("equipment clock, 24 h", day_ms, 178, tolerance=0.5, unit="ms", source=source)
    published("PRC MTIE at 1000 s", float(prc_mtie(1000)), 0.3, tolerance=1e-9, unit="us",
              source="ITU-T G.811 (from memory)")  # fmt: skip


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
