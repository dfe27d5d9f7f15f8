"""What a technician reads and types at a site: as-set values, launch against one pulse per second, restarts.

A value that looks like a typing error is questioned at once and in words; nothing is corrected silently. All
arithmetic on settings is exact, as the settings themselves are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from sfn.plan import DelayField
from sfn.plan.number_text import number_written
from sfn.units import THIN, exact, grouped, unit_length_us, written

State = Literal["planned", "set", "measured", "disagrees"]

ONE_SECOND_US = 1e6
# A reading within a part in a thousand of what a slip would give is taken for that slip.
_SLIP_RATIO = Fraction(1, 1000)
# Fewer restarts than these get a remark.
_FEW = 5
_FACTORS = (
    (Fraction(1000), "1,000 times"),
    (Fraction(1, 1000), "a thousandth of"),
    (Fraction(10), "10 times"),
    (Fraction(1, 10), "a tenth of"),
    (Fraction(100), "100 times"),
    (Fraction(1, 100), "a hundredth of"),
)
_CONFUSED_UNITS = ("us", "ms", "ns", "samples@48000", "samples@192000", "1/16.384MHz")


def question_setting(
    typed: str | float, *, field: DelayField, planned: float | None = None, old: float | None = None,
    slips_alone: bool = False,
) -> tuple[str, ...]:  # fmt: skip
    """Questions to ask about an as-set value, the likeliest slip first; none when it is as planned.

    Parameters
    ----------
    typed : str or float
        As typed, in the field's own unit.
    field : DelayField
        The field it is said to stand in: unit, step, limits, sign.
    planned, old : float, optional
        The plan's value and the one before it, in the field's own unit.
    slips_alone : bool
        Nothing about a value that merely differs from the plan.

    Raises
    ------
    ValueError
        If `typed` is no number.
    """
    value = number_written(str(typed))
    questions = []
    if planned is not None and value != exact(planned):
        slip = _slip(value, exact(planned), unit=field.unit, old=None if old is None else exact(old))
        if slip or not slips_alone:
            questions.append(slip or _plain(value - exact(planned), field))
    step, least, greatest = exact(field.step), exact(field.least), exact(field.greatest)
    if not least <= value <= greatest:
        questions.append(
            f"{_amount(value, field.unit)} is outside what {field.name} can take,"
            f" {written(field.least)} to {written(field.greatest)}: is it another field or another unit?"
        )
    elif (value / step).denominator != 1:
        near = round(value / step) * step
        questions.append(
            f"{field.name} goes in {_steps(step, field.unit)}, so it cannot stand at {_text(value)}:"
            f" is it {_text(near)}?"
        )
    return tuple(questions)


def question_launch(
    measured_us: float,
    *,
    planned_us: float,
    tolerance_us: float,
    old_us: float | None = None,
    known: Sequence[tuple[str, float]] = (),
) -> tuple[str, ...]:
    """Questions to ask about a measured launch that is not as planned.

    Parameters
    ----------
    measured_us, planned_us : float
        Launch times against the same pulse and at the same reference plane. [us]
    tolerance_us : float
        Difference that needs no question. [us]
    old_us : float, optional
        Launch with the setting before. [us]
    known : sequence of (str, float)
        Amounts that may have been forgotten, with their name: test cable, demodulator. [us]

    Returns
    -------
    tuple of str
        Empty when measured and planned agree.
    """
    off = measured_us - planned_us
    if abs(off) <= tolerance_us:
        return ()
    slip = slip_launch(measured_us, planned_us=planned_us, tolerance_us=tolerance_us, old_us=old_us, known=known)
    size = f"{grouped(off, '+.3f')} us, more than {written(tolerance_us)} us"
    return (slip or f"it differs from the plan by {size}: was it measured at the planned plane?",)


def slip_launch(
    measured_us: float,
    *,
    planned_us: float,
    tolerance_us: float,
    old_us: float | None = None,
    known: Sequence[tuple[str, float]] = (),
) -> str | None:
    """The question about a slip that explains a measured launch, or None; arguments as `question_launch`."""
    off = measured_us - planned_us
    if abs(off) <= tolerance_us:
        return None
    near = max(tolerance_us, 1e-3)
    if old_us is not None and abs(measured_us - old_us) <= near:
        return f"{grouped(measured_us, '.3f')} us is what the old setting gives: is the new one set, and was it stored?"
    for name, amount_us in known:
        if abs(off - amount_us) <= near:
            return f"it is late by just the {name} ({grouped(amount_us, '.3f')} us): was that subtracted?"
        if abs(off + amount_us) <= near:
            return f"it is early by just the {name} ({grouped(amount_us, '.3f')} us): was that subtracted twice?"
        for factor, words in ((1e-3, "nanoseconds"), (1e3, "milliseconds")):
            if abs(off + amount_us * (1.0 - factor)) <= near:
                return (
                    f"it fits with {name} {written(amount_us * factor)} us: was {written(amount_us)} meant in {words}?"
                )
    if abs(measured_us + planned_us) <= near:
        size = grouped(off, "+.3f")
        return f"it is the planned launch with the other sign: which came first, the pulse or the signal? ({size} us)"
    for factor, words in ((1e-3, "in ms"), (1e3, "in ns")):
        if abs(measured_us - planned_us * factor) <= max(near * factor, 1e-3 * abs(planned_us * factor)):
            return f"{written(measured_us)} is the planned launch {words}: this field takes us"
    return None


@dataclass(frozen=True, slots=True)
class Launch:
    """A measured launch with what was subtracted from the reading.

    Parameters
    ----------
    reading_us : float
        Delay of the demodulated signal after the pulse, as the instrument showed it. [us]
    test_cable_us, demodulator_us, plane_us : float
        Subtracted: test cable and demodulator; added: from the plane measured at to the antenna. [us]
    launch_us : float
        ``reading - test cable - demodulator + plane``, in the second nearest to the plan. [us]
    """

    reading_us: float
    test_cable_us: float
    demodulator_us: float
    plane_us: float
    launch_us: float


def measured_launch(
    reading_us: float, *, test_cable_us: float, demodulator_us: float, planned_us: float, plane_us: float = 0.0
) -> Launch:
    """Launch time from a reading against one pulse per second.

    Parameters
    ----------
    reading_us : float
        [us]
    test_cable_us, demodulator_us : float
        Latency of what stands between the reference plane and the instrument. [us]
    planned_us : float
        Tells which second is meant: a pulse per second says nothing of whole seconds. [us]
    plane_us : float
        Latency from the plane measured at to the antenna (feeder, filter), 0 at the antenna. [us]

    Raises
    ------
    ValueError
        If a latency is negative.

    Examples
    --------
    >>> f"{measured_launch(122_602.9, test_cable_us=0.1, demodulator_us=2.3, planned_us=122_600.0).launch_us:.1f}"
    '122600.5'
    """
    for name, value in (("test_cable_us", test_cable_us), ("demodulator_us", demodulator_us), ("plane_us", plane_us)):
        if not value >= 0:
            raise ValueError(f"{name} must be 0 or more us, got {value!r}")
    launch_us = reading_us - test_cable_us - demodulator_us + plane_us
    launch_us += ONE_SECOND_US * round((planned_us - launch_us) / ONE_SECOND_US)
    return Launch(reading_us, test_cable_us, demodulator_us, plane_us, launch_us)


@dataclass(frozen=True, slots=True)
class Restarts:
    """Launches measured after restarts.

    Parameters
    ----------
    mean_us, deviation_us, range_us : float
        Mean, standard deviation, greatest minus least. [us]
    tolerance_us : float
        Restart tolerance: the farthest from the mean, or what Student's t expects of the next restart in 95 of 100
        cases, whichever is more. [us]
    step_us : float or None
        A known step that all differences are whole multiples of: buffers or dividers that start anywhere. [us]
    remark : str
        What to say with the number; empty when nothing.
    """

    readings_n: int
    mean_us: float
    deviation_us: float
    range_us: float
    tolerance_us: float
    step_us: float | None
    remark: str


def restart_tolerance(
    launches_us: Sequence[float],
    *,
    resolution_us: float = 0.0,
    steps_us: Sequence[tuple[str, float]] = (
        ("one sample at 48 kHz", 1e6 / 48_000),
        ("one sample at 192 kHz", 1e6 / 192_000),
        ("one period of the pilot", 1e6 / 19_000),
        ("one packet of 1 ms", 1000.0),
    ),
) -> Restarts:
    """How far the launch may be off after a restart, from repeated measurements.

    Parameters
    ----------
    launches_us : sequence of float
        At least two, each after a restart. [us]
    resolution_us : float
        Of the instrument; the tolerance is not less. [us]
    steps_us : sequence of (str, float)
        Steps to look for, with their name. [us]

    Raises
    ------
    ValueError
        With fewer than two launches.
    """
    from scipy.stats import t as student

    values = np.asarray(launches_us, dtype=np.float64)
    n = len(values)
    if n < 2:
        raise ValueError(f"launches_us must hold at least 2 values, each after a restart, got {n}")
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    farthest = float(np.max(np.abs(values - mean)))
    next_one = float(student.ppf(0.975, n - 1)) * deviation * float(np.sqrt(1 + 1 / n))
    step = next(((what, size) for what, size in steps_us if _on_steps(values, size, resolution_us)), None)
    remarks = []
    if step:
        remarks.append(f"the launches lie on steps of {step[0]} ({step[1]:.3f} us): something starts anywhere in it")
    if n < _FEW:
        remarks.append(f"only {n} restarts: five or more say how far it scatters")
    return Restarts(
        readings_n=n,
        mean_us=mean,
        deviation_us=deviation,
        range_us=float(np.ptp(values)),
        tolerance_us=max(farthest, next_one, resolution_us),
        step_us=None if step is None else step[1],
        remark="; ".join(remarks),
    )


def state(*, as_set_agrees: bool | None, measured_us: float | None, planned_us: float, tolerance_us: float) -> State:
    """State of a site at a glance.

    Parameters
    ----------
    as_set_agrees : bool or None
        Whether every field stands as planned; None while nothing was typed.
    measured_us : float or None
        Measured launch. [us]
    planned_us, tolerance_us : float
        Planned launch and the difference that is tolerated. [us]

    Returns
    -------
    {'planned', 'set', 'measured', 'disagrees'}
        A measurement that agrees beats settings that were never typed; one disagreement beats everything.
    """
    if as_set_agrees is False or (measured_us is not None and abs(measured_us - planned_us) > tolerance_us):
        return "disagrees"
    if measured_us is not None:
        return "measured"
    return "set" if as_set_agrees else "planned"


def _text(value: Fraction) -> str:
    """A number as people write it."""
    return written(float(value))


def _near(a: Fraction, b: Fraction) -> bool:
    """Equal within a part in a thousand, and not both nought."""
    return b != 0 and abs(a - b) <= abs(b) * _SLIP_RATIO


def _slip(value: Fraction, planned: Fraction, *, unit: str, old: Fraction | None) -> str | None:
    """The slip of the pen that leads from `planned` to `value`, as a question."""
    typed, meant = _amount(value, unit), _amount(planned, unit)
    if old is not None and value == old:
        return f"{typed} is the old value, the new one is {meant}: is it not set yet?"
    if planned != 0 and value == -planned:
        return f"the plan says {meant}, you typed {typed}: is the sign meant?"
    length = unit_length_us(unit)
    for other in _CONFUSED_UNITS:
        if other != unit and _near(value * unit_length_us(other), planned * length):
            ratio = length / unit_length_us(other)
            thousand = " (a factor of 1,000)" if ratio in (1000, Fraction(1, 1000)) else ""
            taken = f"{_text(value)} is the planned {meant} in {_unit_words(other)}{thousand}"
            return f"{taken}; this field takes {_unit_words(unit)}: which is meant?"
    for factor, words in _FACTORS:
        if _near(value, planned * factor):
            return f"{typed} is {words} the planned {meant}: is the decimal point right?"
    if _transposed(value, planned):
        return f"{typed} has the digits of the planned {meant} in another order: is it a slip?"
    return None if old is None or old == planned else _slip_of_old(value, old, unit=unit)


def _slip_of_old(value: Fraction, old: Fraction, *, unit: str) -> str | None:
    """The slip of the pen that leads from the value before the change to `value`, as a question."""
    typed, was = _amount(value, unit), _amount(old, unit)
    still = "is the old value still set, and typed with a slip?"
    if old != 0 and value == -old:
        return f"{typed} is the old value {was} with the other sign: {still}"
    for other in _CONFUSED_UNITS:
        if other != unit and _near(value * unit_length_us(other), old * unit_length_us(unit)):
            return f"{_text(value)} is the old value {was} in {_unit_words(other)}: {still}"
    for factor, words in _FACTORS:
        if _near(value, old * factor):
            return f"{typed} is {words} the old value {was}: {still}"
    if _transposed(value, old):
        return f"{typed} has the digits of the old value {was} in another order: {still}"
    return None


def _transposed(value: Fraction, other: Fraction) -> bool:
    """Whether two numbers have the same digits in another order, with the noughts at their ends or without."""
    bare = [_text(abs(one)).replace(".", "").replace(THIN, "") for one in (value, other)]
    pairs = (bare, [digits.strip("0") for digits in bare])
    return any(a != b and sorted(a) == sorted(b) for a, b in pairs)


def _plain(off: Fraction, field: DelayField) -> str:
    """A difference without an explanation."""
    off_us = float(off * unit_length_us(field.unit))
    later = (off_us > 0) == (field.sign == "later")
    way = "later" if later else "earlier"
    by = f"{_amount(off, field.unit)}, {written(abs(off_us), 7)} us {way}"
    return f"{field.name} differs from the plan by {by}: is it meant?"


def _amount(value: Fraction, unit: str) -> str:
    """A number with its unit: 5 us, 5 units of 100 ns, 5 samples at 192 kHz."""
    return f"{_text(value)} {unit if unit in ('us', 'ms') else _unit_words(unit)}"


def _steps(step: Fraction, unit: str) -> str:
    """What a field goes in: steps of 0.1 us, whole units of 100 ns."""
    return f"whole {_unit_words(unit)}" if step == 1 else f"steps of {_amount(step, unit)}"


def _unit_words(unit: str) -> str:
    """A unit of a delay field in words."""
    words = {"us": "microseconds", "ms": "milliseconds", "ns": "nanoseconds", "100ns": "units of 100 ns"}
    if unit.startswith("samples@"):
        return f"samples at {float(unit.removeprefix('samples@')) / 1000:g} kHz"
    return words.get(unit, f"units of {unit.replace('MHz', ' MHz')}")


def _on_steps(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]], step_us: float, resolution_us: float) -> bool:
    """Whether values differ by whole multiples of a step, not all by nought, and not by so many that all would."""
    off = values - values[0]
    counts = np.round(off / step_us)
    tolerance = max(0.05 * step_us, resolution_us)
    few = float(np.ptp(counts)) <= 50 and tolerance < step_us / 4
    return bool(few and counts.any() and np.all(np.abs(off - counts * step_us) <= tolerance))
