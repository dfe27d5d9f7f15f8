"""One added delay, split over a site's delay fields: exact, in whole steps.

Work is done in *contributions*: the delay a field then adds, its insertion delay included, positive = later
whatever the field's sign. A contribution is ``insertion + m q`` with `q` the step in us and `m` whole.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sfn.plan import DelayField
from sfn.units import exact, unit_length_us

_ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class FieldSetting:
    """What one field is to be set to.

    `value` and `change` (against what is set now) are in the field's own unit, whole numbers of steps; `set_us`
    is the delay it then contributes, insertion delay included, positive = later.
    """

    name: str
    unit: str
    value: float
    set_us: float
    least_us: float
    greatest_us: float
    headroom_us: float
    change: float


@dataclass(frozen=True, slots=True)
class _Steps:
    """A field as whole steps of its contribution, from `lo` to `hi`."""

    quantum: Fraction
    insertion: Fraction
    lo: int
    hi: int
    least: Fraction
    greatest: Fraction

    def contribution(self, steps: int) -> Fraction:
        """Delay that the field adds, in us, insertion included."""
        return self.insertion + steps * self.quantum


@dataclass(frozen=True, slots=True)
class _Device:
    """All fields of a site: in document order, from the coarsest to the finest, and what they do together."""

    fields: tuple[_Steps, ...]
    coarse_first: tuple[int, ...]
    insertion: Fraction
    least: Fraction
    greatest: Fraction


_Primitive = tuple[str, float, float, float, str, float]


def _device(fields: Sequence[DelayField]) -> _Device:
    """The fields of a site as whole steps."""
    return _device_of(tuple((f.unit, f.step, f.least, f.greatest, f.sign, f.insertion_us) for f in fields))


@lru_cache(maxsize=1024)  # sites share their devices' fields
def _device_of(fields: tuple[_Primitive, ...]) -> _Device:
    """As `_device`, from plain values."""
    steps = tuple(_steps(*field) for field in fields)
    return _Device(
        steps,
        tuple(sorted(range(len(steps)), key=lambda i: -steps[i].quantum)),
        sum((s.insertion for s in steps), _ZERO),
        sum((s.least for s in steps), _ZERO),
        sum((s.greatest for s in steps), _ZERO),
    )


def _steps(unit: str, step: float, least: float, greatest: float, sign: str, insertion_us: float) -> _Steps:
    """The range of a field in whole steps of its contribution; an `earlier` field counts backwards."""
    size, insertion = exact(step), exact(insertion_us)
    low, high = math.ceil(exact(least) / size), math.floor(exact(greatest) / size)
    lo, hi = (low, high) if sign == "later" else (-high, -low)
    quantum = size * unit_length_us(unit)
    return _Steps(quantum, insertion, lo, hi, insertion + lo * quantum, insertion + hi * quantum)


def field_limits(fields: Sequence[DelayField]) -> tuple[Fraction, Fraction]:
    """Least and greatest delay that all fields together can contribute, exactly, in us."""
    device = _device(fields)
    return device.least, device.greatest


def set_now(field: DelayField, value: float | None = None) -> Fraction:
    """Delay that a field contributes with what it is set to now (or with `value`), exactly, in us."""
    setting = exact(field.set if value is None else value) * unit_length_us(field.unit)
    return exact(field.insertion_us) + (setting if field.sign == "later" else -setting)


def finest_step(fields: Sequence[DelayField]) -> Fraction:
    """Finest step of all fields, exactly, in us; zero where there is none."""
    device = _device(fields)
    return device.fields[device.coarse_first[-1]].quantum if device.fields else _ZERO


def settings_for(added: Fraction, fields: Sequence[DelayField]) -> tuple[tuple[FieldSetting, ...], Fraction]:
    """Split an added delay over the fields: the coarse ones rounded down, the finest rounded half up.

    Parameters
    ----------
    added : Fraction
        The exact added delay. [us]
    fields : sequence of DelayField, any order
        The site's fields.

    Returns
    -------
    settings : tuple of FieldSetting, in the order of `fields`
        Clamped to each field's limits; `sfn.timing.problems` says so where that bites.
    total : Fraction
        The delay that the settings contribute together. [us]

    Notes
    -----
    A coarse field steps past "rounded down" only where the finer ones could not make up the rest, for example
    below a fine field that can only make the emission earlier.
    """
    device = _device(fields)
    chosen = [0] * len(fields)
    left = added - device.insertion
    for i, at in enumerate(device.coarse_first):
        one = device.fields[at]
        finer = [device.fields[j] for j in device.coarse_first[i + 1 :]]
        steps = _coarse_steps(left, one, finer) if finer else math.floor(left / one.quantum + Fraction(1, 2))
        chosen[at] = max(one.lo, min(one.hi, steps)) if one.lo <= one.hi else 0
        left -= chosen[at] * one.quantum
    settings = tuple(_setting(*item) for item in zip(fields, device.fields, chosen, strict=True))
    return settings, added - left


def _coarse_steps(left: Fraction, one: _Steps, finer: Sequence[_Steps]) -> int:
    """Whole steps of a coarse field, rounded down, moved only where the finer fields could not follow."""
    half = finer[-1].quantum / 2
    low = sum((s.lo * s.quantum for s in finer), -half)
    high = sum((s.hi * s.quantum for s in finer), half)
    steps = math.floor(left / one.quantum)
    rest = left - steps * one.quantum
    if rest < low:
        return steps - math.ceil((low - rest) / one.quantum)
    if rest >= high:
        more = math.floor((rest - high) / one.quantum) + 1
        return steps + more if rest - more * one.quantum >= low else steps
    return steps


def _setting(field: DelayField, one: _Steps, steps: int) -> FieldSetting:
    """The record of a field set to `steps` of its contribution."""
    value = exact(field.step) * (steps if field.sign == "later" else -steps)
    contribution = one.contribution(steps)
    return FieldSetting(
        field.name,
        field.unit,
        float(value),
        float(contribution),
        float(one.least),
        float(one.greatest),
        float(one.greatest - contribution),
        float(value - exact(field.set)),
    )
