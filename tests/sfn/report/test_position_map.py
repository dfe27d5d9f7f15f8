"""The small map: to scale, north up, every site on it."""

import math

import pytest
from hypothesis import given, settings, strategies as st
from pyproj import Geod

from sfn.report.position_map import clicked, position_map

EARTH = Geod(ellps="WGS84")


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-70, 70),
    st.floats(-180, 180),
    st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)), max_size=9),
)
def test_distances_and_bearings_on_the_map_are_those_on_the_ground(
    lat: float, lon: float, steps: list[tuple[float, float]]
) -> None:
    """By the scale bar and the direction up: within 2 pixels and a part of the distance, also over the date line."""
    others = [(f"s{i}", lat + a, (lon + b + 180) % 360 - 180) for i, (a, b) in enumerate(steps)]

    made = position_map(("here", lat, lon), others)

    bar_m = float(made.bar_text.split()[0].replace("\u202f", "").split("\u00a0")[0]) * 1000
    per_px = bar_m / made.bar_px
    for spot, (_, there_lat, there_lon) in zip(made.others, others, strict=True):
        azimuth, _, ground_m = EARTH.inv(lon, lat, there_lon, there_lat)
        east, north = ground_m * math.sin(math.radians(azimuth)), ground_m * math.cos(math.radians(azimuth))
        allowed = 2.5 * per_px + 0.03 * ground_m
        assert abs((spot.x - made.here.x) * per_px - east) <= allowed
        assert abs((made.here.y - spot.y) * per_px - north) <= allowed
    assert all(0 <= s.x <= made.width and 0 <= s.y <= made.height for s in (made.here, *made.others))
    assert made.here.named


def test_round_degrees_stand_where_they_are() -> None:
    """A lone site's surroundings bear round parallels and meridians with their letters, in step with the scale bar."""
    made = position_map(("here", 50.9, -0.03), [])
    assert {"0.2° W", "0.1° W", "0.0°", "0.1° E"} & {line.text for line in made.meridians} >= {"0.1° W", "0.0°"}
    at = {line.text: line.at for line in made.meridians}
    per_px = float(made.bar_text.split("\u00a0")[0].split()[0]) * 1000 / made.bar_px
    assert abs((at["0.0°"] - at["0.1° W"]) * per_px - EARTH.inv(-0.1, 50.9, 0.0, 50.9)[2]) < 2.5 * per_px
    (parallel,) = [line for line in made.parallels if line.text == "50.90° N"]
    assert abs(parallel.at - made.here.y) <= 1


@settings(max_examples=40, deadline=None)
@given(st.floats(-70, 70), st.floats(-179, 179), st.floats(1, 300), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_a_click_is_the_place_that_is_drawn_there(
    lat: float, lon: float, across_km: float, right: float, down: float
) -> None:
    """By geodesic from the middle of the map and its width: within the digits that are written, and some pixels."""
    made = position_map(("here", lat, lon), [], across_km=across_km)
    assert (200, 150) == (made.here.x, made.here.y)
    text = clicked(made.frame, right, down)
    there_lat, there_lon = (float(one) for one in text.split(","))
    azimuth, _, ground_m = EARTH.inv(lon, lat, there_lon, there_lat)
    per_px = across_km * 1000 / made.width
    digit_m = 10.0 ** -len(text.split(",")[0].partition(".")[2]) * 111_320
    east, north = ground_m * math.sin(math.radians(azimuth)), ground_m * math.cos(math.radians(azimuth))
    allowed = digit_m + 2 * per_px + 0.04 * ground_m
    assert abs(east - (right - 0.5) * made.width * per_px) <= allowed
    assert abs(north - (0.5 - down) * made.height * per_px) <= allowed
    assert digit_m >= 0.99 * per_px


def test_a_map_without_the_site_shows_the_others() -> None:
    """Where a new one has no place yet."""
    made = position_map(None, [("a", 50.0, 1.0), ("b", 50.2, 1.2)])
    assert made.here is None
    assert ["a", "b"] == [spot.name for spot in made.others]


@pytest.mark.parametrize("frame", ["", "a b c d", "50 1 0 0", "50 1 0.001", "50 1 nan 0.1"])
def test_what_is_no_frame_is_refused(frame: str) -> None:
    """Never a place that nobody clicked."""
    with pytest.raises(ValueError, match=r"drawing|convert|unpack"):
        clicked(frame, 0.5, 0.5)
    with pytest.raises(ValueError, match="on the drawing"):
        clicked("50 1 0.001 0.001", 1.5, 0.5)
