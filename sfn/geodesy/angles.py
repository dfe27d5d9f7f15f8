"""Latitude and longitude from text, in the spellings that people use.

Decimal degrees, degrees and minutes, degrees, minutes and seconds; marks, colons, hyphens or spaces between the
parts; hemisphere letters before, after or inside, or signs; decimal points or commas; packed digits with a letter
(``362212N 0841500W``). Whatever can be read in two ways is refused with both readings.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NoReturn

from sfn.errors import PlanError, Problem
from sfn.geodesy.globe import on_globe

EXAMPLES = "36.20500, -84.21000, or 36°12'18.0\"N 84°12'36.0\"W, or 38 north 444140.5 3684706.4, or an MGRS reference"
BETWEEN = "a comma between latitude and longitude"
KINDS = {1: "decimal degrees", 2: "degrees and minutes", 3: "degrees, minutes and seconds"}
AXES = {"lat": ("latitude", "S"), "lon": ("longitude", "W")}

_SPELLINGS = str.maketrans(
    {
        **dict.fromkeys("º˚∘⁰", "°"),
        **dict.fromkeys("′’‘ʹ´`ʼ‛", "'"),
        **dict.fromkeys("″”“ʺ„‟", '"'),
        **dict.fromkeys("−–‐‑‒﹣-", "-"),
        "\u00a0": " ",
        "\u202f": " ",
    }
)
_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
# The plural s only in lower case: secS is seconds south.
_TOKEN = re.compile(
    rf"""\s*(?:
    (?P<label>(?i:latitude|lat|longitude|long|lng|lon)(?![A-Za-z])\.?\s*[:=]?)
  | (?P<joint>(?<=[0-9])[:-](?=[0-9]))
  | (?P<number>(?<![0-9.]){_NUMBER})
  | (?P<degree>°|(?:(?i:degree)s?|(?i:deg|d))(?![A-Za-z])\.?)
  | (?P<minute>'(?!')|(?:(?i:minute)s?|(?i:min|m))(?![A-Za-z])\.?)
  | (?P<second>"|''|(?i:second|sec)s?(?![A-Za-z])\.?)
  | (?P<letter>(?i:north|south|east|west|[nsew])(?![A-Za-z]))
  | (?P<sign>[-+])
  | (?P<between>[;,/|])
    )""",
    re.VERBOSE,
)
_LETTER_INSIDE = re.compile(
    r"(?<![0-9A-Za-z.])([0-9]{2,3})([NSEWnsew])([0-9]{2})([0-9]{2}(?:\.[0-9]+)?)?(?![0-9.A-Za-z°'\"])"
)
# A minus counts as a sign only with a gap before it and none behind; between the parts of 36-12-18N it is a joint.
_DASH = re.compile(r"[0-9.°'\"A-Za-z]\s*-\s+(?=[0-9.])|[°'\"]-|(?:deg|min|sec|[dmsDMS])\.?-|\.[0-9]*-(?=[0-9.])")
_SPELLED_SECONDS = re.compile(r"(?<=[0-9.])\s*(?P<s>[sS])(?P<then>\s*[NSEWnsew](?![A-Za-z]))?(?![A-Za-z])")


@dataclass(frozen=True, slots=True)
class Angles:
    """A latitude and a longitude as read, in whatever datum they were given.

    `hemisphere_said` is whether letters or signs say which side of the equator and of Greenwich; unsigned decimal
    degrees say so by convention: north and east.
    """

    lat_deg: float
    lon_deg: float
    resolution_deg: float
    kind: str
    hemisphere_said: bool


@dataclass(slots=True)
class _Coordinate:
    """One of the two, while it is being put together."""

    numbers: list[str] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)  # 0 degrees, 1 minutes, 2 seconds, -1 not marked
    sign: str = ""
    letter: str = ""
    label: str = ""

    @property
    def axis(self) -> str:
        """``lat``, ``lon``, or empty where nothing tells."""
        if self.letter:
            return "lat" if self.letter in "NS" else "lon"
        return self.label


class _Shape(Exception):  # noqa: N818 - not an error yet: another reading may fit
    """Why the tokens do not form two coordinates, to be put after "cannot be read as a position: "."""


def refuse(
    what: str,
    expected: str = EXAMPLES,
    *,
    field: str = "text",
    code: str = "position-unreadable",
    values: Mapping[str, float | str | None] | None = None,
    said: Mapping[str, str] | None = None,
) -> NoReturn:
    """Say no to a text, or to another field of a position."""
    raise PlanError([Problem(field, what, expected, code=code, fields=(field,), values=values or {}, said=said or {})])


def read_angles(text: str) -> Angles:
    r"""Latitude and longitude as somebody wrote them.

    Parameters
    ----------
    text : str
        Such as ``36.205, -84.21``, ``36°12'18"N 84°12'36"W``, ``N36 12.3 W084 12.6``, ``36,205 -84,21``,
        ``lon -84.21 lat 36.205``, ``36-12-18N 084-12-36W``, ``361218N 0841236W``, ``84W1236 36N1218``.

    Returns
    -------
    angles : Angles
        Signed degrees, the step of the last digit typed (the coarser of the two), and how it was understood.

    Raises
    ------
    PlanError
        If the text is not a position, is out of range, or can be read in two ways; the text says why.

    Examples
    --------
    >>> read_angles("37° 57' 3.7203'' S, 144° 25' 29.5244'' E").kind
    'degrees, minutes and seconds'
    """
    unified = _unified(text)
    readings: list[Angles] = []
    failures: list[PlanError] = []
    reasons: list[str] = []
    for spelled in _comma_readings(unified):
        try:
            if _DASH.search(spelled):
                refuse(f"the dash in {text!r} can be a minus sign or stand between two numbers", BETWEEN)
            readings.append(_pair(_coordinates(spelled)))
        except PlanError as error:
            failures.append(error)
        except _Shape as shape:
            reasons.append(str(shape))
    if not readings:
        if failures:
            raise failures[0]
        refuse(f"{text!r} cannot be read as a position: {reasons[0]}")
    first = readings[0]
    for other in readings[1:]:
        if (other.lat_deg, other.lon_deg) != (first.lat_deg, first.lon_deg):
            refuse(
                f"{text!r} can be read as {first.lat_deg:.6g}, {first.lon_deg:.6g} and, with decimal commas, as "
                f"{other.lat_deg:.6g}, {other.lon_deg:.6g}",
                "decimal points, or a semicolon between latitude and longitude",
            )
    return first


def _unified(text: str) -> str:
    """The text with one spelling for each mark."""
    unified = text.translate(_SPELLINGS).strip().strip("()[]{},; ")
    unified = re.sub(r"\s*[\t\r\n]+\s*", ";", unified)  # two cells of a table
    if not unified:
        refuse("the position is empty")
    if re.fullmatch(r"[0-9]+,[0-9]+", unified):
        refuse(f"the comma in {text!r} can be a decimal comma or stand between two numbers", "a space after the comma")
    if re.search(r"(?<![A-Za-z])[oO](?![A-Za-z])", unified):
        refuse(f"the letter O in {text!r} can be west (oeste, ouest), east (Ost) or a degree sign", "W, E or °")
    unified = _LETTER_INSIDE.sub(_letter_last, unified)
    if re.search(r"[0-9.]\s*(?:min|m)(?![A-Za-z])\.?\s*[0-9]", unified, re.IGNORECASE):
        unified = _SPELLED_SECONDS.sub(_spelled_seconds, unified)
    unified = re.sub(r"^([-+][0-9]{2}(?:\.[0-9]+)?)([-+][0-9]{3}(?:\.[0-9]+)?)/?$", r"\1;\2", unified)  # ISO 6709
    return unified.strip()


def _letter_last(found: re.Match[str]) -> str:
    """``36N2212`` as ``36°22'12"N``."""
    seconds = f'{found[4]}"' if found[4] else ""
    return f"{found[1]}°{found[3]}'{seconds}{found[2]} "


