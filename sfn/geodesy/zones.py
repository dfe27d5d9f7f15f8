"""UTM and MGRS references from text.

The letter behind a UTM zone is written in two senses: hemisphere (N, S), or latitude band (C to X, where N is
0 to 8 north and S is 32 to 40 north). "N" is north either way; "S" is settled by the northing where only one of the
two is possible, and is asked about where both are.
"""

import re
import warnings
from dataclasses import dataclass
from threading import Lock
from typing import NoReturn

from mgrs import MGRS
from pyproj import CRS

from sfn.errors import PlanError
from sfn.geodesy.angles import refuse
from sfn.geodesy.datum import WGS84_CODE, to_wgs84
from sfn.plan.number_text import decimal

BANDS = "CDEFGHJKLMNPQRSTUVWX"
BAND_HEIGHT_DEG = 8.0
SOUTHERNMOST_BAND_DEG = -80.0
LARGEST_NORTHING_M = 10_000_000.0
# A reference rounded across the edge of its band still means it.
BESIDE_BAND_DEG = 0.02
METRES_A_DEGREE = 110_000.0
MGRS_EXAMPLE = "an MGRS reference such as 38SMB4414084706"
UTM_EXAMPLE = "zone, hemisphere in words, easting and northing in metres, such as 38 north 444140.54 3684706.36"

_NUMBER = r"[0-9]{1,8}(?:[.,][0-9]+)?"
_AXIS = r"(?:e(?:ast(?:ing)?)?|n(?:orth(?:ing)?)?)"
_UTM = re.compile(
    rf"""\s*(?:utm[\s:]*)?(?:zone[\s:]*)?
    (?P<zone>[0-9]{{1,2}})(?![0-9.,])\s*(?P<half>north(?:ern)?|south(?:ern)?|[a-z])?(?![a-z])[\s,;:]*
    (?P<lead1>{_AXIS})?[\s:=]*(?P<number1>{_NUMBER})\s*m?\s*(?(lead1)|(?P<tail1>{_AXIS})?)(?:[\s,;/]+|(?<=[a-z]))
    (?P<lead2>{_AXIS})?[\s:=]*(?P<number2>{_NUMBER})\s*m?\s*(?(lead2)|(?P<tail2>{_AXIS})?)\s*""",
    re.VERBOSE | re.IGNORECASE,
)
_MGRS = re.compile(
    r"\s*(?:mgrs[\s:]*)?([0-9]{1,2})\s*([C-HJ-NP-X])\s*([A-HJ-NP-Z])\s*([A-HJ-NP-V])\s*([0-9][0-9\s]*)?", re.IGNORECASE
)
_MGRS_POLAR = re.compile(r"\s*(?:mgrs[\s:]*)?([ABYZ])\s*([A-HJ-NP-Z])\s*([A-HJ-NP-Z])\s*([0-9][0-9\s]+)", re.IGNORECASE)


# What warnings are shown is one thing of the whole process.
_ASKING = Lock()


@dataclass(frozen=True, slots=True)
class GridReference:
    """Easting and northing as read, with the UTM zone they are in."""

    easting_m: float
    northing_m: float
    resolution_m: float
    kind: str
    zone: int
    north: bool


def read_mgrs(text: str) -> GridReference | None:
    """The centre of the square that an MGRS reference names; None where the text has not that form.

    Raises
    ------
    PlanError
        If it has the form, but names no square: letters that do not fit the zone, an odd number of digits, or
        a polar square.
    """
    if _MGRS_POLAR.fullmatch(text):
        refuse(f"{text!r} is a polar reference, which is not read here", "latitude and longitude")
    found = _MGRS.fullmatch(text)
    if not found:
        return None
    digits = "".join((found[5] or "").split())
    if len(digits) % 2 or len(digits) > 10:
        refuse(f"{text!r} has {len(digits)} digits; easting and northing need the same number, at most 5", MGRS_EXAMPLE)
    zone = f"{int(found[1]):02d}"
    square = zone + (found[2] + found[3] + found[4]).upper() + digits
    named = _square(square)
    if named is None or _in_band(square[2], named) is None:
        _refuse_band(text, square)
    return named


