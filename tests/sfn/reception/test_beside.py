"""OFDM beside stations with other programmes: shares against draws of this file's own, on point, map, road and search.

In each draw a place is served where C/(N+I) suffices and the strongest of ours, as drawn, reaches what every other
station asks for, as drawn: spread 5.5 dB for all, correlated 0.5 up to 30 degrees apart, falling to 0 at 90, 0.9 on one
mast.
"""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from sfn.answer.point import document
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.along import line_signals
from sfn.reception.beside import Around, Beside, joint_share
from sfn.reception.classes import OTHER_STATION
from sfn.reception.coverage import coverage
from sfn.reception.drawn import Spread, drawn_beside, drawn_coverage
from sfn.reception.others import needed_along
from sfn.reception.quality import service_quality, yardstick
from sfn.solve.objective import objective, quality_totals, score
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.point import judged, point_signals
from sfn.study.zones import zones
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import service
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import example
from tests.sfn.reception.test_drawn import MODES, SIGMA_DB, served_of

DRAWS, WITHIN = 60_000, 0.03
DAB = "dab-mode-1"


def fading(bearings_deg: np.ndarray, masts: np.ndarray, rng: np.random.Generator, draws: int = DRAWS) -> np.ndarray:
    """Levels around their medians, shape (D, N), by the correlations in this file's head. [dB]"""
    apart = np.abs(bearings_deg[:, None] - bearings_deg[None, :]) % 360
    apart = np.minimum(apart, 360 - apart)
    matrix = 0.5 * np.clip((90 - apart) / 60, 0, 1)
    matrix[masts[:, None] == masts[None, :]] = 0.9
    np.fill_diagonal(matrix, 1.0)
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.clip(values, 0, None))
    return SIGMA_DB * (rng.standard_normal((draws, len(masts))) @ root.T)


def both_of(levels, arrivals, asked, bearings, masts, noise_dbuvm, rng, rarer_db=0.0) -> tuple[float, float]:
    """Share served by our own sites, and beside the others, of DAB with most energy."""
    faded, n = fading(bearings, masts, rng), len(levels)
    own = served_of(DAB, "quasi-optimal", levels, arrivals, noise_dbuvm, faded[:, :n], rarer_db)
    top = (levels + faded[:, :n]).max(axis=1)
    reached = (top[:, None] >= asked + faded[:, n:]).all(axis=1)
    return float(own.mean()), float((own & reached).mean())


def test_shares_beside_others_against_draws() -> None:
    """60 random sets of one to five own sites and one to three others round a place: drawn within 0.03, quick within 0.15."""
    rng, of = np.random.default_rng(5), service(DAB)
    noise = noise_field_dbuvm(of)
    quick_off, spoilt = [], 0
    for _ in range(60):
        n, o = int(rng.integers(1, 6)), int(rng.integers(1, 4))
        bearings = rng.uniform(0, 360, n + o)
        masts = np.arange(n + o)
        if rng.random() < 0.3:
            masts[n], bearings[n] = 0, bearings[0]  # another programme on our own mast
        where = np.stack([50 + 0.2 * np.cos(np.radians(bearings)), 10 + 0.2 * np.sin(np.radians(bearings)) / 0.6428], 1)
        levels = noise + MODES[DAB][4][0] + rng.normal(8.0, 6.0, n)
        arrivals = rng.uniform(0.0, rng.uniform(0.5, 2.0) * MODES[DAB][1], n)
        asked = levels.max() - rng.uniform(-3.0, 20.0, o)
        own, both = both_of(levels, arrivals, asked, bearings, masts, noise, rng)
        spread = Spread(SIGMA_DB)
        at = np.array([50.0]), np.array([10.0])
        around = Around(*at, where[:n], where[n:], masts, spread)
        given = {"placing": Placing("quasi-optimal"), "spread": spread, "bearing_deg": bearings[:n, None]}
        ours = drawn_beside(levels[:, None], arrivals[:, None], of, strangers=around.strangers(asked[:, None]), **given)
        assert float(ours.own[0]) == pytest.approx(own, abs=WITHIN)
        assert float(ours.share[0]) == pytest.approx(both, abs=WITHIN)
        quick = joint_share(np.array([own]), around.share(levels[:, None], asked[:, None]))
        quick_off.append(float(quick[0]) - both)
        spoilt += own - both > 0.05
    assert spoilt > 20  # the others matter in these sets
    off = np.array(quick_off)
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert np.abs(off).max() < 0.15


