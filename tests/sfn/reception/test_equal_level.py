"""The point on the line between two sites where both are equally strong."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings, strategies as st

from sfn.field.path import path_levels
from sfn.field.transmitter import transmitter
from sfn.geodesy.line import direct, inverse
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.reception.equal_level import _nearest_crossing, equal_level
from sfn.study.delays import delays
from sfn.terrain.dem import heights
from sfn.terrain.ground import Ground, GroundWindow, open_ground

EXAMPLE = Path(__file__).parents[1] / "example-network.json"
RIDGE = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"


def point(**second: Any) -> tuple[tuple[float, float], list[float]]:
    """The point between the example's first two sites with the second one changed; and its distances to both. [m]"""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][1].update(second)
    network = read(json.dumps(document))
    placed = place(network)
    found = equal_level(network.sites[0], network.sites[1], network, placed=placed).point
    ends = [placed[site.id] for site in network.sites[:2]]
    return found, [float(inverse(*found, end.lat_deg, end.lon_deg)[0]) for end in ends]


def test_nearer_to_the_weaker() -> None:
    """Half a kilowatt against three: the point lies nearer to the weaker site, on the line."""
    _, (to_north, to_south) = point()
    assert to_south < to_north
    assert to_north + to_south == pytest.approx(18_658.4113, abs=0.01)


@pytest.mark.parametrize(
    "second",
    [
        {"position": {"text": "-36.2, 95.8", "crs": "EPSG:4326"}},
        {"position": {"text": "52.8, 10.0", "crs": "EPSG:4326"}},
        {"erp_kw": {"h": 0, "v": 0}},
    ],
)
def test_levels_that_cannot_be_compared_give_the_middle(second: dict[str, Any]) -> None:
    """A slip that puts a site on another continent must not hide the delay table that would show it."""
    found, (to_north, to_south) = point(**second)
    assert all(abs(degrees) <= 180 for degrees in found)
    assert to_north == pytest.approx(to_south, rel=0.02)


