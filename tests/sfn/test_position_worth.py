"""What the uncertainty of positions is worth to a pair: against sites moved about, and receivers all round."""

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sfn.answer.delays import document
from sfn.geodesy.line import direct, inverse
from sfn.geodesy.position import Located
from sfn.geodesy.sites import place
from sfn.pairs import pair_differences
from sfn.plan import Network, read
from sfn.study.delays import delays
from tests.sfn.networks import EXAMPLE_PATH, example

US_PER_M = 1.000315 / 299.792458
Places = dict[str, tuple[float, float]]


def moved(placed: dict[str, Located], rng: np.random.Generator) -> Places:
    """Every site moved by its whole uncertainty in some direction."""
    found = {}
    for name, at in placed.items():
        lat, lon = direct(at.lat_deg, at.lon_deg, azimuth_deg=rng.uniform(0, 360), ground_m=at.position_m)
        found[name] = float(lat), float(lon)
    return found


def way_us(network: Network, places: Places, name: str, point: tuple[float, float]) -> float:
    """Travel along the ground from the studio-fed site at the head of a feed over its relays to a point. [us]"""
    site = next(s for s in network.sites if s.id == name)
    last = float(inverse(*places[name], *point)[0]) * US_PER_M
    if site.fed_off_air_from is None:
        return last
    return way_us(network, places, site.fed_off_air_from, places[name]) + last


def relays_of_relays() -> Network:
    """North feeds gap and a second relay, that one a third; south is fed from the studio."""

    def change(tree: dict[str, Any]) -> None:
        for name, parent, text in (("r2", "north", "36.45, -84.05"), ("r3", "r2", "36.60, -84.30")):
            more = json.loads(json.dumps(tree["sites"][2])) | {"id": name, "name": name, "fed_off_air_from": parent}
            tree["sites"].append(more | {"position": {"text": text, "crs": "EPSG:4326"}})
            tree["stages"].append(tree["stages"][9] | {"id": f"{name}-repeater"})
            tree["sites"][-1]["chains"][0]["stages"] = [f"{name}-repeater"]

    return example(change)


def test_no_move_of_the_sites_costs_more_than_it_says() -> None:
    """Sites moved by what is uncertain, receivers anywhere: within the figure always, and near it without relays."""
    network = relays_of_relays()
    sizes_m = {"north": 40.0, "south": 15.0, "gap": 25.0, "r2": 60.0, "r3": 5.0}
    placed = {name: replace(at, position_m=sizes_m[name]) for name, at in place(network).items()}
    found = pair_differences(network, dict.fromkeys(placed, 0.0), placed=placed)
    stated = {name: (at.lat_deg, at.lon_deg) for name, at in placed.items()}
    rng, worst = np.random.default_rng(3), dict.fromkeys(((p.a, p.b) for p in found), 0.0)
    for _ in range(400):
        places = moved(placed, rng)
        point = float(36.3 + rng.uniform(-0.5, 0.5)), float(-84.2 + rng.uniform(-0.6, 0.6))
        for a, b in worst:
            now, then = (way_us(network, at, b, point) - way_us(network, at, a, point) for at in (places, stated))
            worst[a, b] = max(worst[a, b], abs(now - then))

    for pair in found:
        assert worst[pair.a, pair.b] <= pair.position_us * 1.002 + 1e-6
    studio_fed = next(p for p in found if (p.a, p.b) == ("north", "south"))
    assert worst["north", "south"] >= 0.9 * studio_fed.position_us


def test_two_studio_fed_sites_add_their_own() -> None:
    """Without a feed: both uncertainties as travel time; a relay and its parent count the path between them as well."""
    network = example()
    placed = {name: replace(at, position_m=10.0) for name, at in place(network).items()}
    found = {(p.a, p.b): p for p in pair_differences(network, dict.fromkeys(placed, 0.0), placed=placed)}

    assert found["north", "south"].position_us == pytest.approx(20 * US_PER_M, rel=1e-9)
    assert found["north", "gap"].position_us == pytest.approx(40 * US_PER_M, rel=1e-9)


def coarse() -> Iterator[dict[str, Any]]:
    """The example, and with its second site written to a hundredth of a degree."""
    for text in ("36.20500, -84.21000", "36.21, -84.21"):
        tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
        tree["sites"][1]["position"]["text"] = text
        yield tree


def test_coarse_digits_reach_the_pairs_of_that_site_only() -> None:
    """A hundredth of a degree is over a kilometre: 3.7 us and more stand beside each of its pairs."""
    fine, rough = (document(delays(read(json.dumps(tree))))["pairs"] for tree in coarse())

    for before, after in zip(fine, rough, strict=True):
        if "south" in (after["a"], after["b"]):
            assert after["position_us"] - before["position_us"] > 3.0
        else:
            assert after["position_us"] == before["position_us"] < 0.1