def test_no_other_changes_nothing_and_many_are_counted() -> None:
    """Others that ask for nothing leave each share as it was; of six equal ones four are drawn, and the rest count."""
    rng, of = np.random.default_rng(9), service(DAB)
    levels, arrivals = rng.normal(50, 8, (3, 500)), rng.uniform(0, 300, (3, 500))
    spread, at = Spread(SIGMA_DB), (np.full(500, 50.0), np.full(500, 10.0))
    where = np.array([[51.0, 10.0 + k] for k in range(6)])
    around = Around(*at, where[:3], where, np.arange(9), spread)
    given = {"placing": Placing(), "spread": spread}
    silent = drawn_beside(levels, arrivals, of, strangers=around.strangers(np.full((6, 500), -np.inf)), **given)
    np.testing.assert_allclose(silent.share, drawn_coverage(levels, arrivals, of, **given), atol=0.06)
    np.testing.assert_array_equal(silent.share, silent.own)
    every = drawn_beside(levels, arrivals, of, strangers=around.strangers(np.full((6, 500), 45.0)), **given)
    four = drawn_beside(
        levels,
        arrivals,
        of,
        strangers=around.strangers(np.array([[45.0]] * 4 + [[-np.inf]] * 2) * np.ones((1, 500))),
        **given,
    )
    assert (every.share <= four.share).all()
    assert (every.share[levels.max(axis=0) < 40.0] < 0.3).all()


def far_station(**changes: Any) -> Network:
    """The DAB example with another programme's transmitter on the channel, 30 km away."""
    other = {
        "id": "far", "name": "Far station", "position": {"text": "36.50, -83.95"}, "ground_m": 400.0,
        "antenna_m": 100.0, "erp_kw": {"h": 0.3},
    }  # fmt: skip
    return example(lambda tree: tree.update(service=DAB, frequency_mhz=223.936, other_transmitters=[other | changes]))


def test_point_map_road_and_search_draw_the_others_alike() -> None:
    """One network: the point's share against draws from its own JSON, the map's and the road's against the point's,
    and the class goes by 70 and 99 % of places.
    """
    network, rng = far_station(), np.random.default_rng(3)
    table = delay_table(network)
    launches, yard = table.launches(), yardstick(network)
    noise = noise_field_dbuvm(yard.carried, frequency_mhz=network.frequency_mhz)
    grid = grid_for((36.2, -84.5, 36.6, -83.9), pixel_m=3000.0)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=place(network), ground=Ground(), executor=executor)
    on_map = zones(network, computed, launches, drawn=True)
    quick = zones(network, computed, launches)
    lat, lon = (part.ravel() for part in np.meshgrid(grid.lat_deg, grid.lon_deg, indexing="ij"))
    signals = line_signals(network, lat, lon)
    beside = needed_along(network, signals, np.arange(len(network.sites)), yard.carried)
    assert beside is not None
    assert on_map.quality.probability is not None
    near = np.flatnonzero((on_map.quality.probability > 0.05) & (on_map.quality.probability < 0.98))
    seen = 0
    for k in rng.permutation(near)[:25]:
        found = point_signals(network, lat_deg=float(lat[k]), lon_deg=float(lon[k]))
        quality = document(found, judged(network, found, table).quality)["quality"]
        rows = document(found)["signals"]
        levels = np.array([row["level_dbuvm"] for row in rows])
        rarer = np.array([row["level_1pct_dbuvm"] for row in rows]) - levels
        bearings = np.array(
            [(row["bearing_deg"] + 180) % 360 for row in rows] + [float(signals.others.bearing_deg[0, k])]
        )
        own, both = both_of(
            levels, np.array([row["arrival_us"] for row in rows]), beside.each_dbuvm[:, k], bearings,
            np.arange(len(bearings)), noise, rng, rarer,
        )  # fmt: skip
        assert quality["coverage_probability"] == pytest.approx(both, abs=WITHIN)
        assert quality["coverage_probability_own"] == pytest.approx(own, abs=WITHIN)
        assert "count" in quality["coverage_probability_says"]
        assert float(on_map.quality.probability[k]) == pytest.approx(both, abs=WITHIN)
        assert quality["coverage_probability_quick"] == pytest.approx(float(quick.quality.probability[k]), abs=0.02)
        assert quality["coverage_probability_quick"] == pytest.approx(both, abs=0.15)
        if quality["coverage_probability_quick"] < 0.69:
            assert quality["class"] not in ("with margin", "just enough")
        if quality["coverage_probability_quick"] < 0.98:
            assert quality["class"] != "with margin"
        seen += both < own - 0.05
    assert seen > 5

    counted = network_objective(network, computed, Asked(), executor=None)
    lost = score(counted, np.array([launches[one] for one in computed.sites])).without_service
    served = quick.classes.served_km2
    assert lost == pytest.approx(float(computed.area_km2().sum()) - served, rel=1e-6)
    assert quick.classes.area_km2[OTHER_STATION] > 0


