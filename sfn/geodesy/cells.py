"""A position in the cells of a table: in one, latitude and longitude in two, or easting and northing."""

import math
from typing import Any

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate
from sfn.plan.rows import Row

# What people call the columns of a place; the first name is ours.
COLUMNS: dict[str, tuple[str, ...]] = {
    "position": ("position", "coordinates"),
    "lat": ("lat", "latitude", "lat deg"),
    "lon": ("lon", "long", "longitude", "lng", "lon deg"),
    "easting_m": ("easting_m", "easting"),
    "northing_m": ("northing_m", "northing"),
    "easting_ft": ("easting_ft", "easting"),
    "northing_ft": ("northing_ft", "northing"),
    "crs": ("crs", "datum", "epsg"),
}
_DEGREES = {"degrees": 1.0, "deg": 1.0, "\u00b0": 1.0}
# The grid's own foot: a survey foot in some grids, the international one in others.
_FEET = {"ft": 1.0, "feet": 1.0}
UNITS: dict[str, dict[str, float]] = {
    "lat": _DEGREES,
    "lon": _DEGREES,
    "easting_m": {"m": 1.0, "km": 1000.0},
    "northing_m": {"m": 1.0, "km": 1000.0},
    "easting_ft": _FEET,
    "northing_ft": _FEET,
}


def position_of(row: Row) -> tuple[dict[str, Any], Located] | None:
    """A position as the document has it, and where it is; None where there is none, or a problem was noted."""
    crs = row.text("crs", empty=True) or "EPSG:4326"
    crs = f"EPSG:{crs}" if crs.isdigit() else crs
    given: dict[str, Any] | None = None
    if text := row.text("position", empty=True):
        given = {"text": text, "crs": crs}
    elif cells := _two(row, "lat", "lon"):
        given = {"text": f"{cells[0].replace(',', '.')}, {cells[1].replace(',', '.')}", "crs": crs}
    else:
        unit = next((unit for unit in ("m", "ft") if _two(row, f"easting_{unit}", f"northing_{unit}")), "")
        keys = [f"easting_{unit}", f"northing_{unit}"] if unit else []
        numbers = {key: row.number(key, least=-1e8, greatest=1e8, unit=unit) for key in keys}
        given = {**numbers, "crs": crs} if numbers and not any(map(math.isnan, numbers.values())) else None
    if given is None:
        return None
    try:
        return given, locate(**given, where=row.where())
    except PlanError as error:
        row.problems.extend(error.problems)
        return None


def _two(row: Row, first: str, second: str) -> tuple[str, str] | None:
    """Both cells; None, with a problem noted when only one is filled."""
    cells = row.text(first, empty=True), row.text(second, empty=True)
    if bool(cells[0]) != bool(cells[1]):
        row.no(None, f"has one of {first} and {second}", "both, or a position", code="half-a-position")
    return cells if all(cells) else None
