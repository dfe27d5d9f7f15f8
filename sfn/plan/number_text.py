"""Numbers as people write them, read the same way everywhere: in tables, in forms and on a phone.

A comma or a point may be decimal or may part thousands. Where both readings are possible nobody may guess: one is a
thousand times the other.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

MOST_CHARACTERS_N = 60
# An exponent of two digits: exact arithmetic with 1e999999999 would not end.
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", re.ASCII)
_TWO_WAYS = re.compile(r"[+-]?[1-9]\d{0,2}[,.]\d{3}", re.ASCII)
_ONE_MARK = re.compile(r"[+-]?\d*([,.])\d+", re.ASCII)
_GROUPS = re.compile(r"(?<=\d)[ \t\u00a0\u2009\u202f](?=\d{3}(?!\d))")


@dataclass(frozen=True, slots=True)
class Marks:
    """Decimal marks that a table shows where only one reading is possible, as in 36,28 or 36.28."""

    comma: bool = False
    point: bool = False


FORM = Marks(point=True)
"""What stands in a form: a point, unless a comma can mean nothing else."""


def marks_of(cells: Iterable[str]) -> Marks:
    """Decimal marks of a table.

    Examples
    --------
    >>> marks_of(["36,28", "1,234", "P 1.5"])
    Marks(comma=True, point=False)
    """
    shown = {found[1] for cell in cells if (found := _ONE_MARK.fullmatch(_plain(cell))) and not _two_ways(found[0])}
    return Marks("," in shown, "." in shown)


def number_written(text: str, marks: Marks = FORM) -> Fraction:
    """The number that was meant, exactly: decimal point or comma, blanks between thousands, either minus sign.

    Parameters
    ----------
    text : str
    marks : Marks
        What the table around it shows. A table of decimal commas alone settles 1,234; one with decimal commas makes
        1.234 doubtful.

    Raises
    ------
    ValueError
        If it is no number, or can be read as two; the message says which, and can stand before an expectation.

    Examples
    --------
    >>> float(number_written("122 602,9")), float(number_written("−0,125")), float(number_written("1,2345"))
    (122602.9, -0.125, 1.2345)
    >>> float(number_written("1,234", Marks(comma=True)))
    1.234
    >>> number_written("1,234")
    Traceback (most recent call last):
    ValueError: '1,234' can be 1.234 or 1234: write thousands without a mark, or one more decimal
    """
    return Fraction(_meant(text, marks))


def float_written(text: str, marks: Marks = FORM) -> float:
    """The nearest float to the same; a third of the work, for tables of hundreds of thousands of lines.

    Raises
    ------
    ValueError
        As `number_written`.

    Examples
    --------
    >>> float_written("122 602,9"), float_written("−0,125")
    (122602.9, -0.125)
    """
    return float(_meant(text, marks))


def ratio_written(text: str, marks: Marks = FORM) -> Fraction:
    """The same, or one number over another: a packet time of 1/3 ms is exact.

    Raises
    ------
    ValueError
        As `number_written`, or if it divides by 0.

    Examples
    --------
    >>> ratio_written("2,5"), ratio_written("1/3")
    (Fraction(5, 2), Fraction(1, 3))
    """
    above, stroke, below = text.partition("/")
    over = number_written(below, marks) if stroke else Fraction(1)
    if not over:
        raise ValueError(f"{text.strip()!r} divides by 0")
    return number_written(above, marks) / over


def decimal(text: str) -> float:
    """A number whose mark is decimal whatever stands before it: a coordinate, a level, a frequency, a pattern's cell.

    Raises
    ------
    ValueError
        If it is no number.

    Examples
    --------
    >>> decimal("1,234"), decimal("−0.5")
    (1.234, -0.5)
    """
    plain = _plain(text).replace(",", ".", 1)
    if len(plain) > MOST_CHARACTERS_N or not _NUMBER.fullmatch(plain):
        raise ValueError(f"{text[:MOST_CHARACTERS_N]!r} is no number")
    return float(plain)


def number_in(text: str, *, least: float, greatest: float, marks: Marks = FORM) -> float:
    """The same within a closed range.

    Raises
    ------
    ValueError
        If it is no number, can be read as two, or is out of range.
    """
    value = float(number_written(text, marks))
    if not least <= value <= greatest:
        raise ValueError(f"{text.strip()} is out of range")
    return value


def _meant(text: str, marks: Marks) -> str:
    """A number as programs write it; refused where it is none, or two."""
    plain = _plain(text)
    settled = marks.comma and not marks.point if "," in plain else not marks.comma
    if _two_ways(plain) and not settled:
        ways = f"{plain.replace(',', '.')} or {plain.replace(',', '').replace('.', '')}"
        raise ValueError(f"{text!r} can be {ways}: write thousands without a mark, or one more decimal")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if len(plain) > MOST_CHARACTERS_N or not _NUMBER.fullmatch(plain):
        raise ValueError(f"{text[:MOST_CHARACTERS_N]!r} is no number")
    return plain


def _plain(text: str) -> str:
    """Without blanks between thousands, and with the minus sign of programs."""
    plain = text.strip()
    if plain.isascii() and " " not in plain and "\t" not in plain:  # as nearly every cell is
        return plain
    return _GROUPS.sub("", plain).replace("\u2212", "-")


def _two_ways(plain: str) -> bool:
    """Whether its mark may part thousands."""
    return _TWO_WAYS.fullmatch(plain) is not None