def test_the_search_counts_the_others_as_the_map_does() -> None:
    """Random levels, offsets and others: totals of the compiled search are those of the classes, place by place."""
    network, rng = far_station(), np.random.default_rng(12)
    yard = yardstick(network)
    levels = rng.normal(55, 9, (3, 4000)).astype(np.float32)
    travel = rng.uniform(0, 400, (3, 4000))
    at = rng.uniform(36, 37, 4000), rng.uniform(-85, -84, 4000)
    around = Around(*at, rng.uniform(36, 37, (3, 2)) - [0, 121], np.array([[36.5, -83.9]]), np.arange(4), yard.spread)
    asked = levels.max(axis=0)[None].astype(float) - rng.uniform(-4, 25, (1, 4000))
    other = Beside(asked[0], around.share(levels, asked))
    given = {"frequency_mhz": network.frequency_mhz}
    what = objective(
        ("a", "b", "c"), levels, levels, travel, yard, weight=np.ones(4000), unit="km2", other=other, **given
    )
    for _ in range(4):
        offsets = rng.uniform(-200, 200, 3)
        quality = service_quality(
            levels, travel + offsets[:, None], yard, level_1pct_dbuvm=levels, other=other, **given
        )
        totals = quality_totals(quality, np.ones(4000), np.ones(4000, bool))
        found = score(what, offsets)
        assert found.without_service == pytest.approx(totals[0], abs=2)
        assert found.below_target == pytest.approx(totals[1], abs=2)


def test_the_requirement_is_that_of_the_margin_too() -> None:
    """An implementation margin raises what ours must reach beside the others, on the map as at a point."""
    plain, raised = far_station(), far_station().model_copy(deep=True)
    raised = example(
        lambda tree: tree.update(
            service=DAB, frequency_mhz=223.936, thresholds={"implementation_margin_db": 3.0},
            other_transmitters=[one.model_dump(mode="json", exclude_none=True) for one in plain.other_transmitters or ()],
        )
    )  # fmt: skip
    grid = grid_for((36.25, -84.30, 36.35, -84.15), pixel_m=4000.0)
    margins = []
    for network in (plain, raised):
        with ThreadPoolExecutor(2) as executor:
            computed = coverage(network, grid, placed=place(network), ground=Ground(), executor=executor)
        found = zones(network, computed, delay_table(network).launches()).quality.margin_db
        lat, lon = grid.lat_deg[0], grid.lon_deg[0]
        point = point_signals(network, lat_deg=float(lat), lon_deg=float(lon))
        quality = judged(network, point, delay_table(network)).quality
        assert quality is not None
        assert quality.margin_db == pytest.approx(float(found[0]), abs=0.3)
        margins.append(quality.margin_db)
    assert margins[1] == pytest.approx(margins[0] - 3.0, abs=0.05)
