"""The point on the line between two sites where both are equally strong."""

import json
from math import log10
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings, strategies as st

from sfn.answer.delays import delays
from sfn.geodesy.line import direct, inverse
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.propagation.smooth_earth import smooth_earth_loss
from sfn.reception.equal_level import _crossings, equal_level, equal_level_point

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def point(**second: Any) -> tuple[tuple[float, float], list[float]]:
    """The point between the example's first two sites with the second one changed; and its distances to both. [m]"""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][1].update(second)
    network = read(json.dumps(document))
    placed = place(network)
    found = equal_level_point(network.sites[0], network.sites[1], network, placed=placed)
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


def bisected(network: Network, whole_m: float) -> float:
    """Where the levels are equal, by halving a line over which the first only weakens and the second only grows. [m]"""

    def level(k: int, ground_m: float) -> float:
        """Of one site, over the distance from it, but for what both have in common."""
        site = network.sites[k]
        loss = smooth_earth_loss(
            ground_m / 1000, frequency_mhz=network.frequency_mhz, tx_height_m=site.antenna_m,
            rx_height_m=network.receiver.height_m, polarisation="V", delta_n=network.delta_n,
        )  # fmt: skip
        return 10 * log10(site.erp_kw.v) - float(loss)

    low, high = 0.0, whole_m
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if level(0, middle) > level(1, whole_m - middle) else (low, middle)
    return low


@settings(max_examples=40)
@example(distance_m=2000.0, azimuth_deg=0.0, powers_kw=(0.05, 50.0), heights_m=(900.0, 20.0))
@given(
    distance_m=st.floats(2_000, 300_000),
    azimuth_deg=st.floats(0, 360),
    powers_kw=st.tuples(st.floats(0.05, 50), st.floats(0.05, 50)),
    heights_m=st.tuples(st.floats(20, 900), st.floats(20, 900)),
)
def test_found_to_a_decimetre_on_any_line(
    distance_m: float, azimuth_deg: float, powers_kw: tuple[float, float], heights_m: tuple[float, float]
) -> None:
    """Against plain halving of the same levels; from either site the same place, and on the line."""
    network = line_of(distance_m, azimuth_deg, powers_kw, heights_m)
    placed = place(network)
    a, b = network.sites[:2]
    found, back = equal_level(a, b, network, placed=placed), equal_level(b, a, network, placed=placed)

    whole = float(inverse(*(v for s in (a, b) for v in (placed[s.id].lat_deg, placed[s.id].lon_deg)))[0])
    expected = bisected(network, whole)
    if 1e-6 < expected < whole - 1e-6:
        assert (found.kind, found.crossings_n) == ("equal", 1)
    else:  # halving ran into an end: one of them is the stronger even at the other's foot
        assert (found.kind, found.crossings_n) == ("nearest to equal", 0)
    assert found.ground_m == pytest.approx(expected, abs=0.1)
    assert float(inverse(*found.point, *back.point)[0]) == pytest.approx(0, abs=0.1)
    to_a, to_b = (float(inverse(*found.point, placed[s.id].lat_deg, placed[s.id].lon_deg)[0]) for s in (a, b))
    assert (to_a, to_a + to_b) == pytest.approx((found.ground_m, whole), abs=0.01)


@given(distance_m=st.floats(100, 300_000), azimuth_deg=st.floats(0, 360))
def test_equal_sites_meet_in_the_middle(distance_m: float, azimuth_deg: float) -> None:
    """Two sites of one power and height: half the way, whatever the model."""
    network = line_of(distance_m, azimuth_deg, (1.0, 1.0), (60.0, 60.0))
    found = equal_level(*network.sites[:2], network, placed=place(network))

    assert found.kind == "equal"
    assert found.ground_m == pytest.approx(distance_m / 2, abs=0.01)


def test_three_equal_sites_close() -> None:
    """With every pair's point in the middle of its line no wish is left, so the loop closes."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    for site in document["sites"]:
        site.update(ground_m=300, antenna_m=50, erp_kw={"h": 1, "v": 1}, fed_off_air_from=None)
    (triangle,) = delays(read(json.dumps(document))).triangles

    assert triangle.misclosure_us == pytest.approx(0, abs=1e-6)
    assert triangle.wishes_us == pytest.approx((0, 0, 0), abs=1e-6)
    assert triangle.kinds == ("equal", "equal", "equal")


def test_stronger_along_the_whole_line_is_said() -> None:
    """Two hundred metres from a giant on the same height a whisper is never the stronger: its own foot is nearest."""
    network = line_of(200.0, 30.0, (1e-6, 100.0), (60.0, 60.0))
    found = equal_level(*network.sites[:2], network, placed=place(network))

    assert (found.kind, found.crossings_n, found.ground_m) == ("nearest to equal", 0, 0.0)


def test_of_several_crossings_the_middle_one_is_taken() -> None:
    """A function with three zeros, one of them at an edge and two within one stretch of the first look's width."""
    edges = np.linspace(0.0, 64.0, 65)
    zeros = (10.0, 30.25, 50.5)

    def of(at: Any) -> Any:
        """Zero at each of them."""
        return (at - zeros[0]) * (at - zeros[1]) * (at - zeros[2])

    assert sorted(_crossings(of, edges, of(edges))) == pytest.approx(zeros, abs=0.001)
