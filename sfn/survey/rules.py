"""Questions as data: one table of rules that the server and a telephone without a connection both look up.

The engine puts every number into the table (`sfn.survey.slips`, `sfn.survey.lock_sheet`). What is left for whoever
looks it up is the same few steps everywhere: sums of what was typed, held against bounds, exactly, in fractions.
`webapp/static/at-site-rules.js` does these steps a second time; `tests/browser/test_questions_offline.py` holds the two
to each other.

| step | how |
|---|---|
| sum | ``plus + sum(times * typed)``; with a turn, its remainder in ``[-turn / 2, turn / 2)`` |
| bounds | closed; ``outside`` turns the answer round |
| whole | whether a sum is whole steps |
| digits | whether a number has the digits of another in another order, noughts at the ends left out or not |
| exchanged | whether a sum lies within bounds once two neighbouring digits of a number are exchanged |

A condition on a field that is empty does not hold.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

from sfn.survey.question_words import SAYS, Term, Unit, in_parts
from sfn.units import THIN

EXCHANGED = "exchanged"
"""Name of the number that `Exchanged` made, for the words."""

Values = Mapping[str, Fraction]


@dataclass(frozen=True, slots=True)
class Sum:
    """``plus + sum(times * value)`` over named values; with `turn`, what is left of it in ``[-turn/2, turn/2)``."""

    terms: tuple[tuple[str, Fraction], ...]
    plus: Fraction = Fraction(0)
    turn: Fraction | None = None

    def of(self, values: Values) -> Fraction | None:
        """What it comes to; None where a value is missing."""
        if any(name not in values for name, _ in self.terms):
            return None
        total = self.plus + sum((times * values[name] for name, times in self.terms), Fraction(0))
        return total if self.turn is None else total - self.turn * math.floor(total / self.turn + Fraction(1, 2))

    def moved(self, plus: Fraction, *, turn: Fraction | None = None) -> "Sum":
        """The same with something added, and no turn but the one given."""
        return Sum(self.terms, self.plus + plus, turn)

    def times(self, factor: Fraction) -> "Sum":
        """The same so many times, without its turn."""
        return Sum(tuple((name, times * factor) for name, times in self.terms), self.plus * factor)

    def scaled(self, factor: Fraction) -> "Sum":
        """The same so many times, its turn too."""
        made = self.times(factor)
        return made if self.turn is None else Sum(made.terms, made.plus, self.turn * factor)

    def as_json(self) -> dict[str, Any]:
        """As data."""
        made: dict[str, Any] = {"terms": [[name, str(times)] for name, times in self.terms], "plus": str(self.plus)}
        return made if self.turn is None else made | {"turn": str(self.turn)}


def value(name: str) -> Sum:
    """A named value alone."""
    return Sum(((name, Fraction(1)),))


@dataclass(frozen=True, slots=True)
class Within:
    """A sum lies within closed bounds, None being no bound; `outside` turns it round."""

    sum: Sum
    low: Fraction | None
    high: Fraction | None
    outside: bool = False

    def holds(self, values: Values) -> Values | None:
        """The values where it holds, else None."""
        total = self.sum.of(values)
        if total is None:
            return None
        inside = (self.low is None or self.low <= total) and (self.high is None or total <= self.high)
        return values if inside != self.outside else None

    def as_json(self) -> dict[str, Any]:
        """As data."""
        ends = [None if end is None else str(end) for end in (self.low, self.high)]
        return {"is": "within", "sum": self.sum.as_json(), "low": ends[0], "high": ends[1], "outside": self.outside}


@dataclass(frozen=True, slots=True)
class Whole:
    """A sum is a whole number of steps; `outside` turns it round."""

    sum: Sum
    step: Fraction
    outside: bool = False

    def holds(self, values: Values) -> Values | None:
        """The values where it holds, else None."""
        total = self.sum.of(values)
        if total is None:
            return None
        return values if ((total / self.step).denominator == 1) != self.outside else None

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {"is": "whole", "sum": self.sum.as_json(), "step": str(self.step), "outside": self.outside}


@dataclass(frozen=True, slots=True)
class Digits:
    """A named value has the digits of another number, as they are written, in another order."""

    name: str
    other: str
    """Digits alone."""

    def holds(self, values: Values) -> Values | None:
        """The values where it holds, else None."""
        if self.name not in values:
            return None
        bare = [digits_of(values[self.name]), self.other]
        pairs = (bare, [digits.strip("0") for digits in bare])
        return values if any(a != b and sorted(a) == sorted(b) for a, b in pairs) else None

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {"is": "digits", "name": self.name, "other": self.other}


@dataclass(frozen=True, slots=True)
class Exchanged:
    """With two neighbouring digits of a named value exchanged a sum lies within closed bounds."""

    name: str
    sum: Sum
    low: Fraction
    high: Fraction

    def holds(self, values: Values) -> Values | None:
        """The values, and the number with its digits exchanged, where it holds; else None."""
        if self.name not in values:
            return None
        for other in neighbours_exchanged(values[self.name]):
            total = self.sum.of({**values, self.name: other})
            if total is not None and self.low <= total <= self.high:
                return {**values, EXCHANGED: other}
        return None

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {
            "is": "exchanged", "name": self.name, "sum": self.sum.as_json(), "low": str(self.low),
            "high": str(self.high),
        }  # fmt: skip


Condition = Within | Whole | Digits | Exchanged


@dataclass(frozen=True, slots=True)
class Slot:
    """A number in a sentence: of significant digits without noughts at the end, or (`fixed`) of decimals.

    With `step` the nearest whole number of steps, of two the even one.
    """

    sum: Sum
    digits: int = 10
    fixed: bool = False
    signed: bool = False
    step: Fraction | None = None

    def text(self, values: Values) -> str:
        """The number as people write it."""
        total = self.sum.of(values)
        assert total is not None  # the rule's conditions held
        if self.step is not None:
            total = round(total / self.step) * self.step
        made = fixed(total, self.digits) if self.fixed else significant(total, self.digits)
        return f"+{made}" if self.signed and not made.startswith("-") else made

    def as_json(self) -> dict[str, Any]:
        """As data."""
        made = {"sum": self.sum.as_json(), "digits": self.digits, "fixed": self.fixed, "signed": self.signed}
        return made if self.step is None else made | {"step": str(self.step)}


Gap = Slot | Unit | Term | str


@dataclass(frozen=True, slots=True)
class Asked:
    """A question that is asked of somebody.

    Parameters
    ----------
    code : str
        What is asked, a key of `SAYS`.
    gaps : mapping of str to str, Unit or Term
        Its figures, as people write them, and names.
    text : str
        In English.
    """

    code: str
    gaps: Mapping[str, str | Unit | Term]
    text: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A question that is asked where all conditions hold."""

    when: tuple[Condition, ...]
    code: str
    gaps: Mapping[str, Gap]
    plain: bool = False
    """It only says that something differs; any other rule recognises a slip."""

    @property
    def says(self) -> tuple[str | Slot, ...]:
        """In English."""
        return in_words(SAYS[self.code], self.gaps)

    def asks(self, values: Values) -> Asked | None:
        """The question, or None."""
        for one in self.when:
            found = one.holds(values)
            if found is None:
                return None
            values = found
        gaps = {name: one.text(values) if isinstance(one, Slot) else one for name, one in self.gaps.items()}
        return Asked(self.code, gaps, "".join(map(str, in_words(SAYS[self.code], gaps))))

    def as_json(self) -> dict[str, Any]:
        """As data."""
        when = [one.as_json() for one in self.when]
        return {"when": when, "says": as_data(self.says), "code": self.code, "plain": self.plain}


