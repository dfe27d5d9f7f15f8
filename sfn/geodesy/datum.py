"""Coordinate reference systems by EPSG code, and the way from any of them to WGS84.

PROJ keeps a list of transformations between datums, each with an area and an accuracy; which one is best depends on
the place. Many of the best need a grid of shifts that is not part of this installation. Traps that are dealt with
here: PROJ answers with a "ballpark" transformation (no shift at all) where it knows none: refused; the
choice and its accuracy are only known for a named area: a small one round the place is always given; PROJ's
warning about missing grids carries a network address: the same is said in words of ours.
"""

import math
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion
from pyproj.database import query_crs_info
from pyproj.enums import PJType, TransformDirection
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from sfn.errors import PlanError, Problem
from sfn.geodesy.line import inverse

WGS84_CODE = 4326
WGS84_NAME = "WGS 84"
UTM_CODES = {"N": 32600, "S": 32700}  # plus the zone: WGS 84 / UTM
NO_SHIFT = "none needed: already WGS 84"
# How far round the place a transformation must hold.
AREA_HALF_WIDTH_DEG = 0.01
# Grids are used this far beyond the area that they are made for, and neighbouring UTM zones overlap so far.
AREA_MARGIN_DEG = 0.5
# Where UTM zones are wider than 6 degrees, which the area that EPSG names for a zone leaves out: west Norway (32V), and
# Svalbard, where 32X, 34X and 36X do not exist. South, north, west, width. (NGA.STND.0037, DMA TM 8358.1; from memory.)
WIDENED_ZONES = {
    "31N": ((72.0, 84.0, 0.0, 9.0),),
    "32N": ((56.0, 64.0, 3.0, 9.0),),
    "33N": ((72.0, 84.0, 9.0, 12.0),),
    "35N": ((72.0, 84.0, 21.0, 12.0),),
    "37N": ((72.0, 84.0, 33.0, 9.0),),
}
CODE_EXPECTED = "an EPSG code such as EPSG:4326 (WGS 84), EPSG:4230 (ED50), EPSG:27700 (British National Grid)"

