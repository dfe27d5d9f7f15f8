"""Slips of the pen as rules: what a typed setting or launch looks like when it is not the plan's.

The order of the rules is the order of the questions, the likeliest slip first: the old value, the sign, the unit, the
decimal point, digits in another order; then whether the device can stand there at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from sfn.plan import DelayField
from sfn.survey.question_words import FACTORS, Term, Unit
from sfn.survey.rules import (
    EXCHANGED,
    Digits,
    Exchanged,
    Gap,
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
_FACTORS = tuple(
    zip(
        (Fraction(1000), Fraction(1, 1000), Fraction(10), Fraction(1, 10), Fraction(100), Fraction(1, 100)),
        FACTORS,
        strict=True,
    )
)
_CONFUSED_UNITS = ("us", "ms", "ns", "samples@48000", "samples@192000", "1/16.384MHz")
_LEAST_NEAR_US = Fraction(1, 1000)
_OFF = Fraction(0)


def setting_rules(
    name: str, field: DelayField, *, planned: float | None, old: float | None, slips_alone: bool = False,
    going_back: bool = False, total: Sum | None = None, others: Mapping[str, Fraction] | None = None,
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
    going_back : bool
        While a change is taken back: `planned` then is the value before it, `old` what is taken back.
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
        rules += _exchanged(typed, was, others or {}, going_back=going_back)
        rules += _slips(name, wanted, was, unit=field.unit, going_back=going_back)
        rules += [] if slips_alone else _plain(typed, wanted, field, going_back=going_back)
        groups.append(Group(tuple(rules), (Within(typed, wanted, wanted),)))
    step, least, greatest = exact(field.step), exact(field.least), exact(field.greatest)
    fits = Within(typed, least, greatest)
    off_step = Whole(typed, step, outside=True)
    meant = tuple(
        Rule(
            (fits, off_step, *ways), "off-steps-in-other-unit",
            {"typed": Slot(typed), "other": Unit(other), "meant": Slot(there)},
        )
        for other, ways, there in _in_other_units(typed, field, wanted)
    )  # fmt: skip
    limits: dict[str, Gap] = {"field": field.name, "least": _number(least), "greatest": _number(greatest)}
    beyond = Rule((Within(typed, least, greatest, outside=True),), "out-of-reach", _amount(typed, field.unit) | limits)
    stands: dict[str, Gap] = {"field": field.name, "typed": Slot(typed), "nearest": Slot(typed, step=step)}
    if step == 1:
        cannot = Rule((off_step,), "not-whole", {**stands, "units": Unit(field.unit)})
    else:
        cannot = Rule((off_step,), "off-steps", {**stands, "step": _number(step), "unit": _behind(field.unit)})
    return (*groups, Group(meant), Group((beyond, cannot)))


def launch_rules(
    candidates: Sequence[Sum], *, name: str, planned_us: Fraction, tolerance_us: Fraction, old_us: Fraction | None,
    known: Sequence[tuple[str, str]], going_back: bool = False,
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
    going_back : bool
        While a change is taken back: `planned_us` then is the launch with the values before it.
    """
    offs = [one.moved(-planned_us, turn=one.turn) for one in candidates]
    off, rules = offs[0], list[Rule]()
    for one, measured in zip(offs, candidates, strict=True):
        beyond = Within(one, -tolerance_us, tolerance_us, outside=True)
        slips = _launch_slips(
            one, Slot(measured.moved(_OFF)), planned_us=planned_us, tolerance_us=tolerance_us, old_us=old_us,
            known=known, going_back=going_back,
        )  # fmt: skip
        rules += [replace(slip, when=(beyond, *slip.when)) for slip in slips]
    swapped = Exchanged(name, off, -tolerance_us, tolerance_us)
    rules.append(Rule((swapped,), _code("launch-digits", going_back), {"meant": Slot(value(EXCHANGED))}))
    size = Slot(off, 3, fixed=True, signed=True)
    gaps: dict[str, Gap] = {"off": size, "tolerance": _number(tolerance_us)}
    rules.append(Rule((), _code("launch-differs", going_back), gaps, plain=True))
    return (Group(tuple(rules), (Within(off, -tolerance_us, tolerance_us),)),)