def line_of(
    distance_m: float, azimuth_deg: float, powers_kw: tuple[float, float], heights_m: tuple[float, float]
) -> Network:
    """The example with its first two sites so far apart, at sea level, vertically polarised."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    lat, lon = direct(47.0, 9.0, azimuth_deg=azimuth_deg, ground_m=distance_m)
    places = ((47.0, 9.0), (float(lat), float(lon)))
    for site, (lat_deg, lon_deg), power, height in zip(document["sites"], places, powers_kw, heights_m, strict=False):
        site["position"] = {"text": f"{lat_deg:.12f}, {lon_deg:.12f}"}
        site.update(ground_m=0, antenna_m=height, erp_kw={"h": 0, "v": power})
    return read(json.dumps(document))


def beyond(network: Network, placed: Any, point: tuple[float, float], ground: Ground | None = None) -> float:
    """Level of the first site over the second at a point, each by its own path, the obvious form of P.1812. [dB]"""
    levels = [
        path_levels(
            transmitter(site, network, lat_deg=placed[site.id].lat_deg, lon_deg=placed[site.id].lon_deg), *point,
            ground=ground or GroundWindow(), rx_height_m=network.receiver.height_m, time_pct=(50.0,),
        ).level_dbuvm[0]
        for site in network.sites[:2]
    ]  # fmt: skip
    return levels[0] - levels[1]


@settings(max_examples=25)
@example(distance_m=2000.0, azimuth_deg=0.0, powers_kw=(0.05, 50.0), heights_m=(900.0, 20.0))
@example(distance_m=171_450.0, azimuth_deg=200.0, powers_kw=(0.02, 0.05), heights_m=(620.0, 180.0))
@given(
    distance_m=st.floats(2_000, 300_000),
    azimuth_deg=st.floats(0, 360),
    powers_kw=st.tuples(st.floats(0.05, 50), st.floats(0.05, 50)),
    heights_m=st.tuples(st.floats(20, 900), st.floats(20, 900)),
)
def test_found_to_a_decimetre_on_any_line(
    distance_m: float, azimuth_deg: float, powers_kw: tuple[float, float], heights_m: tuple[float, float]
) -> None:
    """Where `point` and `path` have the levels meet: they change sign there; from either site the same place."""
    network = line_of(distance_m, azimuth_deg, powers_kw, heights_m)
    placed = place(network)
    a, b = network.sites[:2]
    found, back = equal_level(a, b, network, placed=placed), equal_level(b, a, network, placed=placed)
    lat, lon = placed[a.id].lat_deg, placed[a.id].lon_deg
    azimuth = float(inverse(lat, lon, placed[b.id].lat_deg, placed[b.id].lon_deg)[1])

    def difference(ground_m: float) -> float:
        """At a place of the line. [dB]"""
        at = direct(lat, lon, azimuth_deg=azimuth, ground_m=ground_m)
        return beyond(network, placed, (float(at[0]), float(at[1])))

    assert found.over == "smooth earth"
    assert difference(found.ground_m) == pytest.approx(found.level_difference_db, abs=0.01)
    if found.kind == "nearest to equal":  # one is the stronger even at the other's foot
        assert difference(1.0) * difference(distance_m - 1.0) > 0
    elif 0.1 < found.ground_m < distance_m - 0.1:
        assert difference(found.ground_m - 0.05) * difference(found.ground_m + 0.05) < 0
        assert (found.kind == "equal") == (abs(difference(found.ground_m)) < 0.1)
    assert float(inverse(*found.point, *back.point)[0]) == pytest.approx(0, abs=0.1)
    to_a, to_b = (float(inverse(*found.point, placed[s.id].lat_deg, placed[s.id].lon_deg)[0]) for s in (a, b))
    assert (to_a, to_a + to_b) == pytest.approx((found.ground_m, distance_m), abs=0.01)


def test_over_terrain_the_levels_of_the_terrain_meet() -> None:
    """The ridge demo: at every point, both paths over the terrain; what is no equality is called so."""
    network = read(RIDGE.read_text(encoding="utf-8"))
    ground, placed = open_ground(network, folder=RIDGE.parent), place(network)
    sites = {site.id: site for site in network.sites}
    smooth = equal_level(sites["summit"], sites["gap"], network, placed=placed)
    for a, b in (("summit", "north"), ("summit", "gap"), ("north", "gap")):
        two = network.model_copy(update={"sites": (sites[a], sites[b])})
        found = equal_level(sites[a], sites[b], two, placed=placed, ground=ground)
        by_db = beyond(two, placed, found.point, ground)

        assert (found.over, found.crossings_n > 1) == ("terrain", True)
        assert by_db == pytest.approx(found.level_difference_db, abs=0.01)
        assert found.kind == ("equal" if abs(by_db) < 0.1 else "jump")
        assert found.rx_above_sea_m == pytest.approx(
            float(heights(ground.terrain, *(np.array([v]) for v in found.point))[0]) + 1.5, abs=0.01
        )
    assert abs(beyond(network.model_copy(update={"sites": (sites["summit"], sites["gap"])}), placed, smooth.point,
                      ground)) > 10  # fmt: skip


@given(distance_m=st.floats(100, 300_000), azimuth_deg=st.floats(0, 360))
def test_equal_sites_meet_in_the_middle(distance_m: float, azimuth_deg: float) -> None:
    """Two sites of one power and height: half the way, but for what the model gives for the latitude of each path."""
    network = line_of(distance_m, azimuth_deg, (1.0, 1.0), (60.0, 60.0))
    found = equal_level(*network.sites[:2], network, placed=place(network))

    assert found.kind == "equal"
    assert found.ground_m == pytest.approx(distance_m / 2, abs=0.01 if distance_m < 30_000 else 1e-3 * distance_m)


def test_three_equal_sites_close() -> None:
    """With every pair's point in the middle of its line no wish is left, so the loop closes."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    for site in document["sites"]:
        site.update(ground_m=300, antenna_m=50, erp_kw={"h": 1, "v": 1}, fed_off_air_from=None)
    found = delays(read(json.dumps(document)))
    (triangle,) = found.loops
    assert found.no_loop is None

    assert triangle.misclosure_us == pytest.approx(0, abs=1e-6)
    assert triangle.wishes_us == pytest.approx((0, 0, 0), abs=1e-6)
    assert ["equal"] * 3 == [at.kind for at in triangle.levels]


def test_stronger_along_the_whole_line_is_said() -> None:
    """Two hundred metres from a giant on the same height a whisper is never the stronger: its own foot is nearest."""
    network = line_of(200.0, 30.0, (1e-6, 100.0), (60.0, 60.0))
    found = equal_level(*network.sites[:2], network, placed=place(network))

    assert (found.kind, found.crossings_n, found.ground_m) == ("nearest to equal", 0, 0.0)


def test_of_several_crossings_the_middle_one_is_taken() -> None:
    """A function with three zeros, one of them at an edge; all are counted, the one nearest to 32 is taken."""
    edges = np.linspace(0.0, 64.0, 65)
    zeros = (10.0, 30.25, 50.5)

    def of(at: Any) -> Any:
        """Zero at each of them."""
        return (at - zeros[0]) * (at - zeros[1]) * (at - zeros[2])

    found, crossings_n = _nearest_crossing(of, edges, of(edges), 32.0)
    assert (found, crossings_n) == (pytest.approx(30.25, abs=0.001), 3)
    assert _nearest_crossing(of, edges, of(edges), 11.0)[0] == 10.0


@pytest.mark.parametrize("places", [((47.0, 9.0), (48.0, 9.0), (49.0, 9.0)), ((47.0, 9.0),) * 3])
def test_sites_in_line_are_said(places: tuple[tuple[float, float], ...]) -> None:
    """Three on a meridian, or three at one place: no loop, and why."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    for site, (lat, lon) in zip(document["sites"], places, strict=True):
        site.update(position={"text": f"{lat}, {lon}", "crs": "EPSG:4326"}, fed_off_air_from=None)
        site.pop("off_air", None)
    found = delays(read(json.dumps(document)))

    assert ((), "sites-in-line") == (found.loops, found.no_loop)