# PROJ 9.8 says so behind the name of a transformation, older ones as a step of their own.
_AXIS_ORDER = re.compile(r"\s*\(with axis order normali[sz]ed[^)]*\)")
_CODE = re.compile(r"\s*(?:(?:urn:ogc:def:crs:)?EPSG\s*:\s*:?)?\s*([0-9]{4,6})\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Shifted:
    """A place in WGS84 and how it got there.

    Parameters
    ----------
    lat_deg, lon_deg : float
        WGS84. [degrees]
    datum : str
        Name of the datum's geographic system that the coordinates were given in.
    transformation : str
        Name of the transformation that PROJ chose for this place.
    accuracy_m : float or None
        Its stated accuracy; None where none is stated. [m]
    better_transformation : str or None
        A more accurate one with the grid that it needs and that is not installed.
    datum_shift_m : float
        How far off the place would be if its coordinates, counted from Greenwich, were read as WGS84. [m]
    outside : str
        The area that the coordinate reference system is meant for, if the place lies outside it; else empty.
    outside_m : float
        How far it lies outside that area. [m]
    area_said, better_said : mapping of str to str
        That area and that transformation in pieces, for whoever says them in another language.
    """

    lat_deg: float
    lon_deg: float
    datum: str
    transformation: str
    accuracy_m: float | None
    better_transformation: str | None
    datum_shift_m: float
    outside: str
    outside_m: float
    area_said: Mapping[str, str] = field(default_factory=dict, compare=False)
    better_said: Mapping[str, str] = field(default_factory=dict, compare=False)


def epsg_code(crs: str) -> int:
    """The number of an EPSG code as people write it: ``EPSG:4230``, ``epsg 4230``, ``4230``.

    Raises
    ------
    PlanError
        If it is not written like an EPSG code; a known name is answered with its code.
    """
    found = _CODE.fullmatch(crs.replace("EPSG ", "EPSG:"))
    if found:
        return int(found[1])
    expected = " or ".join(_known_names().get(crs.strip().casefold(), ())[:3]) or CODE_EXPECTED
    said = {
        "typed": crs,
        "near": None if expected == CODE_EXPECTED else ", ".join(_known_names()[crs.strip().casefold()][:3]),
    }
    raise PlanError([Problem("crs", f"{crs!r} is not an EPSG code", expected, code="crs-unknown", said=said)])


@lru_cache(maxsize=1)
def _known_names() -> dict[str, tuple[str, ...]]:
    """Every name of a geographic or projected system, without case, and the codes that bear it."""
    named: dict[str, tuple[str, ...]] = {}
    for info in query_crs_info("EPSG", [PJType.GEOGRAPHIC_2D_CRS, PJType.PROJECTED_CRS]):
        key = info.name.casefold()
        named[key] = (*named.get(key, ()), f"EPSG:{info.code} ({info.name})")
    return named


@lru_cache(maxsize=256)
def coordinate_system(code: int) -> CRS:
    """The horizontal coordinate reference system of an EPSG code.

    Raises
    ------
    PlanError
        If PROJ does not know the code, or it is not a system of latitude and longitude in degrees or of easting and
        northing.
    """
    try:
        crs = CRS.from_epsg(code)
    except CRSError:
        raise PlanError(
            [
                Problem(
                    "crs",
                    f"EPSG:{code} is not known to PROJ",
                    CODE_EXPECTED,
                    code="crs-unknown",
                    said={"number": f"EPSG:{code}"},
                )
            ]
        ) from None
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    crs = crs.to_2d()
    axes = {axis.name.lower() for axis in crs.axis_info}
    if crs.is_geographic and not all(axis.unit_name == "degree" for axis in crs.axis_info):
        what = f"EPSG:{code} ({crs.name}) counts in {crs.axis_info[0].unit_name}s, not degrees"
        raise PlanError(
            [Problem("crs", what, "a system in degrees, or a grid of eastings and northings", code="crs-unusable")]
        )
    if crs.is_projected and axes != {"easting", "northing"}:
        what = f"EPSG:{code} ({crs.name}) counts along {' and '.join(sorted(axes))}"
        raise PlanError([Problem("crs", what, "a system of easting and northing", code="crs-unusable")])
    if not (crs.is_geographic or crs.is_projected):
        what = f"EPSG:{code} ({crs.name}) is a {crs.type_name}, not a system of positions on the ground"
        raise PlanError([Problem("crs", what, CODE_EXPECTED, code="crs-unusable")])
    return crs


@lru_cache(maxsize=256)
def utm_system(code: int, *, zone: int, north: bool) -> CRS:
    """The UTM zone on the datum of an EPSG code; the code's own system where it is that very zone."""
    crs = coordinate_system(code)
    half = "N" if north else "S"
    if crs.is_projected and crs.utm_zone == f"{zone}{half}":
        return crs
    datum = datum_of(crs)
    if datum.name == WGS84_NAME:  # the ready-made one is twenty times quicker to make
        return CRS.from_epsg(UTM_CODES["N" if north else "S"] + zone)
    name = f"{datum.name} / UTM zone {zone}{half}"
    return ProjectedCRS(UTMConversion(str(zone), half), name=name, geodetic_crs=datum)


def datum_of(crs: CRS) -> CRS:
    """The geographic system that a system's positions rest on."""
    datum = crs.geodetic_crs
    if datum is None:  # every geographic and projected system has one; `coordinate_system` lets no other through
        raise PlanError([Problem("crs", f"{crs.name} rests on no datum", CODE_EXPECTED, code="crs-unusable")])
    return datum


@lru_cache(maxsize=4096)
def to_wgs84(code: int, x: float, y: float, *, zone: int = 0, north: bool = True) -> Shifted:
    """A place in WGS84, through the transformation that PROJ holds best there.

    Parameters
    ----------
    code : int
        EPSG code of the datum or grid.
    x, y : float
        Longitude and latitude in degrees, or easting and northing in the unit of the grid.
    zone : int, default 0
        UTM zone on the datum of `code`; 0 where `code` itself is the system of `x` and `y`.
    north : bool, default True
        Which half of the UTM zone.

    Returns
    -------
    shifted : Shifted
        The place and all that is known of the transformation.

    Raises
    ------
    PlanError
        If the numbers lie outside what the system can express, or PROJ knows no transformation for the place.

    Notes
    -----
    Results are kept, not transformers: those of a group must not be shared between threads.
    """
    crs = _system(code, zone=zone, north=north)
    name = crs.name if zone else f"EPSG:{code} ({crs.name})"
    datum = _datum(code)
    own_lon, own_lat = x, y
    if crs.is_projected:
        own_lon, own_lat = _transformed(_unprojection(code, zone=zone, north=north), x, y, name=name)
    near_lat, near_lon = own_lat, own_lon + _meridian(datum)
    outside = _outside(crs, near_lat, near_lon)
    if datum.name == WGS84_NAME:
        return Shifted(own_lat, own_lon, datum.name, NO_SHIFT, 0.0, None, 0.0, *outside)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        area = _area(near_lat, near_lon)
        group = TransformerGroup(datum, "EPSG:4326", always_xy=True, area_of_interest=area)  # type: ignore[arg-type]  # pyproj's stub names its inner class
    best = group.transformers[0] if group.transformers else None
    missing = [operation for operation in group.unavailable_operations if operation.accuracy >= 0]
    missing.sort(key=lambda operation: operation.accuracy)
    better, better_said = None, {}
    if missing and (best is None or not 0 <= best.accuracy <= missing[0].accuracy):
        grids = ", ".join(grid.short_name for grid in missing[0].grids if not grid.available)
        name_there, accuracy = transformation_name(missing[0].name), missing[0].accuracy
        better = f"{name_there}, {accuracy:g} m: needs the grid {grids}, which is not installed"
        better_said = {"better_name": name_there, "better_to": f"{accuracy:g} m", "grids": grids}
    if best is None or "ballpark" in best.description.lower():
        what = f"PROJ knows no transformation from {datum.name} to WGS 84 near {near_lat:.2f}, {near_lon:.2f}"
        tail = f" ({better})" if better else ""
        expected = f"the position in WGS 84 (EPSG:4326) or in a datum that is used there{tail}; are the numbers right?"
        said = {"datum": datum.name, "near": f"{near_lat:.2f}, {near_lon:.2f}", **better_said}
        raise PlanError([Problem("crs", what, expected, code="position-no-transformation", said=said)])
    lon, lat = _transformed(best, own_lon, own_lat, name=name)
    shift_m = float(inverse(near_lat, near_lon, lat, lon)[0])
    accuracy_m = float(best.accuracy) if best.accuracy >= 0 else None
    chosen = transformation_name(best.description)
    return Shifted(lat, lon, datum.name, chosen, accuracy_m, better, shift_m, *outside, better_said)


def own_degrees(code: int, x: float, y: float) -> tuple[float | None, float | None, bool]:
    """A place of a grid on its own datum, counted from Greenwich, and whether it lies outside the grid's area.

    Parameters
    ----------
    code : int
        EPSG code of a projected system.
    x, y : float
        Easting and northing in its unit.

    Returns
    -------
    lat_deg, lon_deg : float or None
        None where the numbers lie beyond what the system can express. [degrees]
    outside : bool
    """
    crs = coordinate_system(code)
    try:
        lon, lat = _transformed(_unprojection(code, zone=0, north=True), x, y, name=crs.name)
    except PlanError:
        return None, None, True
    lon += _meridian(_datum(code))
    return lat, lon, bool(_outside(crs, lat, lon)[0])


def _meridian(datum: CRS) -> float:
    """East of Greenwich by how much a datum counts its longitudes. [degrees]"""
    meridian = datum.prime_meridian
    return meridian.longitude * math.degrees(float(meridian.unit_conversion_factor)) if meridian else 0.0


def _system(code: int, *, zone: int, north: bool) -> CRS:
    """The system of a code, or the UTM zone on its datum."""
    return utm_system(code, zone=zone, north=north) if zone else coordinate_system(code)


@lru_cache(maxsize=256)
def _unprojection(code: int, *, zone: int, north: bool) -> Transformer:
    """From a grid to longitude and latitude on its own datum. (One that may be shared between threads.)"""
    crs = _system(code, zone=zone, north=north)
    return Transformer.from_crs(crs, _datum(code), always_xy=True)


@lru_cache(maxsize=256)
def _datum(code: int) -> CRS:
    """The geographic system, without heights, that the positions of a code rest on."""
    return datum_of(coordinate_system(code)).to_2d()


def to_utm(lat_deg: float, lon_deg: float, *, zone: int, north: bool) -> tuple[float, float]:
    """Easting and northing of a WGS84 place in a UTM zone. [m]

    Raises
    ------
    PlanError
        If the place is too far from the zone to have any.
    """
    backwards = TransformDirection.INVERSE
    unprojection = _unprojection(WGS84_CODE, zone=zone, north=north)
    easting_m, northing_m = unprojection.transform(lon_deg, lat_deg, direction=backwards)
    if not (math.isfinite(easting_m) and math.isfinite(northing_m)):
        place = f"{lat_deg:.4f}, {lon_deg:.4f}"
        what, said = f"{place} has no coordinates in UTM zone {zone}", {"place": place, "zone": f"{zone}"}
        raise PlanError([Problem("text", what, "a zone nearer by", code="position-nowhere", said=said)])
    return float(easting_m), float(northing_m)


def _transformed(transformer: Transformer, x: float, y: float, *, name: str) -> tuple[float, float]:
    """The transformed pair, or a refusal when it lies beyond what the system can express."""
    try:
        first, second = transformer.transform(x, y, errcheck=False)
    except ProjError:
        first = second = math.inf
    if not (math.isfinite(first) and math.isfinite(second) and abs(second) <= 90):
        numbers = f"{x:.10g}, {y:.10g}"
        what, said = f"{numbers} lies nowhere in {name}", {"numbers": numbers, "system": name}
        raise PlanError([Problem("text", what, "other numbers, or another crs", code="position-nowhere", said=said)])
    return float(first), float(second)


def _area(lat_deg: float, lon_deg: float) -> AreaOfInterest:
    """A small area round a place, kept on the globe."""
    half = AREA_HALF_WIDTH_DEG
    lat, lon = min(max(lat_deg, half - 90), 90 - half), min(max(lon_deg, half - 180), 180 - half)
    return AreaOfInterest(lon - half, lat - half, lon + half, lat + half)


def _outside(crs: CRS, lat_deg: float, lon_deg: float) -> tuple[str, float, dict[str, str]]:
    """Where the system is meant to be used, if that is clearly not here, how far away that is [m], and its edges."""
    area = crs.area_of_use
    if area is None:
        return "", 0.0, {}
    margin = AREA_MARGIN_DEG
    for south, north, west, width in WIDENED_ZONES.get(crs.utm_zone or "", ()):
        if south <= lat_deg <= north and (lon_deg - west) % 360 <= width:
            return "", 0.0, {}
    width = (area.east - area.west) % 360 or 360
    east_of_west = (lon_deg - area.west + margin) % 360
    if area.south - margin <= lat_deg <= area.north + margin and east_of_west <= width + 2 * margin:
        return "", 0.0, {}
    east = (lon_deg - area.west) % 360
    nearest_lon = lon_deg if east <= width else area.west if east - width > 360 - east else area.east
    nearest_lat = min(max(lat_deg, area.south), area.north)
    away_m = float(inverse(lat_deg, lon_deg, nearest_lat, nearest_lon)[0])
    edges = {side: f"{getattr(area, side):g}" for side in ("south", "north", "west", "east")}
    return "{south} to {north} north, {west} to {east} east".format_map(edges), away_m, edges


def transformation_name(description: str) -> str:
    """The datum transformations in a description of PROJ, without axis orders and map projections."""
    steps = [
        step
        for step in _AXIS_ORDER.sub("", description).split(" + ")
        if not step.startswith(("axis order", "Conversion from"))
    ]
    shifts = [step for step in steps if " to " in step] or steps
    return " + ".join(shifts) or description
