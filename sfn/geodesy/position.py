"""Positions as people hold them, in whatever datum, and their WGS84 coordinates.

The story: the text is read (`angles`, `zones`), or easting and northing are taken; then PROJ's best transformation
for that very place leads to WGS84 (`datum`), with its accuracy in metres and in microseconds.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from mgrs import MGRS
from pyproj import CRS

from sfn.errors import PlanError, Problem
from sfn.geodesy.angles import KINDS, read_angles, refuse
from sfn.geodesy.datum import Shifted, coordinate_system, datum_of, epsg_code, to_utm, to_wgs84, utm_system
from sfn.geodesy.doubt import Doubt, uncertainty, worth
from sfn.geodesy.globe import on_globe
from sfn.geodesy.letters import read_lettered, refuse_other_letters
from sfn.geodesy.projected import Eastings, counts_in_feet, order_says, read_eastings, square_says, taken
from sfn.geodesy.questions import (
    COARSEST_STEP_DEG,
    METRES_PER_DEGREE_M,
    coarse,
    datum_doubt,
    hemisphere,
    outside,
    round_numbers,
    zero,
)  # fmt: skip
from sfn.geodesy.zones import GridReference, read_mgrs, read_utm

__all__ = ["Forms", "Located", "locate", "on_globe", "three_forms"]

LONGEST_TEXT_N = 200
LARGEST_GRID_M = 1e8
# Lettering of MGRS squares is that of WGS84 and GRS80; on other ellipsoids letters shift.
MGRS_ELLIPSOIDS = ("WGS 84", "GRS 1980")

_Fields = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Located:
    """A position, how it was understood, and how far it can be trusted.

    Parameters
    ----------
    lat_deg, lon_deg : float
        WGS84. [degrees]
    kind : str
        How the position was understood, such as ``degrees, minutes and seconds``, ``UTM``, ``easting and northing``.
    crs, crs_name : str
        EPSG code, and the name of the system, with the UTM zone where the text named one.
    datum : str
        Datum that the position was given in.
    transformation : str
        Name of the transformation to WGS84 that PROJ chose for this place.
    accuracy_m, accuracy_us : float or None
        Its stated accuracy, and what that is in travel time at N = 315; None where none is stated. [m], [us]
    better_transformation : str or None
        A better one with the grid that it needs and that is not installed.
    datum_shift_m : float
        How far off it would be if read as WGS84. [m]
    resolution_deg, resolution_m : float
        What the last digit written is worth, the coarser of the two coordinates. [degrees], [m]
    utm_zone : str or None
        ``38N`` where it was given in a UTM zone.
    warnings : tuple of Problem
        What is doubtful about it, at its place in the document.
    doubts : tuple of Doubt
        The same as data, each with its worth.
    position_m, position_us : float
        How far the site may stand from here, all doubts taken together, and that in travel time at N = 315. [m], [us]
    """

    lat_deg: float
    lon_deg: float
    kind: str
    crs: str
    crs_name: str
    datum: str
    transformation: str
    accuracy_m: float | None
    accuracy_us: float | None
    better_transformation: str | None
    datum_shift_m: float
    resolution_deg: float
    resolution_m: float
    utm_zone: str | None
    warnings: tuple[Problem, ...]
    doubts: tuple[Doubt, ...]
    position_m: float
    position_us: float
    read_as: str = ""
    """Which number was taken for what, in words; empty for degrees."""


@dataclass(frozen=True, slots=True)
class Forms:
    """One position in the forms that a field sheet prints. UTM and MGRS are empty beyond 84 north and 80 south."""

    decimal: str
    dms: str
    utm: str
    mgrs: str


@dataclass(frozen=True, slots=True)
class _Given:
    """Coordinates as given: x and y for PROJ, in the unit of the system that they are in, and what is in doubt."""

    xy: tuple[float, float]
    kind: str
    resolution_deg: float
    code: int
    zone: int = 0
    north: bool = True
    doubts: tuple[Doubt, ...] = ()
    read_as: str = ""


def locate(
    *,
    text: str | None = None,
    easting_m: float | None = None,
    northing_m: float | None = None,
    easting_ft: float | None = None,
    northing_ft: float | None = None,
    crs: str = "EPSG:4326",
    where: str = "position",
) -> Located:
    r"""The WGS84 position of what somebody wrote, with everything one needs to judge it.

    Parameters
    ----------
    text : str, optional
        Decimal degrees, degrees and minutes (and seconds), UTM, MGRS, a British or an Irish grid reference. With a
        projected `crs` also easting and northing, with or without letters and a unit.
    easting_m, northing_m : float, optional
        In place of `text`, with a projected `crs`: metres, also where the grid itself counts in feet. [m]
    easting_ft, northing_ft : float, optional
        The same with a grid that counts in feet, in its own foot.
    crs : str, default "EPSG:4326"
        EPSG code of the datum or grid. UTM text takes its datum from it; MGRS needs one on the ellipsoid of
        WGS84 or GRS80.
    where : str, default "position"
        Path of the position in its document, put before the field in every problem.

    Returns
    -------
    located : Located
        An MGRS reference stands for the centre of its square.

    Raises
    ------
    PlanError
        If the position cannot be read, can be read in two ways, or PROJ knows no transformation for the place
        (its "ballpark", which ignores the datum, is not accepted).

    Examples
    --------
    EPSG Guidance Note 7-2, WGS84 to ED50 in the North Sea, the other way round (published 53 48 33.820 N by another
    transformation, 1 m):

    >>> north_sea = locate(text="53°48'36.565''N 2°07'51.477''E", crs="EPSG:4230")
    >>> print(f"{north_sea.lat_deg:.4f} {north_sea.lon_deg:.4f}  {north_sea.transformation}, {north_sea.accuracy_m} m")
    53.8094 2.1296  ED50 to WGS 84 (18), 1.0 m
    """
    fields = (easting_m, northing_m), (easting_ft, northing_ft)
    return _located(text, *fields, crs, where)


def three_forms(lat_deg: float, lon_deg: float) -> Forms:
    """A WGS84 position as decimal degrees, as degrees, minutes and seconds, and as UTM and MGRS.

    Each of them leads back through `locate` to within 0.2 m (MGRS: 0.8 m).

    Raises
    ------
    ValueError
        If the latitude is outside -90 to 90 or the longitude outside -180 to 180 degrees.

    Examples
    --------
    33.3 N 44.4 E, published as 38n 444140.54 3684706.36 and 38SMB4414084706:

    >>> three_forms(33.3, 44.4).utm
    '38 north 444140.5 E 3684706.4 N'
    """
    if not (abs(lat_deg) <= 90 and abs(lon_deg) <= 180):
        raise ValueError(
            f"lat_deg must be from -90 to 90 and lon_deg from -180 to 180 degrees, got {lat_deg!r} and {lon_deg!r}"
        )
    decimal = f"{round(lat_deg, 6) + 0.0:.6f}, {round(lon_deg, 6) + 0.0:.6f}"  # + 0.0: no minus zero
    dms = f"{_dms(lat_deg, 'NS', width=2)} {_dms(lon_deg, 'EW', width=3)}"
    if not -80 <= lat_deg < 84:
        return Forms(decimal, dms, "", "")
    # what rounds to the equator counts as on it: letters would be those of the north, numbers those of the south
    lettered_deg = 0.0 if -4e-7 < lat_deg < 0 else lat_deg
    reference = str(MGRS().toMGRS(lettered_deg, lon_deg, MGRSPrecision=5))
    zone, north = int(reference[:2]), reference[2] >= "N"
    easting_m, northing_m = to_utm(lettered_deg, lon_deg, zone=zone, north=north)
    half = "north" if north else "south"
    utm = f"{zone} {half} {easting_m:.1f} E {round(northing_m, 1) + 0.0:.1f} N"
    mgrs = f"{reference[:3]} {reference[3:5]} {reference[5:10]} {reference[10:]}"
    return Forms(decimal, dms, utm, mgrs)


@lru_cache(maxsize=4096)
def _located(text: str | None, metres: _Fields, feet: _Fields, crs: str, where: str) -> Located:
    """`locate`, remembered: a network is located again at every look at it."""
    try:
        code = epsg_code(crs)
        given = _given(text, metres, feet, code=code, system=coordinate_system(code))
        shifted = to_wgs84(given.code, *given.xy, zone=given.zone, north=given.north)
    except PlanError as error:
        raise PlanError([replace(problem, where=f"{where}.{problem.where}") for problem in error.problems]) from None
    system = coordinate_system(given.code)
    if given.zone:
        system = utm_system(given.code, zone=given.zone, north=given.north)
    doubts = (*given.doubts, *_doubts(given, shifted, system))
    accuracy_m = shifted.datum_shift_m if shifted.accuracy_m is None else shifted.accuracy_m
    position_m = uncertainty(doubts, step_m=given.resolution_deg * METRES_PER_DEGREE_M, accuracy_m=accuracy_m)
    return Located(
        lat_deg=shifted.lat_deg,
        lon_deg=shifted.lon_deg,
        kind=given.kind,
        crs=f"EPSG:{given.code}",
        crs_name=system.name,
        datum=shifted.datum,
        transformation=shifted.transformation,
        accuracy_m=shifted.accuracy_m,
        accuracy_us=None if shifted.accuracy_m is None else worth(shifted.accuracy_m),
        better_transformation=shifted.better_transformation,
        datum_shift_m=shifted.datum_shift_m,
        resolution_deg=given.resolution_deg,
        resolution_m=given.resolution_deg * METRES_PER_DEGREE_M,
        utm_zone=system.utm_zone if system.is_projected else None,
        warnings=tuple(found.problem(where) for found in doubts),
        doubts=doubts,
        position_m=position_m,
        position_us=worth(position_m),
        read_as=given.read_as,
    )


def _given(text: str | None, metres: _Fields, feet: _Fields, *, code: int, system: CRS) -> _Given:
    """The coordinates out of whichever fields are filled."""
    filled = [pair for pair in (metres, feet) if pair != (None, None)]
    if len(filled) + (text is not None) != 1 or any(None in pair for pair in filled):
        refuse("a position is either a text, or an easting with a northing", "one of the two")
    if text is None:
        return _from_fields(metres, feet, code=code, system=system)
    if len(text) > LONGEST_TEXT_N:
        refuse(f"the text has {len(text)} characters", f"at most {LONGEST_TEXT_N}")
    if square := read_lettered(text, code=code):
        step_deg = square.side_m / METRES_PER_DEGREE_M
        xy = (square.easting_m, square.northing_m)
        return _Given(xy, square.kind, step_deg, square.code, read_as=square_says(text, *xy, side_m=square.side_m))
    reference = _squared(text, code=code, system=system) or read_utm(text, crs=system)
    if reference:
        return _in_zone(reference, code=code, system=system)
    if system.is_projected:
        plain = read_eastings(text, system=system)
        if not plain or max(map(abs, plain.numbers)) <= 360:
            refuse(
                f"{text!r} is not an easting and a northing, which crs EPSG:{code} ({system.name}) needs",
                f"easting and northing in metres, or degrees with crs EPSG:{datum_of(system).to_epsg()}",
            )
        return _on_grid(plain, code=code, system=system, rounded=not re.search(r"[0-9][.,][0-9]", text))
    try:
        angles = read_angles(text)
    except PlanError:
        refuse_other_letters(text)
        raise
    doubts = () if angles.hemisphere_said else hemisphere(angles.lat_deg, angles.lon_deg)
    xy = (angles.lon_deg, angles.lat_deg)
    return _Given(xy, angles.kind, angles.resolution_deg, code, doubts=doubts)


def _squared(text: str, *, code: int, system: CRS) -> GridReference | None:
    """An MGRS reference, on an ellipsoid whose squares are lettered so."""
    square = read_mgrs(text)
    ellipsoid = datum_of(system).ellipsoid
    if square and (ellipsoid is None or ellipsoid.name not in MGRS_ELLIPSOIDS):
        refuse(
            f"MGRS squares are lettered differently on {datum_of(system).name}, which crs EPSG:{code} rests on",
            "crs EPSG:4326, or easting and northing",
        )
    return square


def _in_zone(reference: GridReference, *, code: int, system: CRS) -> _Given:
    """A UTM or an MGRS reference, in agreement with the crs."""
    if system.is_projected and system.utm_zone != f"{reference.zone}{'N' if reference.north else 'S'}":
        refuse(
            f"the text names UTM zone {reference.zone} {'north' if reference.north else 'south'}, but crs "
            f"EPSG:{code} is {system.name}",
            f"the crs of the datum only, EPSG:{datum_of(system).to_epsg()}, or the two in agreement",
        )
    xy = (reference.easting_m, reference.northing_m)
    step_deg = reference.resolution_m / METRES_PER_DEGREE_M
    doubts = round_numbers(xy, unit_m=1.0, field="text") if reference.resolution_m == 1.0 else ()
    told = (
        square_says(f"the {reference.kind} reference", *xy, side_m=reference.resolution_m)
        if reference.kind == "MGRS"
        else order_says(*xy)
    )
    return _Given(xy, reference.kind, step_deg, code, reference.zone, reference.north, doubts, told)


def _from_fields(metres: _Fields, feet: _Fields, *, code: int, system: CRS) -> _Given:
    """Easting and northing from their own fields."""
    in_feet = metres == (None, None)
    unit, suffix = ("ft", "_ft") if in_feet else ("m", "_m")
    easting, northing = (float(value or 0.0) for value in (feet if in_feet else metres))
    if not system.is_projected:
        what = f"easting and northing need a grid, but crs EPSG:{code} ({system.name}) counts degrees"
        refuse(what, "the EPSG code of the grid, such as EPSG:27700 or EPSG:32633", field="crs")
    if in_feet and not counts_in_feet(system):
        what = f"easting_ft needs a grid in feet, but crs EPSG:{code} ({system.name}) counts in another unit"
        refuse(what, "easting_m and northing_m, or the EPSG code of a grid in feet", field="easting_ft")
    for axis, value in (("easting", easting), ("northing", northing)):
        if not abs(value) <= LARGEST_GRID_M:
            refuse(f"{value!r} {unit} is on no map", f"{axis} in the grid", field=axis + suffix)
    # numbers lose their trailing zeros, so the finer of the two tells how they were written
    step = min(10.0 ** max(-6, min(0, _exponent(value))) for value in (easting, northing))
    plain = Eastings((easting, northing), step, "own" if in_feet else "key", lettered=False, field="easting" + suffix)
    return _on_grid(plain, code=code, system=system, rounded=True)


def _on_grid(plain: Eastings, *, code: int, system: CRS, rounded: bool) -> _Given:
    """Two numbers in a grid, in the unit and the order that they were meant in; `rounded` where zeros may be unsaid."""
    xy, step_m, doubts = taken(plain, code=code, system=system)
    unit_m = step_m / plain.step
    if rounded and plain.step == 1.0:
        doubts = (*doubts, *round_numbers(plain.numbers, unit_m=unit_m, field=plain.field))
    if 0.0 in plain.numbers:
        doubts = (*doubts, zero("grid", field=plain.field))
    told = order_says(*plain.numbers, system=system)
    return _Given(xy, "easting and northing", step_m / METRES_PER_DEGREE_M, code, doubts=doubts, read_as=told)


def _exponent(value: float) -> int:
    """Power of ten of the last digit of a number as it was written."""
    exponent = Decimal(repr(value)).normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _doubts(given: _Given, shifted: Shifted, system: CRS) -> Iterator[Doubt]:
    """What is doubtful about a position by its digits, its datum and its place."""
    step_m = given.resolution_deg * METRES_PER_DEGREE_M
    if step_m > COARSEST_STEP_DEG * METRES_PER_DEGREE_M * (1 + 1e-9):
        yield coarse(step_m, square=given.kind not in KINDS.values())
    yield from datum_doubt(shifted)
    if shifted.outside:
        yield outside(shifted, system_name=system.name)
    if system.is_geographic and 0 in (shifted.lat_deg, shifted.lon_deg):
        both = shifted.lat_deg == 0 == shifted.lon_deg
        yield zero("origin" if both else "degrees", field="text")


def _dms(angle_deg: float, letters: str, *, width: int) -> str:
    """Degrees, minutes and seconds to a hundredth, carried properly."""
    hundredths = round(abs(angle_deg) * 360_000)
    minutes, rest = divmod(hundredths, 6_000)
    degrees, minutes = divmod(minutes, 60)
    letter = letters[1 if angle_deg < 0 else 0]
    return f"{degrees:0{width}d}°{minutes:02d}'{rest // 100:02d}.{rest % 100:02d}\"{letter}"
