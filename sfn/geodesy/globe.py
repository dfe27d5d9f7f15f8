"""Whether two numbers can be a latitude and a longitude: the one place that says so, in words."""

import math

from sfn.errors import PlanError, Problem

GREATEST_LAT_DEG = 90.0
GREATEST_LON_DEG = 180.0
# Paths that are worked out: signals of a network are below every noise long before the first, and P.1812 is over
# terrain profiles that would fill the memory; a map or a road may lie across a country that one site does not serve.
FURTHEST_PATH_M = 500_000.0
FURTHEST_REACH_M = 1_500_000.0


def on_globe(
    lat_deg: float, lon_deg: float, *, where: str = "position", lat_field: str = "lat", lon_field: str = "lon"
) -> tuple[float, float]:
    """The latitude and longitude as given, when they are those of a place.

    Parameters
    ----------
    lat_deg, lon_deg : float
        Latitude and longitude. [degrees]
    where : str, default "position"
        What the problems are said of: an option, a path into the document, the name of an argument.
    lat_field, lon_field : str
        What the two are called where they were typed.

    Returns
    -------
    lat_deg, lon_deg : float
        Unchanged. [degrees]

    Raises
    ------
    PlanError
        If the latitude lies beyond 90 degrees, the longitude beyond 180, or one is infinite or not a number; with
        what would be right, and whether the two stand in the wrong order.

    Examples
    --------
    >>> on_globe(36.205, -84.21)
    (36.205, -84.21)
    """
    problems = []
    for name, field, value, limit_deg, beyond in (
        ("latitude", lat_field, lat_deg, GREATEST_LAT_DEG, "latitude-beyond-90"),
        ("longitude", lon_field, lon_deg, GREATEST_LON_DEG, "longitude-beyond-180"),
    ):
        said = {"typed": f"{value:.10g}", "limit": f"{limit_deg:g}"}
        expected = f"{name} from {-limit_deg:g} to {limit_deg:g} degrees"
        if not math.isfinite(value):
            what, code = f"the {name} {value} is not a number", f"{name}-not-a-number"
        elif abs(value) > limit_deg:
            what, code = f"the {name} {value:.10g} is beyond {limit_deg:g} degrees", beyond
            hint, pieces = _hint(name, value, other_deg=lon_deg if name == "latitude" else lat_deg)
            expected, said = hint + expected, pieces | said
        else:
            continue
        values = {f"{field}_deg": value} if math.isfinite(value) else {}
        problems.append(Problem(where, what, expected, code=code, fields=(field,), values=values, said=said))
    if problems:
        raise PlanError(problems)
    return lat_deg, lon_deg


def _hint(name: str, value_deg: float, *, other_deg: float) -> tuple[str, dict[str, str]]:
    """The slip that explains a number out of range, where there is one, in words and in pieces."""
    if name == "latitude" and abs(value_deg) <= GREATEST_LON_DEG and abs(other_deg) <= GREATEST_LAT_DEG:
        return "was longitude written first? ", {"exchanged": "yes"}
    if name == "longitude" and abs(value_deg) <= 2 * GREATEST_LON_DEG:
        meant = f"{value_deg - math.copysign(360.0, value_deg):.10g}"
        return f"{value_deg:.10g} is written {meant}; ", {"meant": meant}
    return "", {}
