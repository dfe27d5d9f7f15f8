"""What reading a position leaves in doubt, as data: a code, its worth in metres and in microseconds, and the words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field as kept

from sfn.errors import Problem, Severity, Touch
from sfn.geodesy.line import travel_time
from sfn.units import grouped

# 0, 0 says nothing of where a site stands: it may be anywhere, at most half way round the earth.
HALF_ROUND_M = 20_004_000.0


@dataclass(frozen=True, slots=True)
class Doubt:
    """One doubt that a position raises.

    Parameters
    ----------
    code : str
        What kind of doubt: ``position-coarse``, ``position-kilometre-square``, ``position-outside-area``,
        ``position-zero``, ``position-datum``, ``position-feet``, ``position-axis-order``, ``position-hemisphere``.
    field : str
        The part of the position that raises it: ``text``, ``crs``, ``easting_m``, ...
    what, expected : str
        In words: what is doubtful, and what would leave no doubt.
    doubt_m, doubt_us : float
        How far the site may stand from where it was taken to be, and that length in travel time at N = 315. [m], [us]
    """

    code: str
    field: str
    what: str
    expected: str
    doubt_m: float
    doubt_us: float
    said: Mapping[str, float | str | None] = kept(default_factory=dict, compare=False)

    def problem(
        self, where: str, *, name: str = "", touches: tuple[Touch, ...] = (), severity: Severity = "warning"
    ) -> Problem:
        """The doubt as a problem of the position at a path of a document; `name` is its site's."""
        return Problem(
            f"{where}.{self.field}",
            f"site {name}: {self.what}" if name else self.what,
            self.expected,
            severity,
            code=self.code,
            touches=touches,
            fields=(self.field,),
            values={"doubt_m": self.doubt_m, "doubt_us": self.doubt_us},
            said=self.said,
        )


def doubt(
    code: str,
    field: str,
    what: str,
    expected: str,
    *,
    doubt_m: float,
    said: Mapping[str, float | str | None] | None = None,
) -> Doubt:
    """A doubt of a worth in metres."""
    return Doubt(code, field, what, expected, doubt_m, worth(doubt_m), said or {})


def worth(length_m: float) -> float:
    """What a length is worth in travel time at N = 315. [us]"""
    return float(travel_time(length_m))


def in_words(length_m: float) -> str:
    """A length and its worth: ``11 113 m, that is 37.08 us``."""
    return "{length_said}, that is {worth_said}".format_map(length_said(length_m))


def length_said(length_m: float) -> dict[str, str]:
    """The two amounts of `in_words`."""
    metres = grouped(length_m, ".0f") if length_m >= 10 else f"{length_m:.2g}"
    worth_us = grouped(worth(length_m), ".4g" if length_m < 1e6 else ".0f")
    return {"length_said": f"{metres} m", "worth_said": f"{worth_us} us"}


def uncertainty(doubts: Iterable[Doubt], *, step_m: float, accuracy_m: float) -> float:
    """How far a site may stand from its position, all doubts taken together. [m]

    The last digit and the transformation always count; of questions that each put the site elsewhere only the
    greatest, for no two of them can be true at once.
    """
    questions = ("position-outside-area", "position-zero", "position-feet", "position-axis-order")
    doubts = tuple(doubts)
    digits = [d.doubt_m for d in doubts if d.code in ("position-coarse", "position-kilometre-square")]
    elsewhere = [d.doubt_m for d in doubts if d.code in (*questions, "position-hemisphere")]
    return max(digits, default=step_m) + accuracy_m + max(elsewhere, default=0.0)