def _square(square: str) -> GridReference | None:
    """The square that zone, three letters and digits name, whatever band they say; None where there is none."""
    try:
        # It warns on stderr of a band that does not fit, with the path of its own file; `_refuse_band` says it.
        with _ASKING, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            number, half, easting_m, northing_m = MGRS().MGRSToUTM(square)
    except Exception:  # the package's own exception type moved between its versions
        return None
    side_m = 10.0 ** (5 - (len(square) - 5) // 2)
    # corner or centre, as versions of the package differ: always the centre
    centre_m = [side_m * (value // side_m + 0.5) for value in (easting_m, northing_m)]
    return GridReference(centre_m[0], centre_m[1], side_m, "MGRS", int(number), half == "N")


def _refuse_band(text: str, square: str) -> NoReturn:
    """Say no where the letter of the latitude band is not that of the square; rows of squares repeat every 2000 km.

    Raises
    ------
    PlanError
        With the bands that such a square lies in.
    """
    fitting = []
    for band in BANDS:
        other = _square(square[:2] + band + square[3:])
        latitude_deg = None if other is None else _in_band(band, other)
        if latitude_deg is not None:
            half = "north" if latitude_deg >= 0 else "south"
            fitting.append(f"{square[:2]}{band} ({abs(latitude_deg):.2f} {half})")
    if not fitting:
        refuse(f"{text!r} names no square: the letters do not fit together, or the zone is not 1 to 60", MGRS_EXAMPLE)
    south_deg, north_deg = _band_deg(square[2])
    refuse(
        f"{text!r}: band {square[2]} runs from {south_deg:g} to {north_deg:g} degrees, and square {square[3:5]} of "
        f"zone {square[:2]} does not lie there",
        f"the band of the place: {', '.join(fitting)}",
    )


def _in_band(band: str, square: GridReference) -> float | None:
    """Latitude of a square's middle if any of it may lie in a band, else None. [degrees]"""
    latitude_deg = _latitude(square.zone, square.easting_m, square.northing_m, north=square.north)
    south_deg, north_deg = _band_deg(band)
    beside_deg = BESIDE_BAND_DEG + square.resolution_m / METRES_A_DEGREE
    fits = latitude_deg is not None and south_deg - beside_deg <= latitude_deg <= north_deg + beside_deg
    return latitude_deg if fits else None


def _band_deg(band: str) -> tuple[float, float]:
    """South and north edge of a latitude band. [degrees]"""
    south_deg = SOUTHERNMOST_BAND_DEG + BAND_HEIGHT_DEG * BANDS.index(band)
    return south_deg, 84.0 if band == "X" else south_deg + BAND_HEIGHT_DEG


def read_utm(text: str, *, crs: CRS) -> GridReference | None:
    """Zone, easting and northing of a UTM text; None where the text has not that form.

    Parameters
    ----------
    text : str
        Such as ``38n 444140.54 3684706.36``, ``UTM zone 33 north, 500000 E 4649776 N``, ``55H 273741 5796490``.
    crs : pyproj.CRS
        System that goes with the text; where it is a UTM zone itself, it settles the hemisphere.

    Raises
    ------
    PlanError
        If the zone or a number is out of range, the hemisphere is missing, the letter contradicts the
        northing, or the letter S fits both as hemisphere and as latitude band.
    """
    found = _UTM.fullmatch(text)
    if not found or (len(found["half"] or "") < 2 and max(map(len, re.findall("[0-9]+", text))) < 5):
        return None  # a single letter with small numbers is degrees
    easting_text, northing_text, _ = ordered(found, text)
    easting_m, northing_m = map(decimal, (easting_text, northing_text))
    zone = int(found["zone"])
    if not 1 <= zone <= 60:
        refuse(f"UTM zones run from 1 to 60, {text!r} has {zone}", UTM_EXAMPLE)
    if not 100_000 <= easting_m < 1_000_000:
        refuse(f"the UTM easting {easting_text} m is not between 100 000 and 1 000 000", UTM_EXAMPLE)
    if northing_m > LARGEST_NORTHING_M:
        refuse(f"the UTM northing {northing_text} m is above 10 000 000", UTM_EXAMPLE)
    half = (found["half"] or "").lower()
    north = _hemisphere(half, zone, easting_m, northing_m, crs=crs, text=text)
    return GridReference(easting_m, northing_m, step_of(easting_text, northing_text), "UTM", zone, north)


def ordered(found: re.Match[str], text: str, *, expected: str = UTM_EXAMPLE) -> tuple[str, str, bool]:
    """The two numbers of a match, easting first, and whether letters said which is which.

    Raises
    ------
    PlanError
        If the letters contradict each other.
    """
    one, two = ({axis[0].lower() for axis in (found[f"lead{i}"], found[f"tail{i}"]) if axis} for i in (1, 2))
    if len(one) > 1 or len(two) > 1 or (one and one == two):
        refuse(f"the letters in {text!r} do not tell which number is the easting", expected)
    if one == {"n"} or two == {"e"}:
        return found["number2"], found["number1"], True
    return found["number1"], found["number2"], bool(one or two)


def step_of(*numbers: str) -> float:
    """What the last digit is worth in the numbers' own unit, the coarser of them."""
    return max(10.0 ** -len(re.split("[.,]", number)[1]) if re.search("[.,]", number) else 1.0 for number in numbers)


def _hemisphere(half: str, zone: int, easting_m: float, northing_m: float, *, crs: CRS, text: str) -> bool:
    """Whether a UTM text is in the northern half, from its letter and, where that has two senses, its northing."""
    own = crs.utm_zone if crs.is_projected else None
    if own and int(own[:-1]) == zone and half in ("", "s"):
        return own.endswith("N")  # 38S with the crs of 38 north means band S
    if not half:
        refuse(f"the UTM zone in {text!r} has no hemisphere", UTM_EXAMPLE)
    if half.startswith(("north", "south")):
        return half.startswith("north")
    letter = half.upper()
    if letter == "N":
        return True
    if letter not in BANDS:
        refuse(f"{letter} is neither a hemisphere nor a latitude band", UTM_EXAMPLE)
    south_deg, north_deg = _band_deg(letter)
    band_is_north = south_deg >= 0
    latitude_deg = _latitude(zone, easting_m, northing_m, north=band_is_north)
    in_band = latitude_deg is not None and south_deg - 0.5 <= latitude_deg <= north_deg + 0.5
    if letter == "S":
        if not in_band:
            return False
        other_deg = _latitude(zone, easting_m, northing_m, north=False)
        refuse(
            f"{zone}S can be the band S, which makes {latitude_deg:.2f} north, or the southern hemisphere, which makes "
            f"{-other_deg if other_deg is not None else 0:.2f} south",
            f"{zone} north or {zone} south, in words",
        )
    if not in_band:
        where = f"at latitude {latitude_deg:.2f}" if latitude_deg is not None else "nowhere"
        refuse(
            f"the band {letter} runs from {south_deg:g} to {north_deg:g}, but the northing lies {where}", UTM_EXAMPLE
        )
    return band_is_north


def _latitude(zone: int, easting_m: float, northing_m: float, *, north: bool) -> float | None:
    """Latitude of UTM coordinates; None where there is none. [degrees]"""
    try:
        return to_wgs84(WGS84_CODE, easting_m, northing_m, zone=zone, north=north).lat_deg
    except PlanError:
        return None
