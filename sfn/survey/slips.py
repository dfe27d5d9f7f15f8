"""Slips of the pen as rules: what a typed setting or launch looks like when it is not the plan's.

The order of the rules is the order of the questions, the likeliest slip first: the old value, the sign, the unit, the
decimal point, digits in another order; then whether the device can stand there at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from sfn.plan import DelayField
from sfn.survey.rules import (
    EXCHANGED,
    Digits,
    Exchanged,
    Group,
    Groups,
    Rule,
    Slot,
    Sum,
    Whole,
    Within,
    digits_of,
    value,
)
from sfn.units import exact, unit_length_us

# A reading within a part in a thousand of what a slip would give is taken for that slip.
_SLIP_RATIO = Fraction(1, 1000)
_FACTORS = (
    (Fraction(1000), "1,000 times"),
    (Fraction(1, 1000), "a thousandth of"),
    (Fraction(10), "10 times"),
    (Fraction(1, 10), "a tenth of"),
    (Fraction(100), "100 times"),
    (Fraction(1, 100), "a hundredth of"),
)
_CONFUSED_UNITS = ("us", "ms", "ns", "samples@48000", "samples@192000", "1/16.384MHz")
_LEAST_NEAR_US = Fraction(1, 1000)
_OFF = Fraction(0)


@dataclass(frozen=True, slots=True)
class Wording:
    """How a question names what is wanted (`source`, `wanted`, `launch`) and what stood there before (`old`)."""

    source: str
    wanted: str
    launch: str
    old: str
    instead: str
    """Before what is wanted instead of the old value."""
    not_yet: str
    old_launch: str


SETTING = Wording(
    "the plan", "planned", "the planned launch", "the old value", "the new one is", "is it not set yet?",
    "the old setting gives: is the new one set, and was it stored?",
)  # fmt: skip
"""While a plan is set."""
GOING_BACK = Wording(
    "the order to go back", "ordered", "the launch with the old values", "the value that is taken back",
    "the order is to go back to", "has it not gone back yet?",
    "the setting that is taken back gives: has it gone back, and was it stored?",
)  # fmt: skip
"""While a change is taken back: the old values are what is wanted."""


def setting_rules(
    name: str, field: DelayField, *, planned: float | None, old: float | None, slips_alone: bool = False,
    wording: Wording = SETTING, total: Sum | None = None, others: Mapping[str, Fraction] | None = None,
) -> Groups:  # fmt: skip
    """Questions about a typed setting, the likeliest first.

    Parameters
    ----------
    name : str
        Of the value, in the field's own unit.
    field : DelayField
        Unit, step, limits, sign.
    planned, old : float, optional
        The plan's value and the one before it, in the field's own unit.
    slips_alone : bool
        Nothing about a value that merely differs from the plan.
    wording : Wording
        What `planned` and `old` are called.
    total : Sum, optional
        By how much all fields of the route together differ from the planned total: at nought this one is part of
        another split of it, and no slip explains that. [us]
    others : mapping of field name to Fraction, optional
        What the other fields of the route are to be set to, each in its own unit.
    """
    typed, wanted = value(name), None if planned is None else exact(planned)
    groups = []
    if wanted is not None:
        was = None if old is None else exact(old)
        rules = [] if total is None else [_split(typed, wanted, total, field)]
        rules += _exchanged(typed, was, others or {}, wording)
        rules += _slips(name, wanted, was, unit=field.unit, wording=wording)
        rules += [] if slips_alone else _plain(typed, wanted, field, wording)
        groups.append(Group(tuple(rules), (Within(typed, wanted, wanted),)))
    step, least, greatest = exact(field.step), exact(field.least), exact(field.greatest)
    fits = Within(typed, least, greatest)
    off_step = Whole(typed, step, outside=True)
    meant = tuple(
        Rule((fits, off_step, *ways), (Slot(typed), f" is off the field's steps; {words} meant, that is ", said, "?"))
        for words, ways, said in _in_other_units(typed, field, wanted)
    )
    beyond = (
        _amount(typed, field.unit) + f" is outside what {field.name} can take, "
        f"{_number(least)} to {_number(greatest)}: is it another field or another unit?"
    )
    stands = (
        f"{field.name} goes in {_steps(step, field.unit)}, so it cannot stand at ", Slot(typed), ": is it ",
        Slot(typed, step=step), "?",
    )  # fmt: skip
    cannot = (
        Rule((Within(typed, least, greatest, outside=True),), beyond.parts),
        Rule((off_step,), stands),
    )
    return (*groups, Group(meant), Group(cannot))


def launch_rules(
    candidates: Sequence[Sum], *, name: str, planned_us: Fraction, tolerance_us: Fraction, old_us: Fraction | None,
    known: Sequence[tuple[str, str]], wording: Wording = SETTING,
) -> Groups:  # fmt: skip
    """Questions about a measured launch that is not as planned.

    Parameters
    ----------
    candidates : sequence of Sum
        What was measured, read in several ways: the first is what counts. [us]
    name : str
        The number that was typed.
    planned_us, tolerance_us : Fraction
        [us]
    old_us : Fraction or None
        With the setting before. [us]
    known : sequence of (str, str)
        Words and name of amounts that may have been forgotten.
    wording : Wording
        What `planned_us` and `old_us` are called.
    """
    offs = [one.moved(-planned_us, turn=one.turn) for one in candidates]
    off, rules = offs[0], list[Rule]()
    for one, measured in zip(offs, candidates, strict=True):
        beyond = Within(one, -tolerance_us, tolerance_us, outside=True)
        slips = _launch_slips(
            one, Slot(measured.moved(_OFF)), planned_us=planned_us, tolerance_us=tolerance_us, old_us=old_us,
            known=known, wording=wording,
        )  # fmt: skip
        rules += [Rule((beyond, *slip.when), slip.says) for slip in slips]
    swapped = Exchanged(name, off, -tolerance_us, tolerance_us)
    says: tuple[str | Slot, ...] = (
        "with two digits exchanged it is ",
        Slot(value(EXCHANGED)),
        f" us, as {wording.wanted}: is it a slip?",
    )
    rules.append(Rule((swapped,), says))
    size, plane = Slot(off, 3, fixed=True, signed=True), " us: was it measured at the planned plane?"
    says = (f"it differs from {wording.source} by ", size, " us, more than ", _number(tolerance_us), plane)
    rules.append(Rule((), says, plain=True))
    return (Group(tuple(rules), (Within(off, -tolerance_us, tolerance_us),)),)


def _launch_slips(
    off: Sum, shown: Slot, *, planned_us: Fraction, tolerance_us: Fraction, old_us: Fraction | None,
    known: Sequence[tuple[str, str]], wording: Wording,
) -> list[Rule]:  # fmt: skip
    """Slips that explain a launch `off` the plan: the old setting, forgotten amounts, the sign, the unit."""
    near = max(tolerance_us, _LEAST_NEAR_US)
    made = []

    def at(launch_us: Fraction, reach_us: Fraction = near) -> Within:
        """The launch lies there."""
        return Within(off, launch_us - reach_us - planned_us, launch_us + reach_us - planned_us)

    if old_us is not None:
        asks = f" us is what {wording.old_launch}"
        made.append(Rule((at(old_us),), (replace(shown, digits=3, fixed=True), asks)))
    for words, name in known:
        amount = value(name)
        there, size = Within(amount, None, _OFF, outside=True), Slot(amount, 3, fixed=True)
        ways = (
            (-1, f"it is late by just the {words} (", "subtracted"),
            (1, f"it is early by just the {words} (", "subtracted twice"),
        )
        for sign, says, was in ways:
            fits = Within(_plus(off, amount, Fraction(sign)), -near, near)
            made.append(Rule((there, fits), (says, size, f" us): was that {was}?")))
        for factor, unit in ((Fraction(1, 1000), "nanoseconds"), (Fraction(1000), "milliseconds")):
            fits = Within(_plus(off, amount, 1 - factor), -near, near)
            meant = (
                f"it fits with {words} ",
                Slot(amount.times(factor)),
                " us: was ",
                Slot(amount),
                f" meant in {unit}?",
            )
            made.append(Rule((there, fits), meant))
    sign_asks = f"it is {wording.launch} with the other sign: which came first, the pulse or the signal? ("
    made.append(Rule((at(-planned_us),), (sign_asks, Slot(off, 3, fixed=True, signed=True), " us)")))
    for factor, words in ((Fraction(1, 1000), "in ms"), (Fraction(1000), "in ns")):
        meant_us = planned_us * factor
        reach_us = max(near * factor, _SLIP_RATIO * abs(meant_us))
        made.append(Rule((at(meant_us, reach_us),), (shown, f" is {wording.launch} {words}: this field takes us")))
    return made


def _plus(off: Sum, amount: Sum, times: Fraction) -> Sum:
    """A sum with so many times an amount added; within the turn."""
    factors = dict(off.terms)
    for name, one in amount.terms:
        factors[name] = factors.get(name, Fraction(0)) + one * times
    return Sum(tuple(factors.items()), off.plus, off.turn)


def _slips(name: str, planned: Fraction, old: Fraction | None, *, unit: str, wording: Wording) -> list[Rule]:
    """Slips that lead from the planned value, or from the old one, to what was typed."""
    one, typed, meant = value(name), _amount(value(name), unit), _said(planned, unit)
    made = []
    if old is not None:
        says = typed + f" is {wording.old}, {wording.instead} {meant}: {wording.not_yet}"
        made.append(Rule((Within(one, old, old),), says.parts))
    if planned != 0:
        says = _Text((f"{wording.source} says {meant}, you typed ",)) + typed + ": is the sign meant?"
        made.append(Rule((Within(one, -planned, -planned),), says.parts))
    length = unit_length_us(unit)
    for other, low, high in _other_units(planned, unit):
        ratio = length / unit_length_us(other)
        thousand = " (a factor of 1,000)" if ratio in (1000, Fraction(1, 1000)) else ""
        taken = f" is the {wording.wanted} {meant} in {_unit_words(other)}{thousand}"
        asks = (Slot(one), f"{taken}; this field takes {_unit_words(unit)}: which is meant?")
        made.append(Rule((Within(one, low, high),), asks))
    for factor, words in _FACTORS:
        if planned != 0:
            says = typed + f" is {words} the {wording.wanted} {meant}: is the decimal point right?"
            made.append(Rule((_near(one, planned * factor),), says.parts))
    says = typed + f" has the digits of the {wording.wanted} {meant} in another order: is it a slip?"
    made.append(Rule((Digits(name, digits_of(planned)),), says.parts))
    return made if old is None or old == planned else made + _slips_of_old(name, old, unit=unit, wording=wording)


def _slips_of_old(name: str, old: Fraction, *, unit: str, wording: Wording) -> list[Rule]:
    """Slips that lead from the value before the change to what was typed."""
    one, typed, was = value(name), _amount(value(name), unit), _said(old, unit)
    still = f"is {wording.old} still set, and typed with a slip?"
    made = []
    if old != 0:
        made.append(
            Rule((Within(one, -old, -old),), (typed + f" is {wording.old} {was} with the other sign: {still}").parts)
        )
    for other, low, high in _other_units(old, unit):
        made.append(
            Rule((Within(one, low, high),), (Slot(one), f" is {wording.old} {was} in {_unit_words(other)}: {still}"))
        )
    for factor, words in _FACTORS:
        if old != 0:
            made.append(Rule((_near(one, old * factor),), (typed + f" is {words} {wording.old} {was}: {still}").parts))
    says = typed + f" has the digits of {wording.old} {was} in another order: {still}"
    return [*made, Rule((Digits(name, digits_of(old)),), says.parts)]


def _other_units(number: Fraction, unit: str) -> list[tuple[str, Fraction, Fraction]]:
    """The same time in units that are confused with the field's own, each with the bounds that are taken for it."""
    made = []
    for other in _CONFUSED_UNITS:
        if other != unit and number != 0:
            there = number * unit_length_us(unit) / unit_length_us(other)
            reach = abs(there) * _SLIP_RATIO
            made.append((other, there - reach, there + reach))
    return made


