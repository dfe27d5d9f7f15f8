"""The one way to say no: a problem with its place, for people and for programs alike.

Engine formulas raise `ValueError` with name, value, unit and range; everything that speaks of a
document raises or returns `Problem`.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import KW_ONLY, dataclass, field
from typing import Any, Literal

Severity = Literal["error", "warning"]
MOST_PROBLEMS = 20
"""More of the same mistake help nobody."""
LONGEST_TOLD_N = 2_000
"""Characters of a sentence that is told; of a longer one its beginning, its end and its length."""


def shortened(text: str) -> str:
    """A text as far as anybody reads it: a value of a megabyte comes back as its beginning and its length."""
    if len(text) <= LONGEST_TOLD_N:
        return text
    return f"{text[: LONGEST_TOLD_N // 2]} [...] {text[-LONGEST_TOLD_N // 4 :]} [{len(text)} characters in all]"


def _told(value: float | str | None) -> float | str | None:
    """A figure for JSON."""
    if isinstance(value, str):
        return shortened(value)
    return None if isinstance(value, float) and not math.isfinite(value) else value


@dataclass(frozen=True, slots=True)
class Touch:
    """A site, and one of its routes, that a problem concerns; no route: all of them."""

    site: str
    route: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, where it stands, what it touches, and what would be right.

    Programs go by `code`, `touches`, `stages`, `fields` and `values`, never by the sentence: a name may stand inside
    another name.

    Parameters
    ----------
    where : str
        Path into the document, ``sites[2].delay_fields[0]``, or the name of an argument.
    what : str
        What is wrong, with the site by its name and the value as it was given. Made once, from the values.
    expected : str
        What would be right. Empty only where nothing sensible can be said.
    severity : {'error', 'warning'}
        An error makes a number wrong or impossible; a warning makes it doubtful.
    code : str
        What kind of problem it is, in English words with hyphens: stable, scripts rely on it.
    touches : tuple of Touch
        Every site and route it concerns. Empty where it concerns no site of a document.
    stages, fields : tuple of str
        Ids of the stages, names of the delay fields or keys of the document, that it concerns.
    values : mapping of str to number, str or None
        The figures in the sentence, each key with its unit: ``{"needed_us": 1250.0}``.
    said : mapping of str to number, str, Problem or None
        What else the sentence says, for whoever says it in another language: names, figures as they are rounded in it,
        the problem behind it. Not in JSON, and no part of what a signature holds: more may stand here at any time.
    """

    where: str
    what: str
    expected: str
    severity: Severity = "error"
    _: KW_ONLY
    code: str
    touches: tuple[Touch, ...] = ()
    stages: tuple[str, ...] = ()
    fields: tuple[str, ...] = ()
    values: Mapping[str, float | str | None] = field(default_factory=dict, hash=False)
    said: Mapping[str, "float | str | Problem | None"] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        """Cut what is too long to be read."""
        for name in ("where", "what", "expected"):
            if len(text := getattr(self, name)) > LONGEST_TOLD_N:
                object.__setattr__(self, name, shortened(text))

    @property
    def sites(self) -> tuple[str, ...]:
        """Ids of the sites it concerns, each once, in the order of `touches`."""
        return tuple(dict.fromkeys(touch.site for touch in self.touches))

    @property
    def routes(self) -> tuple[str, ...]:
        """Routes that are named beside the sites, each once; empty: every route."""
        return tuple(dict.fromkeys(touch.route for touch in self.touches if touch.route is not None))

    def touching(self, site: str, route: str | None = None) -> bool:
        """Whether it concerns a site, on the route where one is given."""
        return any(touch.site == site and (route is None or touch.route in (None, route)) for touch in self.touches)

    def as_json(self) -> dict[str, Any]:
        """The record with the keys that outside scripts rely on."""
        return {
            "code": self.code,
            "where": self.where,
            "sites": [shortened(name) for name in self.sites],
            "routes": [shortened(name) for name in self.routes],
            "stages": [shortened(name) for name in self.stages],
            "fields": [shortened(name) for name in self.fields],
            "what": self.what,
            "expected": self.expected,
            "severity": self.severity,
            # JSON has no infinities: null, as everywhere in the answers.
            "values": {key: _told(value) for key, value in self.values.items()},
        }

    def line(self, source: str, *, brought: Iterable[str] = ()) -> str:
        """``FILE: where: what; expected``, the form printed on stderr.

        FILE stands once: `where` of what is wrong in another file that was `brought` begins with that file's name.
        """
        tail = f"; {self.expected}" if self.expected else ""
        own = any(self.where.startswith(name) for name in brought)
        before = "" if own else f"{source}: "
        return f"{before}{self.where}: {self.what}{tail}"


class PlanError(Exception):
    """Something cannot be used as given. Carries every problem found, never just the first."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(f"{p.where}: {p.what}; {p.expected}" for p in self.problems))


def at_most(problems: Iterable[Problem], *, source: str, most_n: int = MOST_PROBLEMS) -> list[Problem]:
    """The first problems of many, and how many more there are: nobody reads a thousand, and none goes unsaid.

    Parameters
    ----------
    problems : iterable of Problem
    source : str
        What they are of: where the last one says that there are more.
    most_n : int
        As many are told.
    """
    every = list(problems)
    if len(every) <= most_n:
        return every
    more_n = len(every) - most_n
    severity: Severity = "warning" if all(one.severity == "warning" for one in every) else "error"
    what = f"has {more_n} more problem{'s' if more_n > 1 else ''} like these"
    return [*every[:most_n], Problem(source, what, "", severity, code="more-problems", values={"more": more_n})]


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