def _launch_slips(
    off: Sum, shown: Slot, *, planned_us: Fraction, tolerance_us: Fraction, old_us: Fraction | None,
    known: Sequence[tuple[str, str]], going_back: bool,
) -> list[Rule]:  # fmt: skip
    """Slips that explain a launch `off` the plan: the old setting, forgotten amounts, the sign, the unit."""
    near = max(tolerance_us, _LEAST_NEAR_US)
    made: list[Rule] = []

    def at(launch_us: Fraction, reach_us: Fraction = near) -> Within:
        """The launch lies there."""
        return Within(off, launch_us - reach_us - planned_us, launch_us + reach_us - planned_us)

    if old_us is not None:
        there = replace(shown, digits=3, fixed=True)
        made.append(Rule((at(old_us),), _code("launch-old", going_back), {"typed": there}))
    for words, name in known:
        amount, told = value(name), Term(words)
        counted, size = Within(amount, None, _OFF, outside=True), Slot(amount, 3, fixed=True)
        for sign, code in ((-1, "not-subtracted"), (1, "subtracted-twice")):
            fits = Within(_plus(off, amount, Fraction(sign)), -near, near)
            made.append(Rule((counted, fits), code, {"amount": told, "amount_us": size}))
        for factor, unit in ((Fraction(1, 1000), "ns"), (Fraction(1000), "ms")):
            fits = Within(_plus(off, amount, 1 - factor), -near, near)
            gaps: dict[str, Gap] = {"amount": told, "meant_us": Slot(amount.times(factor)), "amount_us": Slot(amount)}
            made.append(Rule((counted, fits), "amount-in-other-unit", gaps | {"other": Unit(unit)}))
    turned = Slot(off, 3, fixed=True, signed=True)
    made.append(Rule((at(-planned_us),), _code("launch-sign", going_back), {"off": turned}))
    for factor, unit in ((Fraction(1, 1000), "ms"), (Fraction(1000), "ns")):
        meant_us = planned_us * factor
        reach_us = max(near * factor, _SLIP_RATIO * abs(meant_us))
        gaps = {"typed": shown, "meant": Unit(unit, behind=True)}
        made.append(Rule((at(meant_us, reach_us),), _code("launch-other-unit", going_back), gaps))
    return made


def _plus(off: Sum, amount: Sum, times: Fraction) -> Sum:
    """A sum with so many times an amount added; within the turn."""
    factors = dict(off.terms)
    for name, one in amount.terms:
        factors[name] = factors.get(name, Fraction(0)) + one * times
    return Sum(tuple(factors.items()), off.plus, off.turn)


def _slips(name: str, planned: Fraction, old: Fraction | None, *, unit: str, going_back: bool) -> list[Rule]:
    """Slips that lead from the planned value, or from the old one, to what was typed."""
    one = value(name)
    gaps = _amount(one, unit) | {"planned": _number(planned)}
    made = []
    if old is not None:
        made.append(Rule((Within(one, old, old),), _code("old-value", going_back), gaps))
    if planned != 0:
        made.append(Rule((Within(one, -planned, -planned),), _code("sign", going_back), gaps))
    length = unit_length_us(unit)
    for other, low, high in _other_units(planned, unit):
        thousand = length / unit_length_us(other) in (1000, Fraction(1, 1000))
        code = "other-unit-thousand" if thousand else "other-unit"
        units = {"meant": Unit(other), "takes": Unit(unit)}
        made.append(Rule((Within(one, low, high),), _code(code, going_back), gaps | units))
    for factor, words in _FACTORS:
        if planned != 0:
            says = gaps | {"times": Term(words)}
            made.append(Rule((_near(one, planned * factor),), _code("decimal-point", going_back), says))
    made.append(Rule((Digits(name, digits_of(planned)),), _code("digits", going_back), gaps))
    return made if old is None or old == planned else made + _slips_of_old(name, old, unit=unit, going_back=going_back)