def _in_other_units(
    typed: Sum, field: DelayField, planned: Fraction | None
) -> list[tuple[str, tuple[Within | Whole, ...], Slot]]:
    """Units in which a number that is off the steps would be on them, and what it would be; not where that is asked."""
    made: list[tuple[str, tuple[Within | Whole, ...], Slot]] = []
    length, step = unit_length_us(field.unit), exact(field.step)
    for other, words in (("us", "are microseconds"), ("ms", "are milliseconds")):
        if other == field.unit:
            continue
        there = typed.times(unit_length_us(other) / length)
        ways: list[Within | Whole] = [Within(there, exact(field.least), exact(field.greatest)), Whole(there, step)]
        ways += [
            Within(typed, low, high, outside=True)
            for unit, low, high in (() if planned is None else _other_units(planned, field.unit))
            if unit == other
        ]
        made.append((words, tuple(ways), Slot(there)))
    return made


def _near(one: Sum, number: Fraction) -> Within:
    """Equal within a part in a thousand."""
    reach = abs(number) * _SLIP_RATIO
    return Within(one, number - reach, number + reach)


def _exchanged(typed: Sum, old: Fraction | None, others: Mapping[str, Fraction], wording: Wording) -> list[Rule]:
    """What is to be set at another field stands here; nought and the old value say nothing of that."""
    says = " is the number {} for {}: are the two fields exchanged?"
    return [
        Rule((Within(typed, one, one),), (Slot(typed), says.format(wording.wanted, other)))
        for other, one in others.items()
        if one not in (0, old)
    ]


