"""Geodesics against an independent program, and what the choice of length costs."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, strategies as st
from pyproj import Transformer

from sfn.geodesy.line import direct, inverse, path_length, points_along, sphere_bearing, travel_time

ONE_NANOSECOND_US = 1e-3
ONE_MICROMETRE_M = 1e-6

latitudes = st.floats(-89.0, 89.0)
longitudes = st.floats(-180.0, 180.0)


def chord_m(lat: np.ndarray, lon: np.ndarray, height_m: float) -> float:
    """Straight line in space between two antennas of one height, from Cartesian coordinates."""
    to_cartesian = Transformer.from_crs("EPSG:4979", "EPSG:4978")
    x, y, z = to_cartesian.transform(lat, lon, np.full(2, height_m))

    return float(np.linalg.norm([x[1] - x[0], y[1] - y[0], z[1] - z[0]]))


def test_thousand_random_pairs_agree_with_geographiclib_within_a_nanosecond() -> None:
    """Ground distance, travel time and both azimuths of 1,000 pairs under 400 km are those of geographiclib."""
    rng = np.random.default_rng(2)
    lat1 = np.degrees(np.arcsin(rng.uniform(-1, 1, 1000)))
    lon1 = rng.uniform(-180, 180, 1000)
    lat2, lon2 = direct(lat1, lon1, azimuth_deg=rng.uniform(0, 360, 1000), ground_m=rng.uniform(1.0, 400e3, 1000))

    ground_m, azimuth_deg, back_deg = inverse(lat1, lon1, lat2, lon2)

    theirs = [Geodesic.WGS84.Inverse(*row) for row in zip(lat1, lon1, lat2, lon2, strict=True)]
    theirs_m = np.array([row["s12"] for row in theirs])
    travel_difference_us = travel_time(ground_m) - travel_time(theirs_m)
    assert np.abs(travel_difference_us).max() < ONE_NANOSECOND_US / 1000
    turn = np.array([[row["azi1"], row["azi2"] + 180.0] for row in theirs]).T - [azimuth_deg, back_deg]
    assert np.abs((turn + 180.0) % 360.0 - 180.0).max() < 1e-6


@pytest.mark.parametrize(
    ("ground_km", "height_m", "cost_ns", "tolerance_ns"),
    [(100, 0, 3.4, 0.2), (300, 0, 92, 2), (100, 1500, -77, 4)],
)
def test_cost_of_the_chosen_length_against_the_chord(
    ground_km: float, height_m: float, cost_ns: float, tolerance_ns: float
) -> None:
    """L against the straight chord: 3.4 ns at 100 km, 92 ns at 300 km; about 80 ns short between 1 500 m summits."""
    for lat, azimuth in [(0.0, 0.0), (45.0, 90.0), (60.0, 30.0)]:
        lat2, lon2 = direct(lat, 10.0, azimuth_deg=azimuth, ground_m=ground_km * 1000.0)
        chord = chord_m(np.array([lat, float(lat2)]), np.array([10.0, float(lon2)]), height_m)
        chosen = path_length(ground_km * 1000.0, height_difference_m=0.0)

        excess_ns = 1000 * (float(travel_time(chosen)) - float(travel_time(chord)))

        assert cost_ns == pytest.approx(excess_ns, abs=tolerance_ns)


@given(latitudes, longitudes, st.floats(0, 360), st.floats(1.0, 400e3))
def test_direct_and_inverse_undo_each_other(lat: float, lon: float, azimuth: float, ground_m: float) -> None:
    """Going a distance in a direction and measuring back gives the distance and the direction."""
    lat2, lon2 = direct(lat, lon, azimuth_deg=azimuth, ground_m=ground_m)

    back_m, back_azimuth, _ = inverse(lat, lon, lat2, lon2)

    assert ground_m == pytest.approx(float(back_m), abs=ONE_MICROMETRE_M)
    across_m = ground_m * np.sin(np.radians(float(back_azimuth) - azimuth))
    assert abs(across_m) < ONE_MICROMETRE_M


@given(latitudes, longitudes, latitudes, longitudes)
def test_distance_is_the_same_both_ways(lat1: float, lon1: float, lat2: float, lon2: float) -> None:
    """Reciprocity: from A to B is as far as from B to A."""
    there, _, _ = inverse(lat1, lon1, lat2, lon2)
    back, _, _ = inverse(lat2, lon2, lat1, lon1)

    assert float(there) == pytest.approx(float(back), abs=ONE_MICROMETRE_M)


@pytest.mark.parametrize("lat", [-75.0, -36.0, 0.0, 20.0, 45.0, 65.0])
def test_bearing_on_the_sphere_is_within_a_fifth_of_a_degree(lat: float) -> None:
    """Geographiclib's azimuths, 1 to 150 km away in all directions; the greatest differences are at the equator."""
    rng = np.random.default_rng(round(lat) + 100)
    for azimuth, ground_m in zip(rng.uniform(0, 360, 300), rng.uniform(1e3, 1.5e5, 300), strict=True):
        there = Geodesic.WGS84.Direct(lat, 10.0, azimuth, ground_m)
        off = float(sphere_bearing(lat, 10.0, there["lat2"], there["lon2"])) - azimuth
        assert abs((off + 180) % 360 - 180) < 0.2


