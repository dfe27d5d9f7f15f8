"""Shares at places of the DAB demo, the whole way from the document, beside draws written from the equations."""

import numpy as np
from pyproj import Geod

import sfn
from sfn.geodesy.sites import place
from sfn.reception.aimed import masts_of
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.of_network import service_of
from tests.sfn.networks import example

# ETSI EN 300 401 mode I: guard interval 246 us, useful symbol 1 ms.
GUARD_US, USEFUL_US, REQUIRED_DB, SIGMA_DB, DRAWS = 504 / 2.048, 1000.0, 15.0, 5.5, 60_000
# At the first two, sites that lie in one direction stand 70 km apart: they were taken for one mast.
PLACES = [(52.930, 8.259), (52.9287, 8.30), *np.random.default_rng(17).uniform([52.2, 8.0], [53.4, 11.0], (14, 2))]


def correlations(lat: float, lon: float, sites: list[tuple[float, float]]) -> np.ndarray:
    """0.5 up to 30 degrees apart in bearing, none from 90 on; 0.9 on one mast."""
    geod, made = Geod(ellps="WGS84"), np.eye(len(sites))
    for i, (lat_i, lon_i) in enumerate(sites):
        for j, (lat_j, lon_j) in enumerate(sites[:i]):
            apart = abs(geod.inv(lon, lat, lon_i, lat_i)[0] - geod.inv(lon, lat, lon_j, lat_j)[0]) % 360.0
            apart = min(apart, 360.0 - apart)
            near = geod.inv(lon_i, lat_i, lon_j, lat_j)[2] < 200.0
            made[i, j] = made[j, i] = 0.9 if near else 0.5 * float(np.clip((90.0 - apart) / 60.0, 0.0, 1.0))
    return made


def drawn(levels: np.ndarray, rare: np.ndarray, arrivals: np.ndarray, noise_dbuvm: float, rho: np.ndarray) -> float:
    """Share of draws whose C/(N+I) reaches 15 dB, the most energy in the guard interval and its slack halved."""
    values, vectors = np.linalg.eigh(rho)
    z = np.random.default_rng(5).standard_normal((DRAWS, levels.size)) @ (vectors * np.sqrt(np.maximum(values, 0))).T
    powers = 10 ** ((levels + SIGMA_DB * z) / 10)
    within = (arrivals[None, :] >= arrivals[:, None]) & (arrivals[None, :] <= arrivals[:, None] + GUARD_US)
    first = np.where(powers @ within.T >= (powers @ within.T).max(axis=1, keepdims=True) * (1 - 1e-9), arrivals, np.inf)
    starts = first.min(axis=1, keepdims=True)
    ends = np.where((arrivals >= starts) & (arrivals <= starts + GUARD_US), arrivals, -np.inf).max(axis=1)
    late = arrivals - (starts[:, 0] - (GUARD_US - (ends - starts[:, 0])) / 2)[:, None]
    part = np.maximum(1 - np.maximum(np.maximum(-late, late - GUARD_US), 0) / USEFUL_US, 0) ** 2
    against = ((1 - part) * powers * 10 ** ((rare - levels) / 10)).sum(axis=1) + 10 ** (noise_dbuvm / 10)
    return float(np.mean(10 * np.log10((part * powers).sum(axis=1) / against) >= REQUIRED_DB))


def test_shares_at_places_are_those_of_draws() -> None:
    """Within 0.03 of 60,000 draws everywhere; a good part of the places is neither served nor lost for sure."""
    demo = sfn.load_demo("dab_plain")
    placed = place(demo.network)
    noise = noise_field_dbuvm(service_of(demo.network), frequency_mhz=demo.network.frequency_mhz)
    apart, shares = [], []
    for lat, lon in PLACES:
        answer = sfn.point(demo, float(lat), float(lon)).document
        signals = answer["signals"]
        sites = [(placed[signal["site"]].lat_deg, placed[signal["site"]].lon_deg) for signal in signals]
        levels, rare, arrivals = (
            np.array([signal[key] for signal in signals]) for key in ("level_dbuvm", "level_1pct_dbuvm", "arrival_us")
        )
        shares.append(answer["quality"]["coverage_probability"])
        apart.append(shares[-1] - drawn(levels, rare, arrivals, noise, correlations(lat, lon, sites)))

    assert np.abs(apart).max() < 0.03
    assert sum(0.05 < share < 0.95 for share in shares) >= 5


def test_only_sites_that_stand_together_share_a_mast() -> None:
    """A hundred metres apart, and a kilometre; in one direction means nothing."""

    def change(tree) -> None:
        for site, north_deg in zip(tree["sites"], (0.0, 100 / 111_100, 1000 / 111_100, 0.5), strict=False):
            site["position"] = {"text": f"{36.3 + north_deg:.7f}, -84.2000000"}

    network = example(change)
    ids = [site.id for site in network.sites][:3]

    assert masts_of(network, ids).tolist() == [0, 0, 2]
    assert masts_of(network, ids[::-1]).tolist() == [0, 1, 1]
    assert masts_of(network, ids[:1]).tolist() == [0]