def _spelled_seconds(found: re.Match[str]) -> str:
    """The s of ``36d 22m 12s`` as a mark; a capital S with no letter behind it may be south."""
    if found["s"] == "S" and not found["then"]:
        refuse("the letter S after minutes marked m can be seconds or south", "marks ° ' \" and a letter N or S")
    return f'"{found["then"] or ""}'


def _comma_readings(unified: str) -> list[str]:
    """The text with commas between the two coordinates, and, where it can be, with decimal commas."""
    readings = [unified]
    if re.search(r"[0-9],[0-9]", unified) and not re.search(r"[0-9]\.[0-9]", unified):
        readings.append(re.sub(r"(?<=[0-9]),(?=[0-9])", ".", unified))
    return readings


def _tokens(spelled: str) -> list[tuple[str, str]]:
    """Kind and text of each token."""
    tokens, at = [], 0
    while at < len(spelled):
        found = _TOKEN.match(spelled, at)
        if not found or not found.lastgroup:
            raise _Shape(f"{spelled[at:].strip()[:12]!r} is not understood")
        tokens.append((found.lastgroup, found[found.lastgroup]))
        at = found.end()
    return tokens


def _coordinates(spelled: str) -> tuple[_Coordinate, _Coordinate]:
    """The two coordinates of a text."""
    tokens = _tokens(spelled)
    letters_lead = next((kind for kind, _ in tokens if kind in ("letter", "number")), "") == "letter"
    joints = any(kind == "joint" for kind, _ in tokens)
    parts = [_Coordinate()]
    joined = False
    for index, (kind, word) in enumerate(tokens):
        now = parts[-1]
        following = tokens[index + 1][0] if index + 1 < len(tokens) else ""
        starts = kind in ("between", "label", "sign") or (kind == "letter" and letters_lead)
        starts |= kind == "number" and (following == "degree" or (joints and not joined))
        if now.numbers and (starts or (kind == "number" and now.letter and not letters_lead)):
            now = _Coordinate()
            parts.append(now)
        joined = kind == "joint"
        _add(now, kind, word)
    if len(parts) == 1:
        parts = _halves(parts[0], joints=joints)
    if len(parts) != 2 or not all(part.numbers for part in parts):
        raise _Shape(f"latitude and longitude are needed, this has the form of {len(parts)} such numbers")
    told = not joints and all(part.letter or max(part.marks) >= 0 for part in parts)
    if not told and len(parts[0].numbers) != len(parts[1].numbers):
        raise _Shape("latitude and longitude are not written to the same parts")
    return parts[0], parts[1]


