"""Licence contours out of GeoJSON and KML; strangers' files give problems, never tracebacks."""

import contextlib
import json

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.field.contours import Area, area_geometry
from sfn.field.licence import read_areas

SQUARE = [[8.0, 47.0], [8.1, 47.0], [8.1, 47.1], [8.0, 47.1], [8.0, 47.0]]
HOLE = [[8.02, 47.02], [8.02, 47.04], [8.04, 47.04], [8.04, 47.02], [8.02, 47.02]]


def geojson(tree: object) -> tuple[Area, ...]:
    """Areas of a tree written as JSON."""
    return read_areas(json.dumps(tree).encode())


def test_a_polygon_with_a_hole_is_read() -> None:
    """Outer ring and hole come back as they were."""
    (area,) = geojson({"type": "Polygon", "coordinates": [SQUARE, HOLE]})

    assert SQUARE == area.outer.tolist()
    assert [HOLE] == [h.tolist() for h in area.holes]


@pytest.mark.parametrize(
    ("geometry", "count"),
    [
        ({"type": "MultiPolygon", "coordinates": [[SQUARE], [HOLE]]}, 2),
        ({"type": "LineString", "coordinates": [*SQUARE[:-1], [8.0, 47.001]]}, 1),
        ({"type": "MultiLineString", "coordinates": [SQUARE, HOLE]}, 2),
        ({"type": "GeometryCollection", "geometries": [{"type": "Polygon", "coordinates": [SQUARE]}]}, 1),
    ],
)
def test_all_that_encloses_is_read_inside_features(geometry: dict[str, object], count: int) -> None:
    """Polygons and closing lines count, bare, in a feature and in a collection of features."""
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}

    assert count == len(geojson(geometry)) == len(geojson(feature))
    assert 2 * count == len(geojson({"type": "FeatureCollection", "features": [feature, feature]}))


KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><MultiGeometry>
<Polygon><outerBoundaryIs><LinearRing><coordinates>
8.0,47.0,0 8.1,47.0,0 8.1,47.1,0
8.0,47.1,0 8.0,47.0,0</coordinates></LinearRing></outerBoundaryIs>
<innerBoundaryIs><LinearRing><coordinates>8.02,47.02 8.02,47.04 8.04,47.04 8.02,47.02</coordinates></LinearRing></innerBoundaryIs></Polygon>
<LineString><coordinates>9,47 9.1,47 9.1,47.1 9,47</coordinates></LineString>
</MultiGeometry></Placemark></Document></kml>"""


def test_kml_is_read() -> None:
    """A polygon with a hole and a closed line, heights left out."""
    polygon, line = read_areas(KML.encode())

    assert SQUARE == polygon.outer.tolist()
    assert 1 == len(polygon.holes)
    assert 4 == len(line.outer)


def test_what_is_written_is_read_again() -> None:
    """An exported area comes back to 1e-6 degrees."""
    area = Area(np.array(SQUARE), (np.array(HOLE),))
    (again,) = geojson(area_geometry(area))

    assert np.allclose(area.outer, again.outer, atol=1e-6)


@pytest.mark.parametrize(
    ("tree", "text"),
    [
        ({"type": "Point", "coordinates": [8, 47]}, r"file: is Point; polygons, or lines that close"),
        ({"type": "Polygon", "coordinates": [[[47, 8], [47, 98], [47.1, 8]]]}, "has a position off the map"),
        ({"type": "LineString", "coordinates": [[8, 47], [9, 47], [9, 48]]}, "does not close"),
        ({"type": "Polygon", "coordinates": [[[8, 47], [9, 47]]]}, "has 2 points"),
        ({"type": "Polygon", "coordinates": []}, "has no ring"),
        ({"type": "Polygon", "coordinates": "x"}, "is no list"),
        ({"type": "Polygon", "coordinates": [["a", "b", "c"]]}, "is no list of positions"),
        ({"type": "FeatureCollection", "features": []}, "holds no area"),
        ([], "is no GeoJSON object"),
    ],
)
def test_what_encloses_nothing_is_refused_by_its_place(tree: object, text: str) -> None:
    """Points, open lines, swapped and missing coordinates are named."""
    with pytest.raises(PlanError, match=text):
        geojson(tree)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"{", "is not JSON"),
        (b"<kml>", "is not XML that can be read"),
        (b"<gpx></gpx>", "is XML with the root gpx"),
        (b"<kml></kml>", "holds no area"),
        (b'<!DOCTYPE k [<!ENTITY a "b">]><kml>&a;</kml>', "is not XML that can be read"),
        (b"[" * 100_000, "more than 40 lists and objects within each other"),
        (b" " * 20_000_001, "bytes long"),
    ],
)
def test_broken_and_hostile_files_are_refused(text: bytes, said: str) -> None:
    """Half a file, entity tricks, endless nesting and endless files give a problem."""
    with pytest.raises(PlanError, match=said):
        read_areas(text)


@given(st.recursive(st.none() | st.integers() | st.text(max_size=5), lambda c: st.lists(c, max_size=4) | st.dictionaries(st.sampled_from(["type", "coordinates", "features", "geometry"]), c | st.sampled_from(["Polygon", "Feature", "FeatureCollection"]), max_size=3)))  # fmt: skip
def test_no_json_gives_a_traceback(tree: object) -> None:
    """Whatever the tree, the answer is areas or a problem."""
    with contextlib.suppress(PlanError):
        assert geojson(tree)
