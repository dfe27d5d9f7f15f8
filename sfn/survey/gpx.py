"""Points of a GPX file (GPX 1.0 and 1.1, topografix.com): track points, way points, route points, in document order."""

from dataclasses import dataclass
from typing import Any

from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.position import on_globe

MOST_BYTES = 50_000_000
KINDS = ("trkpt", "wpt", "rtept")
_EXPECTED = "lat and lon in degrees"


@dataclass(frozen=True, slots=True)
class GpxPoint:
    """One point: its place, what kind it is, and the texts of the elements in it."""

    kind: str
    lat_deg: float
    lon_deg: float
    texts: dict[str, str]
    number: int = 0
    """Counted from 1 in the file."""
    wrong: str = ""
    """Why it has no place; empty where it has one."""


def gpx_points(content: bytes, *, source: str, expected: str = _EXPECTED, lenient: bool = False) -> list[GpxPoint]:
    """Every point of a GPX file.

    Parameters
    ----------
    content : bytes
    source : str
        What messages call the file.
    expected : str
        What a point must hold, for messages.
    lenient : bool
        Points without a place on earth are given with NaN for it, and why.

    Raises
    ------
    PlanError
        If it is too large, no GPX, or a point has no place on earth; problems name points by their number.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml import ElementTree
    from defusedxml.common import DefusedXmlException

    if len(content) > MOST_BYTES:
        raise PlanError(
            [
                Problem(
                    source,
                    f"has {len(content)} bytes",
                    f"{MOST_BYTES} at most",
                    code="file-too-large",
                    values={"size_bytes": len(content), "most_bytes": MOST_BYTES},
                )
            ]
        )
    try:
        root = ElementTree.fromstring(content)
    except (ParseError, DefusedXmlException) as error:
        raise PlanError(
            [Problem(source, f"is no GPX that can be read ({error})", "a GPX file", code="file-unreadable")]
        ) from error
    found, problems = [], []
    elements = [(name, e) for e in root.iter() if (name := local_name(e.tag)) in KINDS]
    for number, (kind, element) in enumerate(elements, start=1):
        try:
            found.append(_point(kind, element, number))
        except ValueError as error:
            if lenient:
                nan = float("nan")
                found.append(GpxPoint(kind, nan, nan, _texts(element), number, str(error)))
                continue
            problems.append(
                Problem(
                    f"{source} point {number}", str(error), expected, code="point-unreadable", values={"point": number}
                )
            )
    if problems:
        raise PlanError(at_most(problems, source=source))
    return found


def local_name(tag: object) -> str:
    """Name of an element without its namespace."""
    return str(tag).rsplit("}", 1)[-1]


def _point(kind: str, element: Any, number: int) -> GpxPoint:
    """One point."""
    try:
        lat, lon = float(element.get("lat")), float(element.get("lon"))
    except (TypeError, ValueError):
        raise ValueError("has no position") from None
    try:
        on_globe(lat, lon)
    except PlanError as refused:
        raise ValueError(f"stands at {lat:g},{lon:g}: {refused.problems[0].what}") from None
    return GpxPoint(kind, lat, lon, _texts(element), number)


def _texts(element: Any) -> dict[str, str]:
    """Texts of the elements in a point, by name."""
    return {local_name(e.tag): (e.text or "").strip() for e in element.iter()}
