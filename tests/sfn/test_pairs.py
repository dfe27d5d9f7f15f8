"""Pairs on their line and loops of three."""

from collections.abc import Callable
from typing import Any

import pytest

from sfn.geodesy.line import direct
from sfn.geodesy.sites import place
from sfn.pairs import loop, neighbouring_triangles, pair_differences
from sfn.plan import Network
from sfn.timing import delay_table
from tests.sfn.networks import example

SOURCE = "three-transmitter loop constructed from plane geometry at N = 315"


def test_the_difference_falls_by_two_paths_from_end_to_end() -> None:
    """From a to b the difference b - a falls by twice the path; where it is zero both arrive together."""
    network = example()
    table = delay_table(network)
    for pair in pair_differences(network, table.launches(), placed=place(network)):
        assert pair.difference_at_a_us - pair.difference_at_b_us == pytest.approx(2 * pair.path_us)
        if pair.zero_at_m_from_a is not None:
            share = pair.zero_at_m_from_a / pair.ground_m
            assert pair.difference_at_a_us * (1 - share) + pair.difference_at_b_us * share == pytest.approx(0, abs=1e-9)


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
    found = loop(network.sites, points, placed=place(network), refractivity_n=315, rx_above_sea_m=1)
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
