"""References to national grids whose squares have letters: British and Irish; others are refused by their name.

Great Britain: the first letter is a square of 500 km, the second one of 100 km in it, both counted A to Z without I,
five by five, from the north-west; the false origin is the south-west corner of S. Ireland: one such letter, a square
of 100 km, V in the south-west corner. (Ordnance Survey, *A guide to coordinate systems in Great Britain*, on the
National Grid; Ordnance Survey Ireland and OSNI on the Irish Grid.)
"""

import re
from dataclasses import dataclass

from sfn.geodesy.angles import refuse

LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
SQUARE_M = 100_000.0
BRITISH, IRISH = 27700, 29903
# Systems that the letters of each grid go with: their own, and the datums that it may be named by.
BRITISH_CODES = (BRITISH, 4277, 4326)
IRISH_CODES = (IRISH, 29902, 29901, 4300, 4299, 4188, 4326)
BRITISH_EXAMPLE = "a British reference such as TG 51409 13177"
IRISH_EXAMPLE = "an Irish reference such as O 15904 34671"

_DIGITS = r"\s*([0-9]+)(?:[\s,]+([0-9]+))?"
_BRITISH = re.compile(rf"\s*([A-HJ-Z])([A-HJ-Z]){_DIGITS}\s*", re.IGNORECASE)
_IRISH = re.compile(rf"\s*([A-HJ-Z]){_DIGITS}\s*", re.IGNORECASE)
# Forms of other lettered references, and what they are.
_OTHERS = (
    (r"[A-R]{2}[0-9]{2}(?:[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?)?", "a Maidenhead locator"),
    (r"[A-HJ-NP-Z]{4}(?:[0-9]{4}|[0-9]{6}|[0-9]{8}|[0-9]{10})", "a World Geographic Reference (GEOREF)"),
    (r"[0-9]{3}[A-HJ-NP-Z]{2}[1-4]?[1-9]?", "a Global Area Reference (GARS)"),
    (r"[23456789CFGHJMPQRVWX]{2,8}\+[23456789CFGHJMPQRVWX]{0,7}", "an Open Location Code"),
    (r"(?:[HJNOST][A-HJ-Z])[0-9]{2}[A-NP-Z]", "a British tetrad of 2 km"),
    (r"[A-Z]{1,4}[0-9]{0,3}[\s-]+[0-9]{2,6}[\s-]+[0-9]{2,6}", "a lettered grid reference of another grid"),
    (r"[A-Z]{3,4}[0-9]{4,12}", "a lettered grid reference of another grid"),
    (r"/{0,3}[a-z]+\.[a-z]+\.[a-z]+", "an address of three words"),
)


@dataclass(frozen=True, slots=True)
class Square:
    """The centre of the square that a lettered reference names."""

    code: int
    easting_m: float
    northing_m: float
    side_m: float
    kind: str


def read_lettered(text: str, *, code: int) -> Square | None:
    """The square that a British or an Irish grid reference names; None where the text has no such form.

    Parameters
    ----------
    text : str
        Such as ``TG 51409 13177``, ``TQ3887612345``, ``O 15904 34671``.
    code : int
        EPSG code that goes with the text: the grid, its datum, or EPSG:4326 where nobody said.

    Raises
    ------
    PlanError
        If the letters name no square of the grid, the digits are odd, the crs is another, or a letter can as well be a
        hemisphere.
    """
    if found := _BRITISH.fullmatch(text):
        if not _pair(found[3], found[4]):
            refuse(_uneven(text, found[3], found[4]), BRITISH_EXAMPLE)
        _refuse_other_crs(text, code, BRITISH_CODES, f"the British National Grid, EPSG:{BRITISH}")
        return _british(text, found)
    if found := _IRISH.fullmatch(text):
        if found[1].upper() in "NSEW" and code not in IRISH_CODES[:-1] and _like_degrees(found[2], found[3]):
            what = f"{text!r} can be square {found[1].upper()} of the Irish grid, or a hemisphere before degrees"
            refuse(what, f"crs EPSG:{IRISH} for the Irish grid, or latitude and longitude with a letter each")
        if not _pair(found[2], found[3]):
            refuse(_uneven(text, found[2], found[3]), IRISH_EXAMPLE)
        _refuse_other_crs(text, code, IRISH_CODES, f"the Irish grid, EPSG:{IRISH}")
        east, south = _place(found[1])
        return _square(IRISH if code == IRISH_CODES[-1] else _own(code), (east, 4 - south), found[2], found[3], "Irish")
    return None


def refuse_other_letters(text: str) -> None:
    """Say no, by its name, to a text that has the form of another lettered grid.

    Raises
    ------
    PlanError
        If it has one; for texts that are no position that can be read.
    """
    for form, name in _OTHERS:
        if re.fullmatch(form, text.strip(), re.IGNORECASE):
            refuse(
                f"{text!r} looks like {name}, which is not read here",
                f"latitude and longitude, UTM, MGRS, {BRITISH_EXAMPLE} or {IRISH_EXAMPLE}",
                code="position-other-grid",
                said={"typed": text, "grid_english": name},
            )


def _british(text: str, found: re.Match[str]) -> Square:
    """The square of two letters on the National Grid."""
    far_east, far_south = _place(found[1])
    east, south = _place(found[2])
    # S is the third of its row and the fourth of its column
    squares = (5 * (far_east - 2) + east, 5 * (3 - far_south) + 4 - south)
    if not (0 <= squares[0] < 7 and 0 <= squares[1] < 13):
        pair = (found[1] + found[2]).upper()
        refuse(f"{pair} in {text!r} is no square of the British National Grid", BRITISH_EXAMPLE)
    return _square(BRITISH, squares, found[3], found[4], "British")


def _place(letter: str) -> tuple[int, int]:
    """Column from the west and row from the north of a letter in its five by five."""
    index = LETTERS.index(letter.upper())
    return index % 5, index // 5


def _own(code: int) -> int:
    """The Irish grid that a code means: itself, or the one on its datum."""
    return {4300: IRISH, 4299: 29902, 4188: 29901}.get(code, code)


def _pair(first: str, second: str | None) -> bool:
    """Whether the digits part into an easting and a northing of the same length, at most metres."""
    if second is None:
        return len(first) % 2 == 0 and 2 <= len(first) <= 10
    return len(first) == len(second) <= 5


def _uneven(text: str, first: str, second: str | None) -> str:
    """What is wrong with the digits."""
    count = len(first) + len(second or "")
    return f"{text!r} has {count} digits; easting and northing need the same number, from 1 to 5 each"


def _like_degrees(first: str, second: str | None) -> bool:
    """Whether the digits could be degrees."""
    return second is None or (int(first) <= 90 and int(second) <= 180)


def _refuse_other_crs(text: str, code: int, codes: tuple[int, ...], name: str) -> None:
    """Say no where the crs is not one that the letters go with."""
    if code not in codes:
        refuse(f"{text!r} is a reference to {name}, but the crs is EPSG:{code}", name, field="crs")


def _square(code: int, squares: tuple[int, int], first: str, second: str | None, kind: str) -> Square:
    """The centre of a square, from the number of its large square and its digits."""
    digits = (first, second) if second is not None else (first[: len(first) // 2], first[len(first) // 2 :])
    side_m = 10.0 ** (5 - len(digits[0]))
    easting_m, northing_m = (
        SQUARE_M * square + side_m * (int(own) + 0.5) for square, own in zip(squares, digits, strict=True)
    )
    return Square(code, easting_m, northing_m, side_m, f"{kind} grid reference")
