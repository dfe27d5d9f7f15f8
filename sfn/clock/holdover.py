"""How far a clock has run off after it lost its reference, and when it reaches a limit.

``x(t) = x0 + y0 t + D t^2 / 2 + k dT t + (k A / w) [cos f - cos(w t + f)]``, w one turn a day.

| symbol | name | unit |
|---|---|---|
| x0 | `initial_us` | us |
| y0 | `frequency_offset_ratio` | 1 |
| D | `ageing_per_day` | 1/day |
| k | `temperature_per_degc` | 1/degC |
| dT | `temperature_step_degc`, away from where it was disciplined | degC |
| A | `temperature_swing_degc`, day and night about the mean | degC |
| f | phase of the day at which the reference is lost; unknown, so the worst counts | |

A positive error is a clock that is late: its site launches later. Sources: J. Vig, Quartz Crystal Resonators and
Oscillators (tutorial), error budget of a clock; the temperature terms by integration.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf, isinf, pi, sqrt

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range

US_PER_H = 3600e6
H_PER_DAY = 24.0
LONGEST_H = 1e8  # eleven thousand years: beyond that the answer is "never"
SCAN_H = 0.25


@dataclass(frozen=True, slots=True)
class Clock:
    """A clock at the moment it loses its reference; signs matter, see `worst`."""

    initial_us: float = 0.0
    frequency_offset_ratio: float = 0.0
    ageing_per_day: float = 0.0
    temperature_per_degc: float = 0.0
    temperature_step_degc: float = 0.0
    temperature_swing_degc: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no clock is; the usual confusion (parts per million given as such) falls outside."""
        in_range("initial_us", self.initial_us, least=-1e6, greatest=1e6, unit="us")
        in_range("frequency_offset_ratio", self.frequency_offset_ratio, least=-1e-3, greatest=1e-3, unit="(relative)")
        in_range("ageing_per_day", self.ageing_per_day, least=-1e-4, greatest=1e-4, unit="a day (relative)")
        in_range("temperature_per_degc", self.temperature_per_degc, least=-1e-4, greatest=1e-4, unit="a degC")
        in_range("temperature_step_degc", self.temperature_step_degc, least=-150, greatest=150, unit="degC")
        in_range("temperature_swing_degc", self.temperature_swing_degc, least=0, greatest=75, unit="degC")

    @property
    def slope_us_per_h(self) -> float:
        """What offset and constant temperature add each hour. [us/h]"""
        step = self.temperature_per_degc * self.temperature_step_degc
        return (self.frequency_offset_ratio + step) * US_PER_H

    @property
    def curve_us_per_h2(self) -> float:
        """What ageing adds to the slope each hour. [us/h^2]"""
        return self.ageing_per_day / H_PER_DAY * US_PER_H

    @property
    def swing_us(self) -> float:
        """Amplitude of the daily swing in time: k A 86400 s / (2 pi). [us]"""
        return abs(self.temperature_per_degc) * self.temperature_swing_degc * H_PER_DAY * US_PER_H / (2 * pi)


def worst(clock: Clock) -> Clock:
    """The same clock with every term pushing the same way: what must be assumed when signs are unknown."""
    return replace(
        clock,
        initial_us=abs(clock.initial_us),
        frequency_offset_ratio=abs(clock.frequency_offset_ratio),
        ageing_per_day=abs(clock.ageing_per_day),
        temperature_per_degc=abs(clock.temperature_per_degc),
        temperature_step_degc=abs(clock.temperature_step_degc),
    )


LEFT_OUT = (
    ("frequency_offset_ratio", "the frequency offset that stayed after disciplining"),
    ("ageing_per_day", "ageing"),
    ("temperature_step_degc", "a temperature away from that of disciplining"),
    ("temperature_swing_degc", "the temperature of day and night"),
)


def left_out(clock: Clock) -> tuple[str, ...]:
    """Terms of the model that count for nothing because a figure is 0: a real clock has them all.

    Examples
    --------
    >>> left_out(Clock(ageing_per_day=5e-10, frequency_offset_ratio=1e-10, temperature_per_degc=1e-10))
    ('a temperature away from that of disciplining', 'the temperature of day and night')
    """
    found = [words for name, words in LEFT_OUT if getattr(clock, name) == 0]
    temperature = [words for name, words in LEFT_OUT if name.startswith("temperature")]
    if clock.temperature_per_degc == 0:
        found += [words for words in temperature if words not in found]
    return tuple(found)


