"""Positions as people hold them, in whatever datum, and their WGS84 coordinates.

The story: the text is read (`angles`, `zones`), or easting and northing are taken; then PROJ's best transformation
for that very place leads to WGS84 (`datum`), with its accuracy in metres and in microseconds.
"""

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from mgrs import MGRS
from pyproj import CRS

from sfn.errors import PlanError, Problem
from sfn.geodesy.angles import read_angles, refuse
from sfn.geodesy.datum import Shifted, coordinate_system, datum_of, epsg_code, to_utm, to_wgs84, utm_system
from sfn.geodesy.globe import on_globe
from sfn.geodesy.line import travel_time
from sfn.geodesy.zones import GridReference, read_eastings, read_mgrs, read_utm

__all__ = ["Forms", "Located", "locate", "on_globe", "three_forms"]

LONGEST_TEXT_N = 200
# 0.1 arc-second, 3.1 m or 10 ns: what a position should at least be written to.
COARSEST_STEP_DEG = 0.1 / 3600
METRES_PER_DEGREE_M = 111_132.0  # of latitude at 45 degrees
LARGEST_GRID_M = 1e8
# Lettering of MGRS squares is that of WGS84 and GRS80; on other ellipsoids letters shift.
MGRS_ELLIPSOIDS = ("WGS 84", "GRS 1980")


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
        What is doubtful about it.
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


@dataclass(frozen=True, slots=True)
class Forms:
    """One position in the forms that a field sheet prints. UTM and MGRS are empty beyond 84 north and 80 south."""

    decimal: str
    dms: str
    utm: str
    mgrs: str


@dataclass(frozen=True, slots=True)
class _Given:
    """Coordinates as given: x and y for PROJ, in the unit of the system that they are in."""

    xy: tuple[float, float]
    kind: str
    resolution_deg: float
    zone: int = 0
    north: bool = True


