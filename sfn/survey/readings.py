"""What a technician reads and types at a site: as-set values, launch against one pulse per second, restarts.

A value that looks like a typing error is questioned at once and in words; nothing is corrected silently. All
arithmetic on settings is exact, as the settings themselves are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sfn.plan import DelayField
from sfn.plan.number_text import number_written
from sfn.survey.rules import asked, value
from sfn.survey.slips import launch_rules, setting_rules
from sfn.units import exact

State = Literal["planned", "set", "measured", "split", "disagrees", "not changed", "gone back"]
"""The last two are of a change that was ordered back (`sfn.study.going_back`)."""

ONE_SECOND_US = 1e6
# Fewer restarts than these get a remark.
FEW_N = 5
STEPS_US = (
    ("one sample at 48 kHz", 1e6 / 48_000),
    ("one sample at 192 kHz", 1e6 / 192_000),
    ("one period of the pilot", 1e6 / 19_000),
    ("one packet of 1 ms", 1000.0),
)
"""Steps on which launches lie where something starts anywhere in one: name and size."""


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
    groups = setting_rules("set", field, planned=planned, old=old, slips_alone=slips_alone)
    return tuple(one.text for one in asked(groups, {"set": number_written(str(typed))}))


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
    groups = launch_rules(
        (value("reading"),),
        name="reading",
        planned_us=exact(planned_us),
        tolerance_us=exact(tolerance_us),
        old_us=None if old_us is None else exact(old_us),
        known=[(name, name) for name, _ in known],
    )
    amounts = {name: exact(amount_us) for name, amount_us in known}
    return tuple(one.text for one in asked(groups, {"reading": exact(measured_us), **amounts}))


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
    for name, own_us in (("test_cable_us", test_cable_us), ("demodulator_us", demodulator_us), ("plane_us", plane_us)):
        if not own_us >= 0:
            raise ValueError(f"{name} must be 0 or more us, got {own_us!r}")
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
    step : str
        Its name; empty where there is none.
    remark : str
        What to say with the number; empty when nothing.
    """

    readings_n: int
    mean_us: float
    deviation_us: float
    range_us: float
    tolerance_us: float
    step_us: float | None
    step: str
    remark: str

    @property
    def few(self) -> bool:
        """Whether more restarts are wanted before the scatter says much."""
        return self.readings_n < FEW_N


def restart_tolerance(
    launches_us: Sequence[float],
    *,
    resolution_us: float = 0.0,
    steps_us: Sequence[tuple[str, float]] = STEPS_US,
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
    if n < FEW_N:
        remarks.append(f"only {n} restarts: five or more say how far it scatters")
    return Restarts(
        readings_n=n,
        mean_us=mean,
        deviation_us=deviation,
        range_us=float(np.ptp(values)),
        tolerance_us=max(farthest, next_one, resolution_us),
        step_us=None if step is None else step[1],
        step="" if step is None else step[0],
        remark="; ".join(remarks),
    )


def state(
    *,
    as_set_agrees: bool | None,
    measured_us: float | None,
    planned_us: float,
    tolerance_us: float,
    split: bool = False,
) -> State:
    """State of a site at a glance.

    Parameters
    ----------
    as_set_agrees : bool or None
        Whether every field stands as planned; None while nothing was typed.
    measured_us : float or None
        Measured launch. [us]
    planned_us, tolerance_us : float
        Planned launch and the difference that is tolerated. [us]
    split : bool
        Whether the fields that do not stand as planned make up the planned total all the same.

    Returns
    -------
    {'planned', 'set', 'measured', 'split', 'disagrees'}
        A measurement that agrees beats settings that were never typed; one disagreement beats everything.
    """
    if measured_us is not None and abs(measured_us - planned_us) > tolerance_us:
        return "disagrees"
    if as_set_agrees is False:
        return "split" if split else "disagrees"
    if measured_us is not None:
        return "measured"
    return "set" if as_set_agrees else "planned"


def _on_steps(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]], step_us: float, resolution_us: float) -> bool:
    """Whether values differ by whole multiples of a step, not all by nought, and not by so many that all would."""
    off = values - values[0]
    counts = np.round(off / step_us)
    tolerance = max(0.05 * step_us, resolution_us)
    few = float(np.ptp(counts)) <= 50 and tolerance < step_us / 4
    return bool(few and counts.any() and np.all(np.abs(off - counts * step_us) <= tolerance))
