"""Weights on the grid: discs, areas and roads hold what they should, multiply, and add listeners."""

from itertools import pairwise

import numpy as np
import pytest
from matplotlib.path import Path as Outline

from sfn.errors import PlanError
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.line import inverse
from sfn.plan import Place
from sfn.reception.listeners import radius_m
from sfn.reception.weights import along, inside, weighed
from tests.sfn.networks import example

GRID = grid_for((36.0, -84.5, 36.5, -84.0), pixel_m=500)
OAK = Place(name="Oak", lat=36.25, lon=-84.25, people=20_000)


def network_with(*weights):
    """The example with a place Oak and weights."""

    def change(tree):
        """In place."""
        tree["listeners"] = {"places": [OAK.model_dump()]}
        tree["weights"] = list(weights)

    return example(change)


@pytest.mark.parametrize("seed", range(8))
def test_an_area_holds_the_centres_that_an_independent_outline_holds(seed):
    """Against matplotlib's path test (no source of ours), crossing sides and corners off the grid included."""
    rng = np.random.default_rng(seed)
    corners = list(zip(rng.uniform(35.9, 36.6, 5), rng.uniform(-84.7, -83.9, 5), strict=True))
    lat, lon = (axis.ravel() for axis in GRID.points_deg)
    row, column = GRID.line_of(*np.array(corners).T)
    centre_row, centre_column = GRID.line_of(lat, lon)
    angles = np.arctan2(row - row.mean(), column - column.mean())
    star = [corners[i] for i in np.argsort(angles)]  # no crossing: even-odd and winding agree
    outline = Outline(np.column_stack(GRID.line_of(*np.array(star).T)))
    expected = outline.contains_points(np.column_stack([centre_row, centre_column]))

    assert inside(star, GRID).ravel().tolist() == expected.tolist()
    assert expected.any()


def test_an_area_keeps_its_size_on_the_ground():
    """A tenth of a degree by a tenth: 11.09 km by 8.97 km at 36.25 degrees (degree lengths of the ellipsoid)."""
    held = inside([(36.2, -84.3), (36.3, -84.3), (36.3, -84.2), (36.2, -84.2)], GRID).ravel()
    area_km2 = np.repeat(GRID.pixel_area_km2, GRID.columns_n)[held].sum()

    assert area_km2 == pytest.approx(11.097 * 8.987, rel=0.06)


def test_an_area_smaller_than_a_pixel_is_the_pixel_it_lies_in():
    """Two metres across still hold one pixel, and one off the grid holds none."""
    tiny = [(36.20001, -84.3), (36.20002, -84.3), (36.20002, -84.29999)]
    assert inside(tiny, GRID).sum() == 1
    assert inside([(lat + 5, lon) for lat, lon in tiny], GRID).sum() == 0


def test_a_road_holds_what_lies_within_its_distance():
    """Against geodesics to points along the road; half a pixel is the least."""
    road = [(36.1, -84.45), (36.3, -84.3), (36.2, -84.1)]
    held = along(road, 1500.0, GRID).ravel()
    lat, lon = (axis.ravel() for axis in GRID.points_deg)
    nearest_m = np.full(lat.size, np.inf)
    for (lat0, lon0), (lat1, lon1) in pairwise(road):
        for part in np.linspace(0, 1, 200):
            at = np.full(lat.shape, lat0 + part * (lat1 - lat0)), np.full(lat.shape, lon0 + part * (lon1 - lon0))
            nearest_m = np.minimum(nearest_m, inverse(*at, lat, lon)[0])

    assert nearest_m[held].max() < 1500 * 1.02
    assert nearest_m[~held].min() > 1500 * 0.98
    thin = along(road, 1.0, GRID)
    assert thin.any()
    assert nearest_m[thin.ravel()].max() < 300


def test_across_the_date_line_an_area_is_whole():
    """A square over 180 degrees holds as many pixels as the same square elsewhere."""
    here, there = (grid_for((-17.5, lon, -16.5, lon + 1.0), pixel_m=1000) for lon in (179.5, 20.5))
    across = [(-17.2, 179.8), (-16.8, 179.8), (-16.8, -179.8), (-17.2, -179.8)]
    plain = [(-17.2, 20.8), (-16.8, 20.8), (-16.8, 21.2), (-17.2, 21.2)]

    assert abs(int(inside(across, here).sum()) - int(inside(plain, there).sum())) <= 45  # an edge of pixels
    assert inside(across, here).sum() > 1500


