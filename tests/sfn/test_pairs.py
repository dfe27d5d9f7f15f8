"""Pairs on their line and loops of three."""

import math
from collections.abc import Callable
from itertools import product
from math import hypot
from typing import Any

import pytest
from pyproj import Geod

from sfn.geodesy.line import direct, inverse
from sfn.geodesy.sites import place
from sfn.pairs import loop, neighbouring_triangles, pair_differences, wished_difference
from sfn.plan import Network
from sfn.timing import delay_table
from tests.sfn.networks import example

SOURCE = "three-transmitter loop constructed from plane geometry at N = 315"


def test_the_difference_falls_by_two_paths_from_end_to_end() -> None:
    """From a to b the difference b - a falls by twice the path."""
    network = example()
    table = delay_table(network)
    for pair in pair_differences(network, table.launches(), placed=place(network)):
        assert pair.difference_at_a_us - pair.difference_at_b_us == pytest.approx(2 * pair.path_us)


@pytest.mark.parametrize("ground_m", [(900, 900, 900), (0, 2400, 900), (1500, 300, 40)])
def test_where_the_difference_is_zero_both_arrive_together(ground_m: tuple[float, float, float]) -> None:
    """Flat triangles over pyproj's distances: a receiver 1.5 m above the mean of both grounds hears both at once."""

    def change(tree: dict[str, Any]) -> None:
        for site, height in zip(tree["sites"], ground_m, strict=True):
            site.update(ground_m=height, antenna_m=60, fed_off_air_from=None)
            site.pop("off_air", None)

    network = example(change)
    launches, at = {s.id: 1000.0 + 4.0 * n for n, s in enumerate(network.sites)}, place(network)
    found = pair_differences(network, launches, placed=at)
    for pair in found:
        a, b = (next(s for s in network.sites if s.id == name) for name in (pair.a, pair.b))
        assert pair.zero_at_m_from_a is not None
        assert pair.zero_rx_above_sea_m == (a.ground_m + b.ground_m) / 2 + 1.5
        whole_m = EARTH.inv(at[a.id].lon_deg, at[a.id].lat_deg, at[b.id].lon_deg, at[b.id].lat_deg)[2]
        times_us = [
            math.hypot(way_m, pair.zero_rx_above_sea_m - site.ground_m - 60) * 1.000315 / 299.792458
            for site, way_m in ((a, pair.zero_at_m_from_a), (b, whole_m - pair.zero_at_m_from_a))
        ]
        assert launches[b.id] + times_us[1] == pytest.approx(launches[a.id] + times_us[0], abs=1e-5)