def locate(
    *,
    text: str | None = None,
    easting_m: float | None = None,
    northing_m: float | None = None,
    crs: str = "EPSG:4326",
    where: str = "position",
) -> Located:
    r"""The WGS84 position of what somebody wrote, with everything one needs to judge it.

    Parameters
    ----------
    text : str, optional
        Decimal degrees, degrees and minutes (and seconds), UTM or MGRS. With a projected `crs` also easting and
        northing in metres.
    easting_m, northing_m : float, optional
        In place of `text`, with a projected `crs`. [m]
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
    return _located(text, easting_m, northing_m, crs, where)


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
def _located(text: str | None, easting_m: float | None, northing_m: float | None, crs: str, where: str) -> Located:
    """`locate`, remembered: a network is located again at every look at it."""
    try:
        code = epsg_code(crs)
        system = coordinate_system(code)
        given = _given(text, easting_m, northing_m, code=code, system=system)
        shifted = to_wgs84(code, *given.xy, zone=given.zone, north=given.north)
    except PlanError as error:
        raise PlanError([_at(where, problem) for problem in error.problems]) from None
    if given.zone:
        system = utm_system(code, zone=given.zone, north=given.north)
    accuracy_us = None if shifted.accuracy_m is None else float(travel_time(shifted.accuracy_m))
    return Located(
        lat_deg=shifted.lat_deg,
        lon_deg=shifted.lon_deg,
        kind=given.kind,
        crs=f"EPSG:{code}",
        crs_name=system.name,
        datum=shifted.datum,
        transformation=shifted.transformation,
        accuracy_m=shifted.accuracy_m,
        accuracy_us=accuracy_us,
        better_transformation=shifted.better_transformation,
        datum_shift_m=shifted.datum_shift_m,
        resolution_deg=given.resolution_deg,
        resolution_m=given.resolution_deg * METRES_PER_DEGREE_M,
        utm_zone=system.utm_zone if system.is_projected else None,
        warnings=tuple(_at(where, problem) for problem in _doubts(given, shifted, system)),
    )


def _given(text: str | None, easting_m: float | None, northing_m: float | None, *, code: int, system: CRS) -> _Given:
    """The coordinates out of whichever fields are filled."""
    numbers = (easting_m, northing_m)
    if (text is None) == (numbers == (None, None)) or (text is None and None in numbers):
        refuse("a position is either a text, or an easting with a northing", "one of the two")
    if text is None:
        return _from_fields(float(easting_m or 0.0), float(northing_m or 0.0), code=code, system=system)
    if len(text) > LONGEST_TEXT_N:
        refuse(f"the text has {len(text)} characters", f"at most {LONGEST_TEXT_N}")
    square = read_mgrs(text)
    ellipsoid = datum_of(system).ellipsoid
    if square and (ellipsoid is None or ellipsoid.name not in MGRS_ELLIPSOIDS):
        refuse(
            f"MGRS squares are lettered differently on {datum_of(system).name}, which crs EPSG:{code} rests on",
            "crs EPSG:4326, or easting and northing",
        )
    reference = square or read_utm(text, crs=system)
    if reference:
        if system.is_projected and system.utm_zone != f"{reference.zone}{'N' if reference.north else 'S'}":
            refuse(
                f"the text names UTM zone {reference.zone} {'north' if reference.north else 'south'}, but crs "
                f"EPSG:{code} is {system.name}",
                f"the crs of the datum only, EPSG:{datum_of(system).to_epsg()}, or the two in agreement",
            )
        return _from_grid(reference, system=system)
    if system.is_projected:
        plain = read_eastings(text)
        if not plain or max(abs(plain.easting_m), abs(plain.northing_m)) <= 360:
            refuse(
                f"{text!r} is not an easting and a northing, which crs EPSG:{code} ({system.name}) needs",
                f"easting and northing in metres, or degrees with crs EPSG:{datum_of(system).to_epsg()}",
            )
        return _from_grid(plain, system=system)
    angles = read_angles(text)
    return _Given((angles.lon_deg, angles.lat_deg), angles.kind, angles.resolution_deg)


def _from_fields(easting_m: float, northing_m: float, *, code: int, system: CRS) -> _Given:
    """Easting and northing from their own fields."""
    if not system.is_projected:
        what = f"easting and northing need a grid, but crs EPSG:{code} ({system.name}) counts degrees"
        raise PlanError([Problem("crs", what, "the EPSG code of the grid, such as EPSG:27700 or EPSG:32633")])
    for field, value in (("easting_m", easting_m), ("northing_m", northing_m)):
        if not abs(value) <= LARGEST_GRID_M:
            raise PlanError([Problem(field, f"{value!r} m is on no map", "metres of easting and northing")])
    # numbers lose their trailing zeros, so the finer of the two tells how they were written
    step_m = min(10.0 ** min(0, _exponent(value)) for value in (easting_m, northing_m))
    return _from_grid(GridReference(easting_m, northing_m, step_m, "easting and northing"), system=system)


def _exponent(value: float) -> int:
    """Power of ten of the last digit of a number as it was written."""
    exponent = Decimal(repr(value)).normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _from_grid(reference: GridReference, *, system: CRS) -> _Given:
    """Metres in the unit of the grid."""
    unit_m = 1.0 if reference.zone else system.axis_info[0].unit_conversion_factor
    return _Given(
        (reference.easting_m / unit_m, reference.northing_m / unit_m),
        reference.kind,
        reference.resolution_m / METRES_PER_DEGREE_M,
        reference.zone,
        reference.north,
    )


def _doubts(given: _Given, shifted: Shifted, system: CRS) -> list[Problem]:
    """What is doubtful about a position, by itself."""
    doubts = []
    if given.resolution_deg > COARSEST_STEP_DEG * (1 + 1e-9):
        step_m = given.resolution_deg * METRES_PER_DEGREE_M
        what = f"the position is written to {step_m:,.0f} m only, that is {float(travel_time(step_m)):,.2f} us"
        expected = "0.1 arc-second or finer: seconds with a decimal, degrees with five, metres"
        doubts.append(Problem("text", what, expected, "warning"))
    if shifted.accuracy_m is None:
        what = f"no accuracy is stated for the transformation {shifted.transformation}"
        doubts.append(Problem("crs", what, "a position surveyed in WGS 84", "warning"))
    if shifted.better_transformation:
        what = f"{shifted.transformation} is good to {shifted.accuracy_m or 0:g} m; there is a better one"
        doubts.append(Problem("crs", what, shifted.better_transformation, "warning"))
    if shifted.outside:
        what = f"{shifted.lat_deg:.4f}, {shifted.lon_deg:.4f} lies outside the area of {system.name}"
        doubts.append(Problem("crs", what, f"a place within {shifted.outside}", "warning"))
    unit = system.axis_info[0]
    if system.is_projected and not given.zone and unit.unit_conversion_factor != 1.0:
        what = f"{system.name} counts in {unit.unit_name}; the numbers were taken as metres and converted"
        doubts.append(Problem("crs", what, "metres", "warning"))
    if shifted.lat_deg == 0 and shifted.lon_deg == 0:
        doubts.append(Problem("text", "0, 0 lies in the Gulf of Guinea: an empty cell?", "the position", "warning"))
    return doubts


def _at(where: str, problem: Problem) -> Problem:
    """The problem at its place in the document."""
    return Problem(f"{where}.{problem.where}", problem.what, problem.expected, problem.severity)


def _dms(angle_deg: float, letters: str, *, width: int) -> str:
    """Degrees, minutes and seconds to a hundredth, carried properly."""
    hundredths = round(abs(angle_deg) * 360_000)
    minutes, rest = divmod(hundredths, 6_000)
    degrees, minutes = divmod(minutes, 60)
    letter = letters[1 if angle_deg < 0 else 0]
    return f"{degrees:0{width}d}°{minutes:02d}'{rest // 100:02d}.{rest % 100:02d}\"{letter}"
