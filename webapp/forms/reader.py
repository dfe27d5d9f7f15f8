"""Typed fields read one by one, each as what it should be; what is wrong is gathered at its field."""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import ratio_written
from sfn.stream.planned import key_of

Typed = Mapping[str, str]
T = TypeVar("T")


class Reader:
    """Reads fields and gathers what is wrong with them; `finish` refuses when anything was.

    Parameters
    ----------
    typed : mapping of field name to text
    usual : mapping of field name to text
        What an empty field means.
    """

    def __init__(self, typed: Typed, usual: Typed) -> None:
        self._typed, self._usual = typed, usual
        self.problems: list[Problem] = []

    def text(self, name: str) -> str:
        """What was typed, or what an empty field means."""
        return self._typed.get(name, "").strip() or self._usual.get(name, "")

    def number(self, name: str) -> Fraction:
        """An exact number: 2.5, 2,5 or 1/3."""
        try:
            return ratio_written(self.text(name))
        except ValueError as error:
            code = "divides-by-zero" if "divides by 0" in str(error) else "not-a-number"
            self.refuse(name, str(error), "a number, such as 2.5 or 1/3", code=code)
        return Fraction(1)

    def whole(self, name: str) -> int:
        """A whole number."""
        value = self.number(name)
        if value.denominator != 1:
            self.refuse(name, f"cannot be {self.text(name)!r}", "a whole number", code="not-a-whole-number")
        return int(value)

    def optional(self, name: str) -> float | None:
        """A number, None when left empty."""
        return float(self.number(name)) if self._typed.get(name, "").strip() else None

    def yes(self, name: str) -> bool:
        """A box: yes or no; empty is no."""
        said = self.text(name)
        if said not in {"yes", "no", ""}:
            self.refuse(name, f"cannot be {said[:40]!r}", "yes or no", code="not-yes-or-no")
        return said == "yes"

    def attempt(self, make: Callable[[], T], names: Sequence[str]) -> T | None:
        """What `make` gives; what it refuses becomes a problem at the field that its text begins with."""
        try:
            return make()
        except ValueError as error:
            self.refuse(key_of(str(error), names), str(error), "", code="stream-plan-refused")
        return None

    def refuse(self, name: str, what: str, expected: str, *, code: str) -> None:
        """Something wrong with one field, kept until all are read."""
        self.problems.append(Problem(name, what, expected, code=code, fields=(name,)))

    def finish(self) -> None:
        """Refuse when anything was wrong."""
        if self.problems:
            raise PlanError(self.problems)

    def finish_with(self, make: Callable[[], T]) -> T:
        """What `make` gives of the fields; what it refuses is told together with what could not be read.

        Raises
        ------
        PlanError
            With every problem, one at a field.
        """
        try:
            made = make()
        except PlanError as error:
            said = {problem.where for problem in self.problems}
            raise PlanError([*self.problems, *(p for p in error.problems if p.where not in said)]) from None
        self.finish()
        return made