def test_a_place_is_the_disc_that_its_people_are_spread_over():
    """Area of the disc, and the sentence that says so."""
    found = weighed(network_with({"name": "Oak first", "place": "Oak", "factor": 5}), GRID, places=[OAK])
    assert found is not None
    held_km2 = np.repeat(GRID.pixel_area_km2, GRID.columns_n)[found.factor == 5].sum()
    disc_km2 = np.pi * (radius_m(np.array([20_000.0]))[0] / 1000) ** 2

    assert held_km2 == pytest.approx(disc_km2, rel=0.1)
    assert found.said == (f"Oak first: Oak, {held_km2:.1f} km² on the map, counts 5 times",)


def test_where_weights_meet_they_multiply_and_nothing_beats_all():
    """Five times half is two and a half; what does not count does not count on a road either."""
    south, north = ([(lat, -84.4), (lat + 0.2, -84.4), (lat + 0.2, -84.1), (lat, -84.1)] for lat in (36.05, 36.15))
    found = weighed(
        network_with(
            {"name": "south", "area": south, "factor": 5},
            {"name": "north", "area": north, "factor": 0.5},
            {"name": "road", "road": [(36.02, -84.25), (36.02, -84.2)], "within_m": 400, "factor": 3},
            {"name": "ridge", "area": [(36.0, -84.5), (36.04, -84.5), (36.04, -84.22), (36.0, -84.22)], "factor": 0},
        ),
        GRID,
        places=[OAK],
    )
    assert found is not None

    assert set(np.unique(found.factor)) == {0.0, 0.5, 1.0, 2.5, 3.0, 5.0}
    assert found.said[3].endswith("does not count")


def test_listeners_on_a_road_are_all_there():
    """Kilometres times listeners a kilometre; what lies off the grid is not counted."""
    road = [(36.1, -84.45), (36.3, -84.3), (36.2, -84.1)]
    found = weighed(
        network_with({"name": "valley road", "road": road, "within_m": 300, "people_per_km": 200}), GRID, places=[OAK]
    )
    assert found is not None
    (first, second), _, _ = inverse([36.1, 36.3], [-84.45, -84.3], [36.3, 36.2], [-84.3, -84.1])

    assert found.added_people.sum() == pytest.approx((first + second) / 1000 * 200, rel=1e-6)
    assert (found.factor == 1).all()
    assert "with 200 listeners on each km of it" in found.said[0]
    assert f"{(first + second) / 1000:.1f} km of road" in found.said[0]


def test_no_weights_are_none():
    """A network without any has nothing to multiply."""
    assert weighed(example(), GRID) is None


def test_a_place_that_the_list_does_not_have_is_named():
    """A list from a file is only known where it is read."""
    network = network_with({"name": "Oak first", "place": "Oak", "factor": 5})
    with pytest.raises(PlanError, match="weight Oak first: 'Oak' is no place of the listeners"):
        weighed(network, GRID, places=[])


@pytest.mark.parametrize(
    ("weight", "said"),
    [
        ({"name": "x", "factor": 2}, "a weight has a place, an area or a road; give one of the three"),
        ({"name": "x", "place": "Elm"}, "'Elm' is no place of the listeners; the name of one of them"),
        ({"name": "x", "place": "Oak", "area": [[1, 1], [1, 2], [2, 2]]}, "give one of the three"),
        ({"name": "x", "road": [[1, 1], [1, 2]]}, "give within_m, such as 300"),
        ({"name": "x", "area": [[1, 1], [1, 2]]}, "weights.0..area: cannot be .*; at least 3"),
        ({"name": "x", "area": [[1, 1], [1, 2], [95, 2]]}, "85 or less"),
        ({"name": "x", "place": "Oak", "factor": -1}, "0 or more"),
        ({"name": "x", "place": "Oak", "colour": "red"}, "is not a key of this format"),
    ],
)
def test_weights_that_cannot_be_are_refused_in_words(weight, said):
    """Where it stands, what is wrong, what would be right."""
    with pytest.raises(PlanError, match=said):
        network_with(weight)


def test_line_of_agrees_with_pixels_of():
    """Fractional rows and columns, rounded down, are the pixel."""
    grid: Grid = GRID
    rng = np.random.default_rng(1)
    lat, lon = rng.uniform(36.01, 36.49, 200), rng.uniform(-84.49, -84.01, 200)
    row, column = grid.line_of(lat, lon)
    whole_row, whole_column = grid.pixels_of(lat, lon)

    assert np.floor(row).astype(int).tolist() == whole_row.tolist()
    assert np.floor(column).astype(int).tolist() == whole_column.tolist()