def _add(now: _Coordinate, kind: str, word: str) -> None:
    """Put one token into the coordinate under construction."""
    if kind == "number":
        now.numbers.append(word)
        now.marks.append(-1)
    elif kind in ("degree", "minute", "second"):
        if not now.numbers or now.marks[-1] != -1:
            raise _Shape(f"the mark {word!r} has no number before it")
        now.marks[-1] = ("degree", "minute", "second").index(kind)
    elif kind == "letter":
        if now.letter:
            raise _Shape(f"{word!r} is one letter too many")
        now.letter = word[0].upper()
    elif kind == "sign":
        if now.sign:
            raise _Shape("there are two signs before one number")
        now.sign = word
    elif kind == "label":
        if now.label:
            raise _Shape(f"{word!r} has no number")
        now.label = word[:3].lower().replace("lng", "lon")


def _halves(part: _Coordinate, *, joints: bool) -> list[_Coordinate]:
    """Two, four or six bare numbers in a row: the first half is the latitude."""
    count = len(part.numbers)
    if count not in (2, 4, 6) or joints or any(mark >= 0 for mark in part.marks) or part.letter or part.label:
        raise _Shape(f"where latitude ends and longitude begins cannot be told, with {count} numbers")
    half = count // 2
    if ("." in part.numbers[half - 1]) != ("." in part.numbers[-1]):
        raise _Shape("one of latitude and longitude would have a fraction and the other none")
    first = _Coordinate(part.numbers[:half], part.marks[:half], part.sign)
    return [first, _Coordinate(part.numbers[half:], part.marks[half:])]


