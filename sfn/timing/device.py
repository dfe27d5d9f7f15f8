"""The delay fields of a site as whole steps of what they contribute, exactly.

A *contribution* is the delay that a field then adds, its insertion delay included, positive = later whatever the
field's sign: ``insertion + m q`` with `q` the step in us and `m` whole.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sfn.plan import Chain, DelayField, Site
from sfn.timing.totals import Steps, greatest_below, least_above
from sfn.units import exact, unit_length_us

_ZERO = Fraction(0)
UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class FieldSteps:
    """A field as whole steps of its contribution, from `lo` to `hi`; `quantum` is one step. [us]"""

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
class Device:
    """All fields of a site: in document order, from the coarsest to the finest, and what they do together.

    Every total is `insertion` and a whole number of `unit`; `units` is the fields counted in it. [us]
    """

    fields: tuple[FieldSteps, ...]
    coarse_first: tuple[int, ...]
    insertion: Fraction
    least: Fraction
    greatest: Fraction
    unit: Fraction
    units: tuple[Steps, ...]

    @property
    def finest(self) -> Fraction:
        """The finest step, zero where there is no field. [us]"""
        return self.fields[self.coarse_first[-1]].quantum if self.fields else _ZERO

    def below(self, bound: Fraction) -> Fraction | None:
        """Greatest reachable total not above a bound, None where there is none; raises `totals.TooManyError`. [us]"""
        found = greatest_below(math.floor((bound - self.insertion) / self.unit), self.units)
        return None if found is None else self.insertion + found * self.unit

    def above(self, bound: Fraction) -> Fraction | None:
        """Least reachable total not below a bound, None where there is none; raises `totals.TooManyError`. [us]"""
        found = least_above(math.ceil((bound - self.insertion) / self.unit), self.units)
        return None if found is None else self.insertion + found * self.unit


_Primitive = tuple[str, float, float, float, str, float]


def device(fields: Sequence[DelayField]) -> Device:
    """The fields of a site as whole steps.

    Raises
    ------
    ValueError
        If a field's unit is not known.
    """
    return _device_of(tuple((f.unit, f.step, f.least, f.greatest, f.sign, f.insertion_us) for f in fields))


@lru_cache(maxsize=1024)  # sites share their devices' fields
def _device_of(fields: tuple[_Primitive, ...]) -> Device:
    """As `device`, from plain values."""
    steps = tuple(_steps(*field) for field in fields)
    whole = math.lcm(*(s.quantum.denominator for s in steps))
    sizes = [int(s.quantum * whole) for s in steps]
    shared = math.gcd(*sizes) or 1
    return Device(
        steps,
        tuple(sorted(range(len(steps)), key=lambda i: -steps[i].quantum)),
        sum((s.insertion for s in steps), _ZERO),
        sum((s.least for s in steps), _ZERO),
        sum((s.greatest for s in steps), _ZERO),
        Fraction(shared, whole),
        tuple(Steps(size // shared, s.lo, s.hi) for size, s in zip(sizes, steps, strict=True)),
    )


def _steps(unit: str, step: float, least: float, greatest: float, sign: str, insertion_us: float) -> FieldSteps:
    """The range of a field in whole steps of its contribution; an `earlier` field counts backwards.

    A field between whose limits no whole step lies stands at zero, which `sfn.timing.problems` says. One whose sign is
    unknown counts as `later`; nothing is issued on it.
    """
    size = exact(step)
    low, high = math.ceil(exact(least) / size), math.floor(exact(greatest) / size)
    if low > high:
        low = high = 0
    lo, hi = (-high, -low) if sign == "earlier" else (low, high)
    quantum, insertion = size * unit_length_us(unit), exact(insertion_us)
    return FieldSteps(quantum, insertion, lo, hi, insertion + lo * quantum, insertion + hi * quantum)


def has_no_step(field: DelayField) -> bool:
    """Whether no whole number of steps lies inside the field's own limits."""
    size = exact(field.step)
    return math.ceil(exact(field.least) / size) > math.floor(exact(field.greatest) / size)


def field_limits(fields: Sequence[DelayField]) -> tuple[Fraction, Fraction]:
    """Least and greatest delay that all fields together can contribute, exactly, in us."""
    made = device(fields)
    return made.least, made.greatest


def finest_step(fields: Sequence[DelayField]) -> Fraction:
    """Finest step of all fields, exactly, in us; zero where there is none."""
    return device(fields).finest


def contributes(field: DelayField, value: float) -> Fraction:
    """Delay that a field contributes with a setting in its own unit, exactly, in us; unknown signs count as later."""
    setting = exact(value) * unit_length_us(field.unit)
    return exact(field.insertion_us) + (-setting if field.sign == "earlier" else setting)


def present_values(site: Site, chain: Chain) -> dict[str, float | None]:
    """What each field is set to now on a route, in its own unit; the route's own setting before the field's."""
    own: Mapping[str, float | None] = chain.set or {}
    return {field.name: own.get(field.name, field.set) for field in site.delay_fields}


def present_total(site: Site, chain: Chain) -> Fraction | None:
    """Delay that all fields contribute with what they are set to now on a route; None where that is not known. [us]

    A setting is not known where nobody read it, nor, unless it is zero, where the field's sign is unknown.
    """
    total, values = _ZERO, present_values(site, chain)
    for field in site.delay_fields:
        value = values[field.name]
        if value is None or (field.sign == UNKNOWN and value != 0):
            return None
        total += contributes(field, value)
    return total