def _split(typed: Sum, planned: Fraction, total: Sum, field: DelayField) -> Rule:
    """The total of all fields is the planned one."""
    asks = f" for {_said(planned, field.unit)}: the total of all fields is right, split another way. Is it set so?"
    return Rule((Within(total, _OFF, _OFF),), (*_amount(typed, field.unit).parts, asks), plain=True)


def _plain(typed: Sum, planned: Fraction, field: DelayField, wording: Wording) -> list[Rule]:
    """A difference without an explanation, later or earlier."""
    off = typed.moved(-planned)
    made = []
    for more, low, high in ((True, _OFF, None), (False, None, _OFF)):
        way = "later" if more == (field.sign == "later") else "earlier"
        amount_us = off.times(unit_length_us(field.unit) * (1 if more else -1))
        says = _Text((f"{field.name} differs from {wording.source} by ",)) + _amount(off, field.unit)
        made.append(
            Rule(
                (Within(off, low, high),),
                (*says.parts, ", ", Slot(amount_us, 7), f" us {way}: is it meant?"),
                plain=True,
            )
        )
    return made


class _Text:
    """A sentence that grows."""

    __slots__ = ("parts",)

    def __init__(self, parts: tuple[str | Slot, ...]) -> None:
        self.parts = parts

    def __add__(self, more: "str | _Text") -> "_Text":
        return _Text((*self.parts, *((more,) if isinstance(more, str) else more.parts)))