def _pair(parts: tuple[_Coordinate, _Coordinate]) -> Angles:
    """Latitude and longitude from the two coordinates, whichever came first."""
    first, second = parts
    if bool(first.letter) != bool(second.letter):
        refuse("one of the two has a hemisphere letter, the other has none", "a letter with both, or signs with both")
    for part in parts:
        if part.letter and part.label and part.axis != part.label:
            refuse(f"the letter {part.letter} does not belong to a {AXES[part.label][0]}")
    axes = [first.axis, second.axis]
    if axes[0] and axes[0] == axes[1]:
        refuse(f"both numbers are said to be the {AXES[axes[0]][0]}", "one latitude and one longitude")
    swapped = axes[0] == "lon" or axes[1] == "lat"
    lat, lon = (second, first) if swapped else (first, second)
    lat_deg, lat_step_deg = _degrees(lat, "lat")
    lon_deg, lon_step_deg = _degrees(lon, "lon")
    on_globe(lat_deg, lon_deg, where="text")
    kind = KINDS[max(len(first.numbers), len(second.numbers))]
    said = kind == KINDS[1] or all(part.letter or part.sign for part in parts)
    return Angles(lat_deg, lon_deg, max(lat_step_deg, lon_step_deg), kind, said)


def _degrees(part: _Coordinate, axis: str) -> tuple[float, float]:
    """Signed degrees of one coordinate, and what its last digit is worth."""
    name, negative = AXES[axis]
    if part.letter and part.sign == "-":
        refuse(f"the {name} has both a minus sign and the letter {part.letter}", "one of the two")
    _unpack(part, axis)
    numbers = [number.rstrip(".") for number in part.numbers]
    if len(numbers) > 3 or any(mark not in (-1, place) for place, mark in enumerate(part.marks)):
        raise _Shape(f"the parts of the {name} are not degrees, minutes and seconds in this order")
    for what, number in zip(("degrees", "minutes"), numbers[:-1], strict=False):
        if "." in number:
            refuse(f"{what} {number} of the {name} have a fraction although a smaller part follows")
    for what, number in zip(("minutes", "seconds"), numbers[1:], strict=False):
        if float(number) >= 60:
            refuse(f"{what} of the {name} must be below 60, got {number}")
    value = sum(float(number) / 60.0**place for place, number in enumerate(numbers))
    decimals = len(numbers[-1].partition(".")[2])
    step_deg = 10.0**-decimals / 60.0 ** (len(numbers) - 1)
    return (-value if part.sign == "-" or part.letter == negative else value), step_deg


def _unpack(part: _Coordinate, axis: str) -> None:
    """Digits written without gaps, ``0841500W``, into degrees, minutes and seconds."""
    if len(part.numbers) != 1 or not part.letter or part.marks != [-1]:
        return
    whole, point, fraction = part.numbers[0].partition(".")
    width = 2 if axis == "lat" else 3
    places = (len(whole) - width) / 2
    if len(whole) <= 3:
        return
    if places not in (1, 2):
        refuse(
            f"{part.numbers[0]}{part.letter} has neither the {width + 2} nor the {width + 4} digits of a packed "
            f"{AXES[axis][0]}"
        )
    pieces = [whole[:width], *(whole[at : at + 2] for at in range(width, len(whole), 2))]
    part.numbers = [*pieces[:-1], pieces[-1] + point + fraction]
    part.marks = [-1] * len(pieces)