def test_shapes_broadcast() -> None:
    """One site against a raster gives a raster; two numbers give a number."""
    lat, lon = np.full((3, 4), 50.0), np.linspace(0, 1, 12).reshape(3, 4)

    ground_m, azimuth_deg, back_deg = inverse(50.5, 0.5, lat, lon)

    assert (3, 4) == ground_m.shape == azimuth_deg.shape == back_deg.shape
    assert float(inverse(50.5, 0.5, 50.0, lon[1, 2])[0]) == ground_m[1, 2]
    assert float(inverse(0, 0, 1, 0)[1]) == 0.0
    assert float(inverse(0, 0, 1, 0)[2]) == 180.0
    assert () == inverse(0, 0, 1, 1)[0].shape


def test_not_a_number_stays_not_a_number() -> None:
    """A missing coordinate or distance is NaN in the answer, and harms no other."""
    ground_m, _, _ = inverse(0.0, 0.0, [np.nan, 1.0], 0.0)

    assert [True, False] == list(np.isnan(ground_m))
    assert [True, False] == list(np.isnan(travel_time(ground_m)))


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: inverse(91, 0, 0, 0), "lat1_deg must be from -90 to 90 degrees, got 91.0"),
        (lambda: inverse(0, 0, 0, [0, 361]), "lon2_deg must be from -360 to 360 degrees, got 361.0"),
        (lambda: direct(0, 0, azimuth_deg=0, ground_m=np.inf), "ground_m must be finite m, got inf"),
        (lambda: travel_time(-1), "distance_m must be 0 m or more, got -1.0"),
        (lambda: travel_time(1, refractivity_n=1.000315), "refractivity_n must be from 200 to 500 N-units"),
        (lambda: path_length(-3, height_difference_m=0), "ground_m must be 0 m or more, got -3.0"),
        (lambda: points_along(0, 0, 1, 1), "either points_n or ground_m"),
        (lambda: points_along(0, 0, 1, 1, points_n=1), "points_n must be 2 or more, got 1"),
        (lambda: points_along(1, 1, 1, 1, ground_m=[5.0]), "has no direction"),
    ],
)
def test_refusals_name_argument_value_unit_and_range(call, text: str) -> None:
    """What is out of range is refused by name; a refractive index given for N falls outside."""
    with pytest.raises(ValueError, match=text):
        call()


def test_points_along_divides_the_line() -> None:
    """Equally spaced points lie on the line: the parts add up to the whole and both ends are met."""
    lat, lon, along_m = points_along(-37.95, 144.42, -37.65, 143.93, points_n=7)

    whole_m = float(inverse(-37.95, 144.42, -37.65, 143.93)[0])
    parts_m = inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])[0]
    assert whole_m == pytest.approx(parts_m.sum(), abs=ONE_MICROMETRE_M)
    assert parts_m == pytest.approx(np.full(6, whole_m / 6), abs=ONE_MICROMETRE_M)
    assert [-37.65, 143.93] == pytest.approx([lat[-1], lon[-1]], abs=1e-11)
    assert whole_m == along_m[-1]


def test_points_at_given_distances() -> None:
    """Points at given distances are that far from the first place."""
    lat, lon, along_m = points_along(50, 8, 51, 9, ground_m=[0.0, 1.5, 70e3])

    assert along_m == pytest.approx(inverse(50, 8, lat, lon)[0], abs=ONE_MICROMETRE_M)


def test_worked_example_of_the_contract() -> None:
    """The three ground distances and the path of the example network."""
    north, south, gap = (36 + 22 / 60 + 12 / 3600, -84.25), (36.205, -84.21), (36.28, -84.19)

    assert 11_347.3688 == pytest.approx(float(inverse(*north, *gap)[0]), abs=5e-5)
    assert 18_658.4113 == pytest.approx(float(inverse(*north, *south)[0]), abs=5e-5)
    assert 8_514.2183 == pytest.approx(float(inverse(*south, *gap)[0]), abs=5e-5)
    path_m = path_length(inverse(*north, *gap)[0], height_difference_m=910 - 585)
    assert 11_352.022 == pytest.approx(float(path_m), abs=5e-4)
    assert 37.8782 == pytest.approx(float(travel_time(path_m)), abs=5e-5)
