"""What lies over a drawing stands where it is on the ground, cut to the drawing; whose data it is stands beside it."""

import re

import numpy as np
import pytest
from pyproj import Geod

from sfn.report.over import MOST_NAMES_N, Over, credits_of, drawn_over, lines_of, points_of
from sfn.report.position_map import position_map

EARTH = Geod(ellps="WGS84")
# One degree is 100 pixels: a drawing of 4 by 3 degrees whose top left corner is 40 N, 10 E.
FRAME = {"north_deg": 40.0, "west_deg": 10.0, "lat_per_px": 0.01, "lon_per_px": 0.01, "width": 400, "height": 300}


def over(*geometries: dict, key: str = "1", credit: str = "", names: tuple[str, ...] = ()) -> Over:
    """A set of shapes, each with its name where one is given."""
    called = [*names, *[""] * (len(geometries) - len(names))]
    features = [
        {"type": "Feature", "properties": {"name": name} if name else {}, "geometry": one}
        for name, one in zip(called, geometries, strict=True)
    ]
    return Over(key, "shapes", credit, {"type": "FeatureCollection", "features": features})


def line(*places: tuple[float, float]) -> dict:
    """A line of longitudes and latitudes."""
    return {"type": "LineString", "coordinates": [list(one) for one in places]}


def test_a_line_lies_where_its_degrees_are() -> None:
    """Pixels counted by hand: a degree is 100 of them, from the corner at 40 N, 10 E."""
    (made,) = drawn_over([over(line((11.0, 39.0), (12.5, 38.0)))], **FRAME)
    assert made.path == "M100.0 100.0L250.0 200.0"


def test_lines_are_cut_to_the_drawing() -> None:
    """What lies outside is left out, also between two stretches that lie inside; a vertex either side is kept."""
    far = line((-30.0, 39.0), (-29.0, 39.0))
    through = line((11.0, 39.0), (12.0, 39.0), (12.0, 60.0), (13.0, 60.0), (13.0, 39.0), (13.5, 39.0))
    assert drawn_over([over(far)], **FRAME) == ()
    (made,) = drawn_over([over(far, through)], **FRAME)
    assert made.path.count("M") == 2
    corners = [[float(n) for n in pair] for pair in re.findall(r"([-\d.]+) ([-\d.]+)", made.path)]
    assert all(-1600 < x < 1600 and -1600 < y < 1600 for x, y in corners)


def test_a_drawing_over_the_date_line_bears_both_sides() -> None:
    """A line from 179 E to 179 W crosses a drawing that begins at 178 E, and is no stroke across the world."""
    frame = FRAME | {"west_deg": 178.0}
    (made,) = drawn_over([over(line((179.0, 39.0), (179.9, 39.0), (-179.9, 39.0), (-179.0, 39.0)))], **frame)
    assert made.path == "M100.0 100.0L190.0 100.0L210.0 100.0L300.0 100.0"


def test_vertices_on_one_pixel_are_one() -> None:
    """A line of 10,000 vertices along a degree takes no more than its 100 pixels; its ends stay."""
    many = [(11.0 + k / 10_000, 39.0) for k in range(10_001)]
    (made,) = drawn_over([over(line(*many))], **FRAME)
    assert made.path.count("L") <= 101
    assert made.path.startswith("M100.0 ")
    assert made.path.endswith("L200.0 100.0")


def test_names_give_way_to_what_stands_there() -> None:
    """Beside a site's name none is written; not more than a drawing can show."""
    points = [{"type": "Point", "coordinates": [10.2 + 0.9 * (k % 4), 39.8 - 0.2 * (k // 4)]} for k in range(16)]
    named = over(*points, names=tuple(f"p{k}" for k in range(16)))
    (made,) = drawn_over([named], **FRAME, taken=[(20, 20)])
    assert "p0" not in {name for name, _, _ in made.names}
    assert len(made.names) == MOST_NAMES_N
    assert ("p1", 110, 20) in made.names
    assert made.path.count("M") == 2 * 16, "each has its mark all the same"


def test_collections_are_taken_apart() -> None:
    """As clipping makes them."""
    both = {
        "type": "GeometryCollection",
        "geometries": [
            {"type": "MultiLineString", "coordinates": [[[1, 2], [3, 4]], [[5, 6], [7, 8]]]},
            {"type": "MultiPoint", "coordinates": [[9, 10]]},
        ],
    }
    document = over(both, names=("x",)).document
    np.testing.assert_array_equal(list(lines_of(document)), [[[1, 2], [3, 4]], [[5, 6], [7, 8]]])
    assert list(points_of(document)) == [("x", 9.0, 10.0)]


def test_whose_data_it_is_is_said_once() -> None:
    """Coast and borders of one publisher are one notice."""
    sets = [over(key=key, credit=credit) for key, credit in (("coast", "A"), ("borders", "A"), ("1", ""), ("2", "B"))]
    assert credits_of(sets) == "A; B"


def test_on_the_small_map_a_line_passes_through_the_site_it_is_drawn_to() -> None:
    """A road from one site to the other, by the map's own places of both; half way it is half way on the ground."""
    here, there = (36.2, -84.3), (36.4, -84.1)
    road = over(line((here[1], here[0]), (there[1], there[0])))
    made = position_map(("here", *here), [("there", *there)], over=[road])
    ends = [[float(n) for n in pair] for pair in re.findall(r"([-\d.]+) ([-\d.]+)", made.over[0].path)]
    assert made.here is not None
    assert ends[0] == pytest.approx([made.here.x, made.here.y], abs=1.0)
    assert ends[1] == pytest.approx([made.others[0].x, made.others[0].y], abs=1.0)
    bar_m = float(made.bar_text.split()[0].split("\u00a0")[0]) * 1000
    ground_m = EARTH.inv(here[1], here[0], there[1], there[0])[2]
    assert np.hypot(*np.subtract(ends[0], ends[1])) * bar_m / made.bar_px == pytest.approx(ground_m, rel=0.03)