def time_error(clock: Clock, *, after_h: ArrayLike) -> NDArray[np.float64]:
    """Steady part of the time error, without the daily swing. [us], shape of `after_h`.

    Examples
    --------
    Ageing of 5e-10 a day alone, after one, two and seven days (Vig: about 20, 80 and 1000 us):

    >>> print(time_error(Clock(ageing_per_day=5e-10), after_h=[24, 48, 168]).round(1))
    [  21.6   86.4 1058.4]
    """
    t = np.asarray(after_h, dtype=np.float64)
    return np.asarray(clock.initial_us + clock.slope_us_per_h * t + 0.5 * clock.curve_us_per_h2 * t**2)


def greatest_error(clock: Clock, *, after_h: ArrayLike) -> NDArray[np.float64]:
    """Greatest |error| at a time over all phases of the day: steady part plus ``2 (k A / w) |sin(w t / 2)|``. [us]"""
    t = np.asarray(after_h, dtype=np.float64)
    swing = 2 * clock.swing_us * np.abs(np.sin(pi * t / H_PER_DAY))
    return np.asarray(np.abs(time_error(clock, after_h=t)) + swing)


def time_to_limit(clock: Clock, *, limit_us: float) -> float:
    """Hours until the error may first reach a limit, on either side.

    Parameters
    ----------
    clock : Clock
        With its signs; `worst` where they are unknown.
    limit_us : float
        [us]

    Returns
    -------
    time_h : float
        [h]  0 when the initial offset is already beyond, infinite when the limit is never reached.

    Raises
    ------
    ValueError
        If `limit_us` is not above 0.

    Notes
    -----
    Steady part: least positive root of ``x(t) = X`` and ``x(t) = -X``, so that an error which first runs one way and
    then returns is met on whichever side comes first. With a daily swing the sum is followed to its first crossing.

    Examples
    --------
    >>> mixed = Clock(frequency_offset_ratio=2e-10, ageing_per_day=-5e-10)
    >>> print(f"{time_to_limit(mixed, limit_us=3):.4f} {time_to_limit(mixed, limit_us=5):.3f}")
    6.1129 24.616
    """
    if not limit_us > 0:
        raise ValueError(f"limit_us must be above 0 us, got {limit_us!r}")
    if abs(clock.initial_us) >= limit_us:
        return 0.0
    steady_h = min(_first_root(clock, level_us=limit_us), _first_root(clock, level_us=-limit_us))
    if clock.swing_us > 0:
        return _with_swing(clock, limit_us=limit_us, horizon_h=steady_h)
    return steady_h if steady_h < LONGEST_H else inf


def resynchronised_until(clock: Clock, *, every_days: float, limit_us: float) -> float:
    """Days after which a clock set right every so often no longer holds until the next setting.

    Setting the time does not set the frequency: ageing goes on from one setting to the next.

    Raises
    ------
    ValueError
        If the interval or the limit is not above 0.

    Examples
    --------
    Vig: 2e-8 and 5e-10 a day, set every 4 days, 25 ms: about 100 days.

    >>> aged = Clock(frequency_offset_ratio=2e-8, ageing_per_day=5e-10)
    >>> print(f"{resynchronised_until(aged, every_days=4, limit_us=25_000):.1f}")
    102.7
    """
    if not (every_days > 0 and limit_us > 0):
        raise ValueError(f"every_days and limit_us must be above 0 days and us, got {every_days!r} and {limit_us!r}")
    hours = every_days * H_PER_DAY
    start = worst(replace(clock, initial_us=0.0, temperature_swing_degc=0.0))
    spare_us = limit_us - float(time_error(start, after_h=hours))
    if spare_us <= 0:
        return 0.0
    gained_us_per_day = start.curve_us_per_h2 * hours * H_PER_DAY
    return spare_us / gained_us_per_day if gained_us_per_day > 0 else inf


def pair_error(a_us: ArrayLike, b_us: ArrayLike, *, worst_case: bool) -> NDArray[np.float64]:
    """Error between two sites: ``|x1| + |x2|`` at worst, ``sqrt(x1^2 + x2^2)`` if independent. [us]"""
    a, b = np.abs(np.asarray(a_us, dtype=np.float64)), np.abs(np.asarray(b_us, dtype=np.float64))
    return np.asarray(a + b if worst_case else np.hypot(a, b))


