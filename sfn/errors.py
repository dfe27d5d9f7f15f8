"""The one way to say no: a problem with its place, for people and for programs alike.

Engine formulas raise `ValueError` with name, value, unit and range; everything that speaks of a
document raises or returns `Problem`.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, where it stands, and what would be right.

    Parameters
    ----------
    where : str
        Path into the document, ``sites[2].delay_fields[0]``, or the name of an argument.
    what : str
        What is wrong, with the site by its name and the value as it was given.
    expected : str
        What would be right. Empty only where nothing sensible can be said.
    severity : {'error', 'warning'}
        An error makes a number wrong or impossible; a warning makes it doubtful.
    """

    where: str
    what: str
    expected: str
    severity: Severity = "error"

    def as_json(self) -> dict[str, str]:
        """The record with the keys that outside scripts rely on."""
        return asdict(self)

    def line(self, source: str) -> str:
        """``FILE: where: what; expected``, the form printed on stderr."""
        tail = f"; {self.expected}" if self.expected else ""
        return f"{source}: {self.where}: {self.what}{tail}"


class PlanError(Exception):
    """Something cannot be used as given. Carries every problem found, never just the first."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(f"{p.where}: {p.what}; {p.expected}" for p in self.problems))


def in_range(name: str, value: float, *, least: float, greatest: float, unit: str) -> float:
    """Return `value` when it lies in the closed range, for formulas that refuse by name.

    Raises
    ------
    ValueError
        If `value` is outside the range or not a number; the text gives name, value, unit and range.
    """
    if not least <= value <= greatest:
        raise ValueError(f"{name} must be from {least:g} to {greatest:g} {unit}, got {value!r}")
    return value