def _slips_of_old(name: str, old: Fraction, *, unit: str, going_back: bool) -> list[Rule]:
    """Slips that lead from the value before the change to what was typed."""
    one = value(name)
    gaps = _amount(one, unit) | {"old": _number(old)}
    made = []
    if old != 0:
        made.append(Rule((Within(one, -old, -old),), _code("old-sign", going_back), gaps))
    for other, low, high in _other_units(old, unit):
        made.append(Rule((Within(one, low, high),), _code("old-other-unit", going_back), gaps | {"meant": Unit(other)}))
    for factor, words in _FACTORS:
        if old != 0:
            says = gaps | {"times": Term(words)}
            made.append(Rule((_near(one, old * factor),), _code("old-decimal-point", going_back), says))
    return [*made, Rule((Digits(name, digits_of(old)),), _code("old-digits", going_back), gaps)]


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
) -> list[tuple[str, tuple[Within | Whole, ...], Sum]]:
    """Units in which a number that is off the steps would be on them, and what it would be; not where that is asked."""
    made: list[tuple[str, tuple[Within | Whole, ...], Sum]] = []
    length, step = unit_length_us(field.unit), exact(field.step)
    for other in ("us", "ms"):
        if other == field.unit:
            continue
        there = typed.times(unit_length_us(other) / length)
        ways: list[Within | Whole] = [Within(there, exact(field.least), exact(field.greatest)), Whole(there, step)]
        ways += [
            Within(typed, low, high, outside=True)
            for unit, low, high in (() if planned is None else _other_units(planned, field.unit))
            if unit == other
        ]
        made.append((other, tuple(ways), there))
    return made


def _near(one: Sum, number: Fraction) -> Within:
    """Equal within a part in a thousand."""
    reach = abs(number) * _SLIP_RATIO
    return Within(one, number - reach, number + reach)


def _exchanged(typed: Sum, old: Fraction | None, others: Mapping[str, Fraction], *, going_back: bool) -> list[Rule]:
    """What is to be set at another field stands here; nought and the old value say nothing of that."""
    return [
        Rule((Within(typed, one, one),), _code("fields-exchanged", going_back), {"typed": Slot(typed), "other": other})
        for other, one in others.items()
        if one not in (0, old)
    ]


def _split(typed: Sum, planned: Fraction, total: Sum, field: DelayField) -> Rule:
    """The total of all fields is the planned one."""
    gaps = _amount(typed, field.unit) | {"planned": _number(planned)}
    return Rule((Within(total, _OFF, _OFF),), "another-split", gaps, plain=True)


def _plain(typed: Sum, planned: Fraction, field: DelayField, *, going_back: bool) -> list[Rule]:
    """A difference without an explanation, later or earlier."""
    off = typed.moved(-planned)
    made = []
    for more, low, high in ((True, _OFF, None), (False, None, _OFF)):
        code = "differs-later" if more == (field.sign == "later") else "differs-earlier"
        amount_us = off.times(unit_length_us(field.unit) * (1 if more else -1))
        gaps: dict[str, Gap] = {"field": field.name, "off": Slot(off), "unit": _behind(field.unit)}
        gaps["off_us"] = Slot(amount_us, 7)
        made.append(Rule((Within(off, low, high),), _code(code, going_back), gaps, plain=True))
    return made


def _code(code: str, going_back: bool) -> str:
    """A question's code, which differs while a change is taken back."""
    return f"{code}-back" if going_back else code


def _number(number: Fraction) -> str:
    """A number that stands in the table, as people write it."""
    return Slot(Sum((), number)).text({})


def _amount(typed: Sum, unit: str) -> dict[str, Gap]:
    """What was typed, and its unit behind it."""
    return {"typed": Slot(typed), "unit": _behind(unit)}


def _behind(unit: str) -> Unit:
    """A unit behind a number."""
    return Unit(unit, behind=True)