def _number(number: Fraction) -> str:
    """A number that stands in the table, as people write it."""
    return Slot(Sum((), number)).text({})


def _amount(one: Sum, unit: str) -> _Text:
    """A number with its unit: 5 us, 5 units of 100 ns, 5 samples at 192 kHz."""
    return _Text((Slot(one), f" {_short(unit)}"))


def _said(number: Fraction, unit: str) -> str:
    """The same of a number that stands in the table."""
    return f"{_number(number)} {_short(unit)}"


def _short(unit: str) -> str:
    """A unit behind a number."""
    return unit if unit in ("us", "ms") else _unit_words(unit)


def _steps(step: Fraction, unit: str) -> str:
    """What a field goes in: steps of 0.1 us, whole units of 100 ns."""
    return f"whole {_unit_words(unit)}" if step == 1 else f"steps of {_said(step, unit)}"


def _unit_words(unit: str) -> str:
    """A unit of a delay field in words."""
    words = {"us": "microseconds", "ms": "milliseconds", "ns": "nanoseconds", "100ns": "units of 100 ns"}
    if unit.startswith("samples@"):
        return f"samples at {float(unit.removeprefix('samples@')) / 1000:g} kHz"
    return words.get(unit, f"units of {unit.replace('MHz', ' MHz')}")
