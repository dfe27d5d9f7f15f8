"""Roads out of overlays: pieces joined, the nearest to a place, where they may lie; against GeographicLib."""

import itertools

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.study.overlay_roads import Road, road_track, roads_near, roads_of

WGS84 = Geodesic.WGS84  # type: ignore[attr-defined] # made at the end of its module


def feature(name: str, *places: tuple[float, float]) -> dict[str, object]:
    """A line of longitude, latitude pairs."""
    geometry = {"type": "LineString", "coordinates": [list(place) for place in places]}
    return {"type": "Feature", "properties": {"name": name} if name else {}, "geometry": geometry}


def document(*features: dict[str, object]) -> dict[str, object]:
    """An overlay of them."""
    return {"type": "FeatureCollection", "features": list(features)}


WHOLE = [(-84.6, 36.2), (-84.5, 36.3), (-84.3, 36.35), (-84.2, 36.3), (-84.0, 36.4)]


def test_pieces_of_one_name_that_meet_are_one_road_in_any_order_and_direction() -> None:
    """Three pieces, one of them the other way round; a place and a line of another name beside them."""
    place = {"type": "Feature", "properties": {"name": "A 5"}, "geometry": {"type": "Point", "coordinates": [-84, 36]}}
    found = roads_of(
        document(
            feature("A 5", *WHOLE[3:]), feature("B 2", WHOLE[0], (-84.7, 36.2)), feature("A 5", *WHOLE[:2]),
            feature("A 5", *WHOLE[3:0:-1]), place,
        )
    )  # fmt: skip
    assert [road.name for road in found] == ["A 5", "B 2"]
    joined = list(zip(found[0].lon_deg, found[0].lat_deg, strict=True))
    assert joined in (WHOLE, WHOLE[::-1])
    asked_m = sum(
        WGS84.Inverse(b[1], b[0], a[1], a[0])["s12"] for a, b in itertools.pairwise(WHOLE)
    )  # fmt: skip
    assert found[0].length_m == pytest.approx(asked_m, abs=1e-3)


def test_where_roads_of_one_name_fork_they_stay_apart() -> None:
    """Three arms from one place, and a dual carriageway: no way through is made up."""
    fork = [feature("A 5", WHOLE[0], other) for other in [(-84.5, 36.3), (-84.7, 36.3), (-84.6, 36.0)]]
    assert len(roads_of(document(*fork))) == 3
    beside = [(lon, lat + 0.0003) for lon, lat in WHOLE]
    assert len(roads_of(document(feature("A 5", *WHOLE), feature("A 5", *beside)))) == 2


def test_lines_without_a_name_stay_as_they_are_and_areas_of_many_lines_are_taken_apart() -> None:
    """Nobody knows whether two nameless lines are one road."""
    many = {
        "type": "Feature",
        "properties": {},
        "geometry": {"type": "MultiLineString", "coordinates": [WHOLE[:2], WHOLE[1:3]]},
    }
    assert [road.name for road in roads_of(document(many))] == ["", ""]
    assert roads_of(document(feature("point", WHOLE[0], WHOLE[0]))) == ()
    place = {"type": "Feature", "properties": {"name": "Hill"}, "geometry": {"type": "Point", "coordinates": [-84, 36]}}
    assert roads_of(document(place)) == ()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1)), min_size=2, max_size=6, unique=True),
    st.floats(-65, 65),
)
def test_the_distance_of_a_road_is_that_of_its_nearest_place(
    offsets: list[tuple[float, float]], lat_deg: float
) -> None:
    """Against GeographicLib at 400 places of each piece; the sphere costs 0.6 %."""
    lon, lat = np.array([x for x, _ in offsets]), lat_deg + np.array([y for _, y in offsets])
    road = Road(0, "", lat, lon, 1.0)
    along = np.linspace(0.0, 1.0, 401)
    least_m = min(
        WGS84.Inverse(lat_deg, 0.0, lat[k] + t * (lat[k + 1] - lat[k]), lon[k] + t * (lon[k + 1] - lon[k]))["s12"]
        for k in range(len(lat) - 1)
        for t in along
    )
    step_m = max(np.hypot(np.diff(lon), np.diff(lat))) * 111_700 / 400
    (found,) = roads_near((road,), lat_deg, 0.0, within_m=50_000.0)
    assert found.away_m == pytest.approx(least_m, rel=0.008, abs=step_m)
    assert not roads_near((road,), lat_deg, 0.0, within_m=found.away_m * 0.99 - 1e-9) or found.away_m == 0


def test_a_road_to_drive_along_says_how_far_beside_it_may_lie() -> None:
    """Own lines are simplified by 10 m; fetched ones are drawn for small maps."""
    roads = roads_of(document(feature("A 5", *WHOLE)))
    own = road_track(roads, 0, "A 5", overlay="county roads", fetched=False)
    assert own.name == "A 5 (county roads)"
    assert [(one.code, one.severity, one.values["beside_m"]) for one in own.problems] == [
        ("road-drawn", "warning", 10.0)
    ]  # fmt: skip
    fetched = road_track(roads, 0, "A 5", overlay="roads", fetched=True)
    assert fetched.problems[0].values["beside_m"] >= 1000
    assert "10 m" in own.problems[0].what
    assert "kilometre" in fetched.problems[0].what
    assert sorted(own.lon_deg.tolist()) == sorted(place[0] for place in WHOLE)


@pytest.mark.parametrize(("chosen", "named"), [(1, "A 5"), (-1, "A 5"), (0, "B 2"), (10**9, "A 5")])
def test_a_road_that_is_not_there_is_refused_in_words(chosen: int, named: str) -> None:
    """Another file since, another number, another name."""
    roads = roads_of(document(feature("A 5", *WHOLE)))
    with pytest.raises(PlanError) as refused:
        road_track(roads, chosen, named, overlay="roads", fetched=True)
    assert refused.value.problems[0].code == "road-gone"
