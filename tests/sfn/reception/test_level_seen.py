"""Errors of levels given what was measured: against scikit-learn's Gaussian process, and the covariance written out."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.aimed import masts_of
from sfn.reception.level_doubt import LevelDoubt, site_mixing
from sfn.reception.level_seen import MOST_VALUES_N, Seen, SeenDraws, seen_of
from tests.sfn.networks import example

GRID = grid_for((36.20, -84.30, 36.36, -84.10), pixel_m=300.0)
DOUBT = LevelDoubt(7.0, whole_db=3.0, distance_m=900.0)
RNG = np.random.default_rng(11)


@pytest.fixture(autouse=True)
def _drawn_alike() -> None:
    """Every test draws the same, whichever ran before it."""
    RNG.bit_generator.state = np.random.default_rng(11).bit_generator.state


def network(sites_n: int) -> Network:
    """The example with some of its sites."""
    whole = example()
    return whole.model_copy(update={"sites": whole.sites[:sites_n]})


def draws(of: Network, pixels: np.ndarray, seen: Seen, doubt: LevelDoubt = DOUBT) -> tuple[SeenDraws, np.ndarray]:
    """Draws at some pixels, and the bearings of all places, measured ones last; bearings are made up."""
    n = len(of.sites)
    bearings = (np.arange(n)[:, None] * 40.0 + RNG.uniform(0, 30, (n, pixels.size + seen.pixel.size))).astype(
        np.float32
    )
    made = SeenDraws(
        of, GRID, [site.id for site in of.sites], pixels=pixels, bearing_deg=bearings[:, : pixels.size], doubt=doubt,
        seen=seen, seen_bearing_deg=bearings[:, pixels.size :],
    )  # fmt: skip
    return made, bearings


def some_seen(n: int, sites_n: int, meter_db: float) -> Seen:
    """Values of a few dB at pixels drawn without order."""
    pixel = RNG.choice(GRID.pixels_n, n, replace=False).astype(np.intp)
    site = RNG.integers(0, sites_n, n).astype(np.intp)
    return Seen(site, pixel, RNG.normal(3.0, 6.0, n), RNG.integers(1, 6, n), meter_db, 3.0)


def xy_m(pixels: np.ndarray) -> np.ndarray:
    """Places of pixels in metres, as the fields count them."""
    row, column = np.divmod(pixels, GRID.columns_n)
    return np.stack([row, column], axis=1) * GRID.pixel_m


def test_of_one_site_mean_and_spread_are_those_of_scikit_learn() -> None:
    """A Gaussian process with a constant and an exponential part (Matern of order 1/2), each value with its own doubt."""
    pixels = RNG.choice(GRID.pixels_n, 200, replace=False).astype(np.intp)
    seen = some_seen(60, 1, 0.0)
    made, _ = draws(network(1), pixels, seen)
    rest = DOUBT.sigma_db**2 - DOUBT.whole_db**2
    kernel = ConstantKernel(DOUBT.whole_db**2) + ConstantKernel(rest) * Matern(DOUBT.distance_m, nu=0.5)
    process = GaussianProcessRegressor(kernel, alpha=9.0 / seen.stretches_n, optimizer=None)
    mean, spread = process.fit(xy_m(seen.pixel), seen.off_db).predict(xy_m(pixels), return_std=True)

    # The torus on which fields are drawn has the correlation of the law within 1e-3 (test_level_doubt).
    assert made.mean_db()[0] == pytest.approx(mean, abs=0.02)
    assert made.spread_db(np.arange(200, dtype=np.intp))[0] == pytest.approx(spread, abs=0.01)
    assert spread.min() < 0.5 * DOUBT.sigma_db


def test_of_several_sites_and_a_meter_off_all_along_it_is_the_covariance_written_out() -> None:
    """Every covariance by its definition, in one matrix of all sites and places, solved by numpy."""
    of = network(3)
    pixels = RNG.choice(GRID.pixels_n, 80, replace=False).astype(np.intp)
    seen = some_seen(40, 3, 1.5)
    made, bearings = draws(of, pixels, seen)
    every = np.concatenate([pixels, seen.pixel])
    mixes = site_mixing(bearings, masts_of(of, [site.id for site in of.sites]), DOUBT).astype(np.float64)
    apart_m = np.linalg.norm(xy_m(every)[:, None] - xy_m(every)[None], axis=2)
    part = (DOUBT.whole_db / DOUBT.sigma_db) ** 2
    like = part + (1 - part) * np.exp(-apart_m / DOUBT.distance_m)
    there = 80 + np.arange(40)
    rows = mixes[there, seen.site]
    ours = 49.0 * (rows @ rows.T) * like[np.ix_(there, there)]
    ours += np.diag(9.0 / seen.stretches_n) + 1.5**2
    for s in range(3):
        across = 49.0 * (mixes[:80, s] @ rows.T) * like[:80][:, there]
        mean = across @ np.linalg.solve(ours, seen.off_db)
        left = 49.0 - np.einsum("pj,jp->p", across, np.linalg.solve(ours, across.T))
        assert made.mean_db()[s] == pytest.approx(mean, abs=0.03)
        assert made.spread_db(np.arange(80, dtype=np.intp))[s] == pytest.approx(np.sqrt(left), abs=0.02)


def test_worlds_scatter_about_the_mean_as_the_spread_says() -> None:
    """400 drawn worlds: mean within four standard errors nearly everywhere, spread within a tenth."""
    of = network(2)
    pixels = RNG.choice(GRID.pixels_n, 60, replace=False).astype(np.intp)
    seen = some_seen(30, 2, 1.5)
    made, _ = draws(of, pixels, seen)
    worlds = []
    for draw in range(400):
        doubts = np.random.default_rng([3, draw]).standard_normal(31)
        worlds.append(made.errors_db([made.unit(k, seed=3, draw=draw) for k in range(2)], doubts=doubts))
    spread = made.spread_db(np.arange(60, dtype=np.intp))
    off = (np.mean(worlds, axis=0) - made.mean_db()) / (spread / 20.0)
    assert np.mean(np.abs(off) < 4.0) > 0.99
    assert np.std(worlds, axis=0).mean() == pytest.approx(spread.mean(), rel=0.05)


def test_far_from_every_road_only_what_a_site_has_alike_is_known_better() -> None:
    """There the spread lies between that of the rest alone and all of it; at a measured pixel it is that of measuring."""
    far, near = np.array([0], np.intp), GRID.columns_n * (GRID.rows_n - 1)
    many = Seen(np.zeros(1, np.intp), np.array([near], np.intp), np.array([5.0]), np.array([900]), 0.0, 3.0)
    made, _ = draws(network(1), np.array([0, near], np.intp), many, LevelDoubt(7.0, whole_db=3.0, distance_m=300.0))
    spread = made.spread_db(np.array([0, 1], np.intp))[0]
    assert np.sqrt(40.0) < spread[0] < 7.0
    assert spread[1] == pytest.approx(0.1, abs=0.01)
    assert made.mean_db()[0][1] == pytest.approx(5.0, abs=0.01)
    assert made.mean_db()[0][0] == pytest.approx(5.0 * 9.0 / 49.0, abs=0.02)
    assert far.size == 1


def test_stretches_are_gathered_by_site_and_pixel() -> None:
    """By hand: two of one pixel are one value, another site's is its own, outside and unknown ones are none."""
    lat, lon = GRID.points_deg
    at = [(float(lat.ravel()[k]), float(lon.ravel()[k])) for k in (5, 5, 5, 9)] + [(40.0, -84.2), (36.3, -84.2)]
    found = seen_of(
        GRID, lat_deg=np.array([a for a, _ in at]), lon_deg=np.array([b for _, b in at]),
        off_db=np.array([2.0, 4.0, 10.0, -1.0, 3.0, np.nan]), site=[0, 0, 1, 0, 0, 0],
    )  # fmt: skip
    assert found.site.tolist() == [0, 0, 1]
    assert found.pixel.tolist() == [5, 9, 5]
    assert found.off_db.tolist() == [3.0, -1.0, 10.0]
    assert found.stretches_n.tolist() == [2, 1, 1]
    assert MOST_VALUES_N >= 1000
    assert place(network(1))