def on_a_plane(points_km: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Places near the equator at plane coordinates, east and north."""
    places = []
    for east, north in points_km:
        lat, lon = direct(0.0, 10.0, azimuth_deg=0.0, ground_m=north * 1000)
        lat, lon = direct(float(lat), float(lon), azimuth_deg=90.0, ground_m=east * 1000)
        places.append((float(lat), float(lon)))
    return places


def three_sites() -> Network:
    """Sites A (0, 0), B (60, 0), C (30, 50) km at sea level."""

    def change(tree: dict[str, Any]) -> None:
        for site, (lat, lon) in zip(tree["sites"], on_a_plane([(0, 0), (60, 0), (30, 50)]), strict=True):
            site["position"] = {"text": f"{lat:.9f}, {lon:.9f}"}
            site.update(ground_m=0, antenna_m=1, fed_off_air_from=None)

    return example(change)


def test_three_transmitter_loop(published: Callable[..., None]) -> None:
    """The misclosure of the constructed loop, whatever the launches."""
    network = three_sites()
    points = on_a_plane([(33, 0), (46, 24), (14, 22)])
    found = loop(network.sites, points, placed=place(network), refractivity_n=315, rx_above_sea_m=(1, 1, 1))
    reason = "the plane figures hold on the ellipsoid to 0.02 us at this size"

    for what, ours, theirs in zip(("B-A", "C-B", "A-C"), found.wishes_us, (20.020, -9.155, 20.595), strict=True):
        published(f"loop: wished {what}", ours, theirs, tolerance=0.02, unit="us", source=SOURCE, reason=reason)
    published("loop: misclosure", found.misclosure_us, 31.460, tolerance=0.02, unit="us", source=SOURCE, reason=reason)


def test_neighbouring_triangles_need_three_sites_off_one_line() -> None:
    """Three sites make one triangle, two or a straight line make none."""
    network = three_sites()
    assert ((tuple(s.id for s in network.sites)),) == neighbouring_triangles(network, placed=place(network))

    def line(tree: dict[str, Any]) -> None:
        for i, site in enumerate(tree["sites"]):
            site["position"] = {"text": f"{10 + i}.0, 20.0"}

    flat = example(line)
    assert () == neighbouring_triangles(flat, placed=place(flat))


STEP_M = 111_132.0 / 1e3  # the last of three decimals of a degree of latitude, what each site below may be off
EARTH = Geod(ellps="WGS84")


def _difference_m(feeds: dict[str, str], at: dict[str, tuple[float, float]], listener: tuple[float, float]) -> float:
    """Way to `b` and on to the listener minus the same by `a`, along the feeds: what positions have in a difference."""

    def way(a: tuple[float, float], b: tuple[float, float]) -> float:
        return float(EARTH.inv(a[1], a[0], b[1], b[0])[2])

    ways = []
    for site in ("a", "b"):
        total, child = way(at[site], listener), site
        while child in feeds:
            total += way(at[feeds[child]], at[child])
            child = feeds[child]
        ways.append(total)
    return ways[1] - ways[0]


@pytest.mark.parametrize(
    ("feeds", "ends_n"),
    [({}, 2), ({"b": "a"}, 4), ({"b": "p"}, 4), ({"a": "p", "b": "p"}, 6), ({"a": "p", "b": "a"}, 4)],
)
def test_what_positions_are_worth_is_reached_at_worst_and_never_passed(feeds: dict[str, str], ends_n: int) -> None:
    """Sites in a row, each moved by what it may be off, either way: the difference moves by `position_us` at most."""
    places = {"a": (36.3, -84.3), "b": (36.3, -84.1), "p": (36.3, -84.6)}

    def change(tree: dict[str, Any]) -> None:
        for site, name in zip(tree["sites"], places, strict=True):
            site.update(id=name, position={"text": "{:.3f}, {:.3f}".format(*places[name])}, off_air=None,
                        fed_off_air_from=feeds.get(name))  # fmt: skip
            site.pop("off_air")

    network = example(change)
    pairs = pair_differences(network, dict.fromkeys(places, 0.0), placed=place(network))
    (pair,) = [p for p in pairs if (p.a, p.b) == ("a", "b")]
    worst_m = 0.0
    for listener in ((36.3, -85.0), (36.3, -84.2), (36.3, -83.8)):
        before = _difference_m(feeds, places, listener)
        for signs in product((-1, 1), repeat=3):
            moved = {}
            for (name, (lat, lon)), sign in zip(places.items(), signs, strict=True):
                there = EARTH.fwd(lon, lat, 90.0 * sign, STEP_M)
                moved[name] = (there[1], there[0])
            worst_m = max(worst_m, abs(_difference_m(feeds, moved, listener) - before))

    bound_m = pair.position_us * 299.792458 / 1.000315
    assert ends_n * STEP_M == pytest.approx(bound_m, rel=1e-9)
    assert worst_m <= bound_m * (1 + 1e-6)
    if feeds != {"a": "p", "b": "p"}:  # in one row from their parent, its own error cancels
        assert worst_m == pytest.approx(bound_m, rel=1e-3)


def test_a_wish_counts_antennas_above_the_sea_not_below_it() -> None:
    """Near a mast its height counts: the way is the root of ground and height squared, height being mast and ground."""

    def change(tree: dict[str, Any]) -> None:
        for site, text, ground, antenna in zip(
            tree["sites"], ("10.0, 20.0", "10.0, 20.1", "11.0, 20.0"), (500, 20, 0), (250, 40, 10), strict=True
        ):
            site.update(position={"text": text}, ground_m=ground, antenna_m=antenna, fed_off_air_from=None)

    network = example(change)
    lat, lon = direct(10.0, 20.0, azimuth_deg=90.0, ground_m=800.0)
    point = float(lat), float(lon)
    wish = wished_difference(
        *network.sites[:2], point, placed=place(network), refractivity_n=315, rx_above_sea_m=1.5
    )  # fmt: skip
    to_b, _, _ = inverse(*point, 10.0, 20.1)
    ways_m = hypot(800.0, 500 + 250 - 1.5), hypot(float(to_b), 20 + 40 - 1.5)

    assert wish == pytest.approx((ways_m[0] - ways_m[1]) * 1.000315 / 299.792458, abs=1e-6)