def pair_time_to_limit(a: Clock, b: Clock, *, limit_us: float, worst_case: bool = True) -> float:
    """Hours until two sites may be out of step by a limit; a locked site is a clock with an offset only.

    Raises
    ------
    ValueError
        If `limit_us` is not above 0.
    """
    if not limit_us > 0:
        raise ValueError(f"limit_us must be above 0 us, got {limit_us!r}")
    one, other = worst(a), worst(b)

    together = _sum(one, other)
    together_h = time_to_limit(together, limit_us=limit_us)
    if worst_case or isinf(together_h):
        return together_h

    def over(t: float) -> float:
        both = pair_error(greatest_error(one, after_h=t), greatest_error(other, after_h=t), worst_case=False)
        return float(both) - limit_us

    # adding squares never takes less time than adding, nor more than the faster clock alone
    alone_h = min(time_to_limit(one, limit_us=limit_us), time_to_limit(other, limit_us=limit_us))
    return _first_crossing(over, start_h=together_h, horizon_h=alone_h)


def random_part(after_h: ArrayLike, *, allan_deviation_ratio: float) -> NDArray[np.float64]:
    """Order of magnitude of the random part, ``x_rms = t * sigma_y(t)`` (from memory). [us]"""
    return np.asarray(np.asarray(after_h, dtype=np.float64) * US_PER_H * allan_deviation_ratio)


@dataclass(frozen=True, slots=True)
class Alarm:
    """When to ring after the reference is lost, and how far off the clock may be by then."""

    name: str
    after_h: float
    error_us: float


def alarms(clock: Clock, *, limit_us: float, reaction_h: float) -> tuple[Alarm, ...]:
    """Thresholds for one limit: reference lost, last moment to leave for the site, limit reached.

    Parameters
    ----------
    clock : Clock
    limit_us : float
        [us]
    reaction_h : float
        Time that somebody needs to get there and set it right. [h]

    Raises
    ------
    ValueError
        If `limit_us` is not above 0 or `reaction_h` is negative.
    """
    in_range("reaction_h", reaction_h, least=0, greatest=10_000, unit="h")
    end_h = time_to_limit(clock, limit_us=limit_us)
    if isinf(end_h):
        return ()
    leave_h = max(end_h - reaction_h, 0.0)
    return tuple(
        Alarm(name, at_h, float(greatest_error(clock, after_h=at_h)))
        for name, at_h in (("reference lost", 0.0), ("leave now", leave_h), ("limit", end_h))
    )


def _first_root(clock: Clock, *, level_us: float) -> float:
    """Least t > 0 with x(t) = level; infinite when there is none."""
    a, b, c = 0.5 * clock.curve_us_per_h2, clock.slope_us_per_h, clock.initial_us - level_us
    if a == 0:
        t = -c / b if b else inf
        return t if t > 0 else inf
    under = b * b - 4 * a * c
    if under < 0:
        return inf
    q = -0.5 * (b + (sqrt(under) if b >= 0 else -sqrt(under)))  # no cancellation in either root
    roots = [q / a] + ([c / q] if q else [])
    return min((t for t in roots if t > 0), default=inf)


def _with_swing(clock: Clock, *, limit_us: float, horizon_h: float) -> float:
    """First time that steady part plus greatest swing reaches the limit, at or before `horizon_h`."""
    steady = replace(clock, temperature_swing_degc=0.0)
    spare_us = limit_us - 2 * clock.swing_us  # with less than this of steady error the swing cannot reach the limit
    start_h = time_to_limit(steady, limit_us=spare_us) if spare_us > 0 else 0.0
    return _first_crossing(
        lambda t: float(greatest_error(clock, after_h=t)) - limit_us, start_h=start_h, horizon_h=horizon_h
    )


def _sum(one: Clock, other: Clock) -> Clock:
    """A clock whose greatest error is the sum of both, each with its worst signs."""
    swing_us_a_degc = H_PER_DAY * US_PER_H / (2 * pi)
    return Clock(
        one.initial_us + other.initial_us,
        (one.slope_us_per_h + other.slope_us_per_h) / US_PER_H,
        one.ageing_per_day + other.ageing_per_day,
        (one.swing_us + other.swing_us) / swing_us_a_degc,
        0.0,
        1.0,
    )


def _first_crossing(over: Callable[[float], float], *, start_h: float, horizon_h: float) -> float:
    """First zero of a function after `start_h`, where it is negative; no later than `horizon_h`, infinite for none."""
    if start_h >= LONGEST_H:
        return inf
    if over(start_h) >= 0:
        return start_h
    before, step_h = start_h, SCAN_H
    last_h = min(horizon_h, LONGEST_H)
    while before < last_h:
        now = min(before + step_h, last_h)
        if over(now) >= 0:
            return float(scipy.optimize.brentq(over, before, now, xtol=1e-9))
        if now - start_h > 20_000 * SCAN_H:  # the daily turn has been met at every phase: only slow growth is left
            step_h *= 1.01
        before = now
    return horizon_h if horizon_h < LONGEST_H else inf
