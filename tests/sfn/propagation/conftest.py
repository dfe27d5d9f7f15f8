"""Random terrains for the tests of propagation: hills, plains, sea, cover, any spacing."""

import itertools

import numpy as np
import pytest

ZONES = ("inland", "coast", "sea")


def _hills(rng, distance_km, *, relief_m):
    """Ground heights: a dozen waves, and a little roughness, above sea level."""
    h = sum(
        relief_m / 4 * rng.random() * np.sin(distance_km * 2 * np.pi / rng.uniform(0.5, 60.0) + rng.uniform(0, 7))
        for _ in range(12)
    )
    h = h + rng.normal(size=distance_km.size) * relief_m * 0.05
    return h - h.min()


def _zones(rng, count):
    """Zone indices in a few sections."""
    out = np.zeros(count, dtype=np.int8)
    edges = [0, *sorted(rng.integers(0, count, rng.integers(1, 6)).tolist()), count]
    for a, b in itertools.pairwise(edges):
        out[a:b] = rng.integers(0, 3)
    return out


def _random_path(seed, *, points=None, regular=False):
    """Keyword arguments of `p1812.path_loss` for one random path; `distance_km` and `ground_m` among them."""
    rng = np.random.default_rng(seed)
    count = points or int(rng.integers(6, 500))
    length_km = 10 ** rng.uniform(np.log10(0.5), np.log10(250.0))
    d = np.linspace(0.0, length_km, count)
    if not regular:
        d[1:-1] += rng.uniform(-0.45, 0.45, count - 2) * length_km / (count - 1)
    h = _hills(rng, d, relief_m=rng.choice([0.0, 5.0, 50.0, 300.0, 1000.0]))
    zone = np.zeros(count, dtype=np.int8) if rng.random() < 0.5 else _zones(rng, count)
    h[zone == 2] = 0.0
    cover = rng.choice([0.0, 10.0, 20.0], count) * (zone != 2) * (rng.random() < 0.6)
    return {
        "distance_km": d, "ground_m": h, "cover_m": cover, "zone": [ZONES[z] for z in zone],
        "frequency_mhz": float(10 ** rng.uniform(1.5, 3.75)), "tx_height_m": float(10 ** rng.uniform(0.0, 2.7)),
        "rx_height_m": float(10 ** rng.uniform(0.0, 1.5)), "polarisation": str(rng.choice(["H", "V"])),
        "time_pct": float(rng.choice([1.0, 10.0, 50.0])), "latitude_deg": float(rng.uniform(-75.0, 75.0)),
        "delta_n": float(rng.uniform(30.0, 70.0)), "surface_refractivity_n0": float(rng.uniform(290.0, 370.0)),
    }  # fmt: skip


@pytest.fixture(scope="session")
def random_path():
    """Random paths by seed."""
    return _random_path


@pytest.fixture(scope="session")
def hills():
    """Random hills over given distances."""
    return _hills
