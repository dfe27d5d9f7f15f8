"""Contours that somebody else drew, such as a licence's: areas out of GeoJSON or KML."""

from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element, ParseError

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.field.contours import Area, Ring
from sfn.plan.json_parts import JsonMost, read_within
from sfn.units import grouped

GREATEST_FILE_BYTES = 20_000_000
MOST_POINTS = 500_000
_PARTS = JsonMost(values=4 * MOST_POINTS, texts=100_000, lists=MOST_POINTS + 20_000, objects=20_000, keys=100_000)
# A line whose ends lie this close together was meant to be closed.
CLOSING_DEG = 0.02
_EXPECTED = "a GeoJSON or KML file with polygons, or with closed lines"


def read_areas(text: bytes) -> tuple[Area, ...]:
    """Areas drawn in a GeoJSON or KML file.

    Parameters
    ----------
    text : bytes
        The file: GeoJSON (RFC 7946) or KML 2.2. Polygons, multipolygons, and lines that close count; other
        geometries are refused, not passed over.

    Returns
    -------
    areas : tuple of Area

    Raises
    ------
    PlanError
        If the file is too large, cannot be read, holds no area, or holds something that is none; each by its place.
    """
    if len(text) > GREATEST_FILE_BYTES:
        raise PlanError(
            [
                Problem(
                    "file",
                    f"is {grouped(len(text))} bytes long",
                    f"at most {grouped(GREATEST_FILE_BYTES)}",
                    code="file-too-large",
                    values={"size_bytes": len(text), "most_bytes": GREATEST_FILE_BYTES},
                )
            ]
        )
    body = text.lstrip(b"\xef\xbb\xbf \t\r\n")
    found = list(_from_kml(body) if body.startswith(b"<") else _from_geojson(body))
    if not found:
        raise PlanError([Problem("file", "holds no area", _EXPECTED, code="file-empty")])
    points = sum(len(ring) for area in found for ring in (area.outer, *area.holes))
    if points > MOST_POINTS:
        raise PlanError(
            [
                Problem(
                    "file",
                    f"holds {grouped(points)} points",
                    f"at most {grouped(MOST_POINTS)}",
                    code="too-many-points",
                    values={"points": points, "most_points": MOST_POINTS},
                )
            ]
        )
    return tuple(found)


def _from_geojson(text: bytes) -> Iterator[Area]:
    """Areas of a GeoJSON document."""
    try:
        tree = read_within(text, _PARTS, "file")
    except (ValueError, RecursionError) as error:
        raise PlanError([Problem("file", f"is not JSON ({error})", _EXPECTED, code="file-unreadable")]) from None
    yield from _geometry(tree, "file")


def _geometry(node: Any, where: str) -> Iterator[Area]:
    """Areas of one object of GeoJSON."""
    kind = node.get("type") if isinstance(node, dict) else None
    if kind == "FeatureCollection":
        for n, feature in enumerate(_list(node.get("features"), f"{where}.features")):
            yield from _geometry(feature, f"{where}.features[{n}]")
    elif kind == "Feature":
        if node.get("geometry") is not None:
            yield from _geometry(node["geometry"], f"{where}.geometry")
    elif kind == "GeometryCollection":
        for n, one in enumerate(_list(node.get("geometries"), f"{where}.geometries")):
            yield from _geometry(one, f"{where}.geometries[{n}]")
    elif kind in ("Polygon", "MultiPolygon", "LineString", "MultiLineString"):
        held = _list(node.get("coordinates"), f"{where}.coordinates")
        # One shape for all four: a list of areas, each a list of rings.
        areas = {"Polygon": [held], "MultiPolygon": held, "LineString": [[held]]}.get(kind, [[line] for line in held])
        for n, rings in enumerate(areas):
            place = f"{where}.coordinates[{n}]"
            made = [_ring(r, f"{place}[{k}]") for k, r in enumerate(_list(rings, place))]
            if not made:
                raise PlanError([Problem(place, "has no ring", "an outer ring", code="area-malformed")])
            yield Area(made[0], tuple(made[1:]))
    else:
        raise PlanError(
            [
                Problem(
                    where,
                    f"is {kind or 'no GeoJSON object'}",
                    "polygons, or lines that close",
                    code="area-of-another-kind",
                )
            ]
        )


def _list(node: Any, where: str) -> list[Any]:
    """The node as a list."""
    if not isinstance(node, list):
        raise PlanError([Problem(where, "is no list", "a list, as GeoJSON has it", code="area-malformed")])
    return node


def _ring(points: Any, where: str) -> Ring:
    """A closed ring of longitude and latitude."""
    try:
        ring = np.array([[float(p[0]), float(p[1])] for p in points], dtype=np.float64)
    except (TypeError, ValueError, IndexError, KeyError):
        raise PlanError(
            [Problem(where, "is no list of positions", "positions of longitude and latitude", code="area-malformed")]
        ) from None
    if len(ring) < 3:
        raise PlanError([Problem(where, f"has {len(ring)} points", "three or more", code="area-too-few-points")])
    if not (np.all(np.abs(ring[:, 0]) <= 360.0) and np.all(np.abs(ring[:, 1]) <= 85.05)):
        raise PlanError(
            [
                Problem(
                    where,
                    "has a position off the map",
                    "longitude first, then latitude within 85 degrees",
                    code="position-off-the-map",
                )
            ]
        )
    if np.array_equal(ring[0], ring[-1]):
        ring = ring[:-1]
    elif float(np.max(np.abs(ring[0] - ring[-1]))) > CLOSING_DEG:
        raise PlanError(
            [Problem(where, "does not close", "a last position that equals the first", code="area-not-closed")]
        )
    return np.vstack([ring, ring[:1]])


def _from_kml(text: bytes) -> Iterator[Area]:
    """Areas of a KML document."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root = fromstring(text)
    except (ParseError, DefusedXmlException, ValueError) as error:
        raise PlanError(
            [Problem("file", f"is not XML that can be read ({error})", _EXPECTED, code="file-unreadable")]
        ) from None
    if _name(root) != "kml":
        raise PlanError(
            [Problem("file", f"is XML with the root {_name(root)}", _EXPECTED, code="file-of-another-kind")]
        )
    count = 0
    for parent in root.iter():
        for node in parent:
            kind = _name(node)
            if kind == "Polygon":
                count += 1
                yield _polygon(node, f"Polygon {count}")
            elif kind == "LineString" or (kind == "LinearRing" and _name(parent) not in _BOUNDARIES):
                count += 1
                yield Area(_coordinates(node, f"{kind} {count}"))


_BOUNDARIES = ("outerBoundaryIs", "innerBoundaryIs")


def _polygon(node: Element, where: str) -> Area:
    """One KML polygon."""
    outer = [_coordinates(b, where) for b in node if _name(b) == "outerBoundaryIs"]
    if len(outer) != 1:
        raise PlanError([Problem(where, f"has {len(outer)} outer boundaries", "one", code="area-malformed")])
    return Area(outer[0], tuple(_coordinates(b, where) for b in node if _name(b) == "innerBoundaryIs"))


def _coordinates(node: Element, where: str) -> Ring:
    """The ring in a node's ``coordinates``: lon,lat[,height] separated by blanks."""
    text = next((n.text or "" for n in node.iter() if _name(n) == "coordinates"), "")
    return _ring([p.split(",") for p in text.split()], where)


def _name(node: Element) -> str:
    """The node's name without its name space."""
    return str(node.tag).rpartition("}")[2]
