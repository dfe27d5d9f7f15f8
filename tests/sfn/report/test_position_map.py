"""The small map: to scale, north up, every site on it."""

import math

from hypothesis import given, settings, strategies as st
from pyproj import Geod

from sfn.report.position_map import position_map

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
