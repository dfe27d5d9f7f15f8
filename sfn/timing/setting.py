"""One added delay, split over a site's delay fields: the nearest total that whole steps can make, exactly."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from sfn.plan import DelayField
from sfn.timing.device import Device, FieldSteps, contributes, device
from sfn.timing.totals import Steps, TooManyError, greatest_below, steps_making
from sfn.units import exact


@dataclass(frozen=True, slots=True)
class FieldSetting:
    """What one field is to be set to.

    `value`, `before` (what is set on this route at present) and `change` (against that) are in the field's own unit,
    whole numbers of steps; `before` and `change` are None where the present value is not known. `set_us` is what it
    then adds to the delay, insertion delay included, positive = later.
    """

    name: str
    unit: str
    value: float
    set_us: float
    least_us: float
    greatest_us: float
    headroom_us: float
    before: float | None
    change: float | None


@dataclass(frozen=True, slots=True)
class Split:
    """Settings of all fields in document order, what they contribute together, and whether that is proven nearest.

    It is not where a device has more combinations of steps than may be tried; then the fields are filled coarse first.
    """

    settings: tuple[FieldSetting, ...]
    total: Fraction
    proven: bool = True


@dataclass(frozen=True, slots=True)
class Commissioning:
    """Settings to begin measuring with: the same total, the coarsest field where the others stand mid-range.

    `earlier_us` and `later_us` are how far the launch can be tried with the coarsest field left alone. [us]
    """

    settings: tuple[FieldSetting, ...]
    total: Fraction
    earlier_us: float
    later_us: float


def settings_for(added: Fraction, fields: Sequence[DelayField]) -> tuple[tuple[FieldSetting, ...], Fraction]:
    """The settings nearest to an added delay, and their total; as `split` without the present values."""
    found = split(added, fields)
    return found.settings, found.total


def split(added: Fraction, fields: Sequence[DelayField], *, now: Mapping[str, float | None] | None = None) -> Split:
    """Split an added delay over the fields of a site.

    Parameters
    ----------
    added : Fraction
        The exact added delay. [us]
    fields : sequence of DelayField, any order
        The site's fields.
    now : mapping of field name to float or None, optional
        What is set now, in each field's own unit; that of the fields themselves where not given.

    Returns
    -------
    split : Split
        The total that whole steps within each field's limits can reach and that is nearest to `added`; of two as near
        the later launch; of settings with the same total those that move least, in us, from coarse-first filling
        (coarse fields rounded down, the finest half up).

    Notes
    -----
    Coarse first is nearest whenever it leaves no more than half of the unit that all steps are multiples of, and
    beyond the ends of what the fields can do; only else is a nearer total looked for (`sfn.timing.totals`).
    """
    made = device(fields)
    chosen = _coarse_first(added, made)
    total = made.insertion + sum(n * f.quantum for n, f in zip(chosen, made.fields, strict=True))
    proven = True
    if not _is_nearest(added, total, made):
        try:
            chosen, total = _nearest(added, made, chosen)
        except TooManyError:
            proven = False
    return Split(_settings(fields, made, chosen, now), total, proven)


def split_beside(
    added: Fraction,
    fields: Sequence[DelayField],
    *,
    held: Mapping[str, FieldSetting],
    now: Mapping[str, float | None],
) -> Split:
    """Split an added delay over some fields of a site, where a route has no setting of its own for the others.

    Parameters
    ----------
    added : Fraction
        The exact added delay of all fields together. [us]
    fields : sequence of DelayField
        All fields of the site.
    held : mapping of field name to FieldSetting
        The fields that stay as another route has them, as set there; one or more fields must be left.
    now : mapping of field name to float or None
        What is set now.

    Returns
    -------
    split : Split
        As `split` for the fields that are left; a held one can add nothing more.
    """
    by_name = {field.name: field for field in fields}
    stays = sum((contributes(by_name[name], one.value) for name, one in held.items()), Fraction(0))
    found = split(added - stays, [field for field in fields if field.name not in held], now=now)
    free = {one.name: one for one in found.settings}
    kept = {
        name: replace(
            one, least_us=one.set_us, greatest_us=one.set_us, headroom_us=0.0, before=(before := now.get(name)),
            change=None if before is None else float(exact(one.value) - exact(before)),
        )
        for name, one in held.items()
    }  # fmt: skip
    return Split(tuple((free | kept)[field.name] for field in fields), found.total + stays, found.proven)


def staying(
    added: Fraction, fields: Sequence[DelayField], *, now: Mapping[str, float | None], within: Fraction
) -> Split | None:
    """The nearest settings that leave the coarse fields as they are, where they come close enough.

    Parameters
    ----------
    added : Fraction
        The exact added delay. [us]
    fields : sequence of DelayField
    now : mapping of field name to float or None
        What is set now.
    within : Fraction
        Less than this may be left. [us]

    Returns
    -------
    found : Split or None
        With as many fields left alone, the coarsest before all, as still leave less than `within`; None where none
        do, or what is set now is not known or no setting of the field.
    """
    made = device(fields)
    kept: dict[int, int] = {}
    for i in made.coarse_first[:-1]:
        steps = _steps_of(fields[i], made.fields[i], now.get(fields[i].name))
        if steps is None:
            break
        kept[i] = steps
    while kept:
        free = [i for i in range(len(fields)) if i not in kept]
        rest = added - sum(made.fields[i].contribution(n) for i, n in kept.items())
        least = sum(made.fields[i].least for i in free)
        greatest = sum(made.fields[i].greatest for i in free)
        if not least - within < rest < greatest + within:
            kept.popitem()
            continue
        found = split(rest, [fields[i] for i in free], now=now)
        if abs(found.total - rest) < within:
            by_name = {one.name: one for one in found.settings}
            held = _settings(fields, made, [kept.get(i, 0) for i in range(len(fields))], now)
            whole = tuple(by_name.get(one.name, one) for one in held)
            return Split(whole, found.total + added - rest, found.proven)
        kept.popitem()
    return None


def commissioning_settings(
    added: Fraction, fields: Sequence[DelayField], *, now: Mapping[str, float | None] | None = None
) -> Commissioning:
    """Settings to begin measuring with: trials of some microseconds then cross no step of the coarsest field.

    Parameters
    ----------
    added : Fraction
        The exact added delay. [us]
    fields : sequence of DelayField
    now : mapping of field name to float or None, optional
        What is set now.

    Returns
    -------
    settings : Commissioning
        The total is that of `split`; of all settings of the coarsest field with which the others reach it, the one
        that puts the others nearest to the middle of what they can do.
    """
    made, found = device(fields), split(added, fields, now=now)
    if len(fields) < 2:
        return Commissioning(
            found.settings, found.total, float(found.total - made.least), float(made.greatest - found.total)
        )
    chosen = _mid_range(made, found)
    return commissioning_stands(fields, _settings(fields, made, chosen, now))


def commissioning_stands(fields: Sequence[DelayField], settings: Sequence[FieldSetting]) -> Commissioning:
    """Settings that are kept as they are, all fields in document order: how far they can be tried."""
    made = device(fields)
    coarse_at = made.coarse_first[0]
    coarsest = made.fields[coarse_at]
    added = [contributes(field, one.value) for field, one in zip(fields, settings, strict=True)]
    total = sum(added, Fraction(0))
    trial = total - added[coarse_at]  # what the others contribute
    earlier = trial - (made.least - coarsest.least)
    later = (made.greatest - coarsest.greatest) - trial
    return Commissioning(tuple(settings), total, float(earlier), float(later))


def commissioning_of(fields: Sequence[DelayField], settings: Sequence[FieldSetting]) -> Commissioning:
    """Settings to begin measuring with, from those of a row of the delay table: the same launch to the last step."""
    total = sum((contributes(f, one.value) for f, one in zip(fields, settings, strict=True)), Fraction(0))
    return commissioning_settings(total, fields, now={one.name: one.before for one in settings})


# Farther from the middle than this many steps of the coarsest field, what coarse-first filling chose is as good.
_MOST_TRIED_N = 2000


def _mid_range(made: Device, found: Split) -> list[int]:
    """The steps with the same total whose coarsest field leaves the others nearest to their middle."""
    chosen = [
        round((exact(one.set_us) - f.insertion) / f.quantum) for f, one in zip(made.fields, found.settings, strict=True)
    ]
    at = made.coarse_first[0]
    coarse, others = made.units[at], [i for i in range(len(made.units)) if i != at]
    rest = [made.units[i] for i in others]
    total = sum(u.size * n for u, n in zip(made.units, chosen, strict=True))
    twice_middle = sum(u.size * (u.lo + u.hi) for u in rest)
    ideal = min(coarse.hi, max(coarse.lo, (2 * total - twice_middle) // (2 * coarse.size)))
    tried = range(max(coarse.lo, ideal - _MOST_TRIED_N), min(coarse.hi, ideal + _MOST_TRIED_N) + 1)
    near = _outward(tried, key=lambda n: abs(2 * (total - coarse.size * n) - twice_middle), start=ideal)
    for n in near:
        left = total - coarse.size * n
        try:
            if greatest_below(left, rest) != left:
                continue
            reached = steps_making(left, rest, around=_spread(left, rest))
        except TooManyError:
            break
        if reached is not None:
            steps = dict(zip(others, reached, strict=True))
            return [n if i == at else steps[i] for i in range(len(made.units))]
    return list(chosen)


def _outward(steps: range, *, key: Callable[[int], int], start: int) -> Iterator[int]:
    """Steps by a key that grows on both sides of the start, as if sorted, only as far as they are asked for."""
    below, above = start, start + 1
    while below in steps or above in steps:
        if above not in steps or (below in steps and key(below) <= key(above)):
            yield below
            below -= 1
        else:
            yield above
            above += 1


def _spread(total: int, fields: Sequence[Steps]) -> list[int]:
    """Steps to stay near: coarse ones as the total needs them, the finest in the middle of its range."""
    fine = min(range(len(fields)), key=lambda i: fields[i].size)
    around = [0] * len(fields)
    around[fine] = (fields[fine].lo + fields[fine].hi) // 2
    left = total - fields[fine].size * around[fine]
    for i in sorted((i for i in range(len(fields)) if i != fine), key=lambda i: -fields[i].size):
        around[i] = max(fields[i].lo, min(fields[i].hi, left // fields[i].size))
        left -= fields[i].size * around[i]
    return around


def _is_nearest(added: Fraction, total: Fraction, made: Device) -> bool:
    """Whether no reachable total can lie nearer, seen without a search."""
    off = total - added
    if -made.unit / 2 < off <= made.unit / 2 or len(made.fields) < 2:
        return True
    return (total == made.least and off >= 0) or (total == made.greatest and off <= 0)


def _nearest(added: Fraction, made: Device, chosen: Sequence[int]) -> tuple[list[int], Fraction]:
    """The nearest reachable total and the steps that make it, beginning from coarse-first filling."""
    reached = [total for total in (made.below(added), made.above(added)) if total is not None]
    total = min(reached, key=lambda one: (abs(one - added), -one))
    steps = steps_making(int((total - made.insertion) / made.unit), made.units, around=chosen)
    assert steps is not None  # what is reachable has steps
    return list(steps), total


def _coarse_first(added: Fraction, made: Device) -> list[int]:
    """Whole steps of every field: the coarse ones rounded down, the finest half up, each clamped to its limits."""
    chosen = [0] * len(made.fields)
    left = added - made.insertion
    for i, at in enumerate(made.coarse_first):
        one = made.fields[at]
        finer = [made.fields[j] for j in made.coarse_first[i + 1 :]]
        steps = _coarse_steps(left, one, finer) if finer else math.floor(left / one.quantum + Fraction(1, 2))
        chosen[at] = max(one.lo, min(one.hi, steps))
        left -= chosen[at] * one.quantum
    return chosen


def _coarse_steps(left: Fraction, one: FieldSteps, finer: Sequence[FieldSteps]) -> int:
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


def _steps_of(field: DelayField, one: FieldSteps, value: float | None) -> int | None:
    """A setting as whole steps of the contribution; None where it is not known, between steps or outside the limits."""
    if value is None:
        return None
    steps = exact(value) / exact(field.step)
    made = -steps if field.sign == "earlier" else steps
    return int(made) if made.denominator == 1 and one.lo <= made <= one.hi else None


def _settings(
    fields: Sequence[DelayField], made: Device, chosen: Sequence[int], now: Mapping[str, float | None] | None
) -> tuple[FieldSetting, ...]:
    """The records of all fields set to their steps."""
    values = {field.name: field.set for field in fields} if now is None else now
    return tuple(
        _setting(field, one, steps, values.get(field.name))
        for field, one, steps in zip(fields, made.fields, chosen, strict=True)
    )


def _setting(field: DelayField, one: FieldSteps, steps: int, now: float | None) -> FieldSetting:
    """The record of a field set to `steps` of its contribution."""
    value = exact(field.step) * (-steps if field.sign == "earlier" else steps)
    contribution = one.contribution(steps)
    return FieldSetting(
        field.name,
        field.unit,
        float(value),
        float(contribution),
        float(one.least),
        float(one.greatest),
        float(one.greatest - contribution),
        now,
        None if now is None else float(value - exact(now)),
    )
