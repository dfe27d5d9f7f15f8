"""The largest town that holds each place, held to every pair; and lists that would take minutes pair by pair."""

import time

import numpy as np
import pytest
from numpy.typing import NDArray

from sfn.reception.towns import largest_town

Floats = NDArray[np.float64]
LEAST, RATIO = 50_000.0, 5.0


def reach_m(people: Floats) -> Floats:
    """Of a disc of 1,500 people/km2, at most 15 km."""
    return np.asarray(np.minimum(1000 * np.sqrt(people / (np.pi * 1500)), 15_000.0))


def held(lat: Floats, lon: Floats, people: Floats) -> NDArray[np.intp]:
    """The function under test."""
    return largest_town(lat, lon, people, reach_m=reach_m, least_people=LEAST, ratio=RATIO)


def by_pairs(lat: Floats, lon: Floats, people: Floats) -> list[int]:
    """Every place against every town, by the haversine on a sphere of 60.04 nautical miles to a degree."""
    phi, lam, found = np.radians(lat), np.radians(lon), []
    for k in range(len(lat)):
        half = np.sin((phi - phi[k]) / 2) ** 2 + np.cos(phi) * np.cos(phi[k]) * np.sin((lam - lam[k]) / 2) ** 2
        away_m = 2 * np.degrees(np.arcsin(np.sqrt(half))) * 111_195.0
        holds = (people >= LEAST) & (away_m < reach_m(people)) & (people[k] * RATIO <= people)
        most = max(people[holds], default=0.0)
        found.append(int(np.flatnonzero(holds & (people == most))[0]) if holds.any() else -1)
    return found


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("middle", [(50.0, 9.0), (84.7, -120.0), (-12.0, 180.0)])
def test_each_place_has_the_town_that_every_pair_gives(middle: tuple[float, float], seed: int) -> None:
    """Crowded and loose, up north and across 180 degrees, with towns at one spot and of one size."""
    rng = np.random.default_rng(seed)
    places_n, wide_deg = 600, (0.02, 0.3, 1.5)[seed % 3]
    lat = np.clip(middle[0] + wide_deg * rng.uniform(-1, 1, places_n), -85, 85)
    lon = (middle[1] + wide_deg / np.cos(np.radians(middle[0])) * rng.uniform(-1, 1, places_n) + 180) % 360 - 180
    people = np.round(10 ** rng.uniform(2, (5.2, 7.5)[seed % 2], places_n), (0, -4)[seed % 4 == 3])
    people[rng.integers(places_n, size=20)] = 0
    again = rng.integers(places_n, size=(2, 80))
    lat[again[0]], lon[again[0]] = lat[again[1]], lon[again[1]]

    found = held(lat, lon, people)
    assert found.tolist() == by_pairs(lat, lon, people)
    assert (found >= 0).any()


def test_nobody_and_no_town() -> None:
    """Empty lists and villages alone."""
    none = np.empty(0)
    assert held(none, none, none).tolist() == []
    assert held(np.array([1.0, 1.0]), np.array([2.0, 2.0]), np.array([10.0, 49_999.0])).tolist() == [-1, -1]


@pytest.mark.parametrize("wide_deg", [0.0, 1e-9, 0.5, 60.0])
def test_a_hundred_thousand_towns_do_not_take_minutes(wide_deg: float) -> None:
    """At one spot, nearly so, in one county, all over the world; pair by pair each took a minute and more."""
    rng = np.random.default_rng(1)
    lat, lon = wide_deg * rng.uniform(-1, 1, (2, 100_000))
    started = time.process_time()
    held(lat, lon, 10 ** rng.uniform(4.7, 7.5, 100_000))
    assert time.process_time() - started < 15
