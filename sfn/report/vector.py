"""Lines and areas as GeoJSON and KML: longitude first, WGS84."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape


def line_feature(line: Sequence[tuple[float, float]], properties: Mapping[str, Any]) -> dict[str, Any]:
    """A line of longitude, latitude pairs, to a decimetre. [degrees]"""
    where = [[round(lon, 6), round(lat, 6)] for lon, lat in line]
    return {"type": "Feature", "geometry": {"type": "LineString", "coordinates": where}, "properties": dict(properties)}


def point_feature(lon_deg: float, lat_deg: float, properties: Mapping[str, Any]) -> dict[str, Any]:
    """A place. [degrees]"""
    where = [round(lon_deg, 7), round(lat_deg, 7)]
    return {"type": "Feature", "geometry": {"type": "Point", "coordinates": where}, "properties": dict(properties)}


def unlocated_feature(properties: Mapping[str, Any]) -> dict[str, Any]:
    """Something without a place (RFC 7946, section 3.2)."""
    return {"type": "Feature", "geometry": None, "properties": dict(properties)}


def collection(features: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """A GeoJSON collection (RFC 7946)."""
    return {"type": "FeatureCollection", "features": list(features)}


def kml(document: Mapping[str, Any], *, name: str) -> str:
    """The areas, lines and places of a GeoJSON collection as KML (OGC 12-007r2), properties as extended data.

    A feature's ``label`` becomes its name and its ``colour``, as ``#rrggbb``, that of its line and area.
    """
    marks = "".join(_placemark(feature) for feature in document["features"])
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    return f"{head}<name>{escape(name)}</name>{_styles(document)}{marks}</Document></kml>\n"


def _styles(document: Mapping[str, Any]) -> str:
    """A style for each colour in use; KML writes colours as alpha, blue, green, red."""
    colours = sorted({str(f["properties"]["colour"]) for f in document["features"] if "colour" in f["properties"]})
    return "".join(
        f'<Style id="c{c[1:]}"><LineStyle><color>ff{c[5:7]}{c[3:5]}{c[1:3]}</color><width>1.5</width></LineStyle>'
        f"<PolyStyle><color>80{c[5:7]}{c[3:5]}{c[1:3]}</color></PolyStyle></Style>"
        for c in colours
    )


def _placemark(feature: Mapping[str, Any]) -> str:
    """One feature."""
    data = "".join(
        f'<Data name="{escape(key, {chr(34): "&quot;"})}"><value>{escape(str(value))}</value></Data>'
        for key, value in feature["properties"].items()
        if value is not None
    )
    geometry = feature["geometry"]
    if geometry is None:
        shape = ""
    elif geometry["type"] == "Point":
        lon, lat = geometry["coordinates"]
        shape = f"<Point><coordinates>{lon},{lat}</coordinates></Point>"
    elif geometry["type"] == "Polygon":
        outer, *holes = (_kml_ring(ring) for ring in geometry["coordinates"])
        cut = "".join(f"<innerBoundaryIs>{ring}</innerBoundaryIs>" for ring in holes)
        shape = f"<Polygon><tessellate>1</tessellate><outerBoundaryIs>{outer}</outerBoundaryIs>{cut}</Polygon>"
    else:
        line = _kml_points(geometry["coordinates"])
        shape = f"<LineString><tessellate>1</tessellate><coordinates>{line}</coordinates></LineString>"
    label, colour = feature["properties"].get("label"), feature["properties"].get("colour")
    name = f"<name>{escape(str(label))}</name>" if label else ""
    style = f"<styleUrl>#c{colour[1:]}</styleUrl>" if colour else ""
    return f"<Placemark>{name}{style}<ExtendedData>{data}</ExtendedData>{shape}</Placemark>"


def _kml_ring(points: Sequence[Sequence[float]]) -> str:
    """A closed ring."""
    return f"<LinearRing><coordinates>{_kml_points(points)}</coordinates></LinearRing>"


def _kml_points(points: Sequence[Sequence[float]]) -> str:
    """Positions as KML writes them."""
    return " ".join(f"{lon},{lat}" for lon, lat in points)