@dataclass(frozen=True, slots=True)
class Group:
    """Rules of which the first that holds asks, the likeliest first; none where all of `unless` holds."""

    rules: tuple[Rule, ...]
    unless: tuple[Condition, ...] = ()

    def asks(self, values: Values) -> Asked | None:
        """The question, or None."""
        if self.unless and all(one.holds(values) is not None for one in self.unless):
            return None
        return next((asked for rule in self.rules if (asked := rule.asks(values)) is not None), None)

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {"rules": [one.as_json() for one in self.rules], "unless": [one.as_json() for one in self.unless]}


Groups = tuple[Group, ...]


def asked(groups: Sequence[Group], values: Values) -> Iterator[Asked]:
    """What every group asks, in their order."""
    for group in groups:
        found = group.asks(values)
        if found is not None:
            yield found


def in_words(sentence: str, gaps: Mapping[str, Gap]) -> tuple[str | Slot, ...]:
    """A sentence in pieces, its units and terms in English; what stands side by side is one piece."""
    made: list[str | Slot] = []
    for one in in_parts(sentence, gaps):
        piece = one.text if isinstance(one, Unit | Term) else one
        if isinstance(piece, str) and made and isinstance(made[-1], str):
            made[-1] += piece
        else:
            made.append(piece)
    return tuple(made)


def as_data(pieces: Sequence[str | Slot]) -> list[Any]:
    """A sentence in pieces, as data."""
    return [one if isinstance(one, str) else one.as_json() for one in pieces]


def significant(number: Fraction, digits: int) -> str:
    """A number to so many significant digits, halves to even, thousands set apart, never an exponent.

    Examples
    --------
    >>> significant(Fraction(1234567, 100), 4).replace(THIN, " "), significant(Fraction(1, 100_000), 10)
    ('12 350', '0.00001')
    """
    context = Context(prec=digits, rounding=ROUND_HALF_EVEN)
    found = context.divide(Decimal(number.numerator), Decimal(number.denominator))
    plain = f"{found:,f}"
    return (plain.rstrip("0").rstrip(".") if "." in plain else plain).replace(",", THIN)


def fixed(number: Fraction, decimals: int) -> str:
    """A number with so many decimals, halves to even, thousands set apart.

    Examples
    --------
    >>> fixed(Fraction(5, 2), 0), fixed(Fraction(-1, 3), 3), fixed(Fraction(-1, 10_000), 3)
    ('2', '-0.333', '0.000')
    """
    counted = round(number * 10**decimals)
    whole, rest = divmod(abs(counted), 10**decimals)
    sign, part = "-" if counted < 0 else "", f".{rest:0{decimals}d}" if decimals else ""
    return f"{sign}{whole:,}{part}".replace(",", THIN)


def digits_of(number: Fraction) -> str:
    """Digits of a number as it is written, without sign and marks."""
    return significant(abs(number), 10).replace(".", "").replace(THIN, "")


def neighbours_exchanged(number: Fraction) -> Iterator[Fraction]:
    """The number with two neighbouring digits exchanged, from the front; marks stay where they are.

    Examples
    --------
    >>> [float(one) for one in neighbours_exchanged(Fraction("-12.3"))]
    [-21.3, -13.2]
    """
    written = significant(abs(number), 15).replace(THIN, "")
    places = [i for i, mark in enumerate(written) if mark != "."]
    for a, b in pairwise(places):
        if written[a] != written[b]:
            turned = list(written)
            turned[a], turned[b] = turned[b], turned[a]
            yield Fraction("".join(turned)) * (-1 if number < 0 else 1)
