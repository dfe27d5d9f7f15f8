"""Random fields of level errors against what theory says of them: variance, over distance, between sites."""

import json

import numpy as np
import pytest

from sfn.geodesy.grid import Grid, grid_for
from sfn.plan import Network, read
from sfn.reception.level_doubt import FieldDraws, LevelDoubt, site_mixing, usual_sigma_db
from tests.sfn.networks import EXAMPLE_PATH

DRAWS_N = 400


@pytest.fixture(scope="module")
def network() -> Network:
    """Three sites."""
    return read(EXAMPLE_PATH.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def grid() -> Grid:
    """Pixels of 250 m."""
    return grid_for((36.1, -84.4, 36.3, -84.1), pixel_m=250.0)


def drawn(network: Network, grid: Grid, doubt: LevelDoubt, bearings: tuple[float, ...]) -> np.ndarray:
    """Errors of three sites everywhere on the grid, with the same bearings at all places, shape (draws, S, rows, columns)."""
    pixels = np.arange(grid.pixels_n)
    bearing = np.repeat(np.array(bearings, np.float32)[:, None], grid.pixels_n, axis=1)
    sites = [site.id for site in network.sites]
    fields = FieldDraws(network, grid, sites, pixels=pixels, bearing_deg=bearing, doubt=doubt)
    made = [
        fields.errors_db([fields.unit(k, seed=7, draw=n) for k in range(3)]).reshape(3, *grid.shape)
        for n in range(DRAWS_N)
    ]
    return np.stack(made)


def test_variance_and_correlation_over_distance_and_between_sites(network: Network, grid: Grid) -> None:
    """sigma^2; (w/s)^2 + (1 - (w/s)^2) exp(-d/D); 0.5 to 30 degrees apart, half of it at 60, none at 90."""
    doubt = LevelDoubt(7.0, whole_db=3.0, distance_m=1000.0, site_correlation_ratio=0.5)
    errors = drawn(network, grid, doubt, (10.0, 70.0, 200.0))
    assert abs(errors.mean()) < 3.0 * 7.0 * (3 / 7) / np.sqrt(DRAWS_N * 2)
    # The variance of an estimate from few independent worlds is that of the part alike everywhere: 2 s^4/(3 N) at most.
    assert errors.var() == pytest.approx(49.0, rel=0.06)
    alike = (3.0 / 7.0) ** 2
    for steps in (1, 2, 4, 8, 16):
        for axis in (2, 3):
            a, b = (np.take(errors, np.arange(s, errors.shape[axis] - steps + s), axis=axis) for s in (0, steps))
            found = float((a * b).mean() / np.sqrt((a**2).mean() * (b**2).mean()))
            d_m = steps * grid.pixel_m
            assert found == pytest.approx(alike + (1 - alike) * np.exp(-d_m / 1000.0), abs=0.05), (steps, axis)
    diagonal = errors[:, :, 4:, 4:], errors[:, :, :-4, :-4]
    d_m = 4 * np.sqrt(2.0) * grid.pixel_m  # no direction is preferred
    found = float((diagonal[0] * diagonal[1]).mean() / (diagonal[0] ** 2).mean())
    assert found == pytest.approx(alike + (1 - alike) * np.exp(-d_m / 1000.0), abs=0.05)
    between = np.einsum("nirc,njrc->ij", errors, errors) / errors[:, 0].size / 49.0
    assert between[0, 1] == pytest.approx(0.25, abs=0.05)  # 60 degrees apart
    assert between[0, 2] == pytest.approx(0.0, abs=0.05)
    assert between[1, 2] == pytest.approx(0.0, abs=0.05)


def test_two_ends_of_the_map_know_nothing_of_each_other(network: Network, grid: Grid) -> None:
    """The torus is longer than the map."""
    errors = drawn(network, grid, LevelDoubt(6.0, whole_db=0.0, distance_m=500.0), (0.0, 0.0, 0.0))
    assert float((errors[..., 0] * errors[..., -1]).mean()) / 36.0 == pytest.approx(0.0, abs=0.03)
    between = float((errors[:, 0] * errors[:, 1]).mean()) / 36.0
    assert between == pytest.approx(0.5, abs=0.03)


def test_the_root_of_the_correlation_is_one() -> None:
    """A A' is the correlation, worked out here by itself, where that is one; rows are of length 1 wherever it is not."""
    rng = np.random.default_rng(3)
    bearing = rng.uniform(0, 360, (5, 200)).astype(np.float32)
    masts = np.array([0, 1, 1, 3, 4])
    doubt = LevelDoubt(7.0, site_correlation_ratio=0.5, cosited_correlation_ratio=0.9)
    bearing[2] = bearing[1]
    root = site_mixing(bearing, masts, doubt).astype(np.float64)
    assert np.allclose(np.linalg.norm(root, axis=2), 1.0, atol=1e-5)
    checked = 0
    for p in range(200):
        wanted = np.eye(5)
        for i in range(5):
            for j in range(5):
                if i != j:
                    apart = abs((bearing[i, p] - bearing[j, p] + 180) % 360 - 180)
                    wanted[i, j] = 0.9 if masts[i] == masts[j] else 0.5 * min(max((90 - apart) / 60, 0), 1)
        if np.linalg.eigvalsh(wanted).min() > 1e-6:
            checked += 1
            assert np.allclose(root[p] @ root[p].T, wanted, atol=1e-4)
    assert checked > 100


def test_a_draw_hangs_on_seed_and_site_alone(network: Network, grid: Grid) -> None:
    """The same world with other sites beside it: common random numbers over plans."""
    doubt = LevelDoubt(7.0)
    bearing = np.zeros((3, 40), np.float32)
    pixels = np.arange(40)
    ids = [site.id for site in network.sites]
    every = FieldDraws(network, grid, ids, pixels=pixels, bearing_deg=bearing, doubt=doubt)
    one = FieldDraws(network, grid, ids[1:], pixels=pixels, bearing_deg=bearing[1:], doubt=doubt)
    assert np.array_equal(every.unit(1, seed=4, draw=9), one.unit(0, seed=4, draw=9))
    assert not np.array_equal(every.unit(1, seed=4, draw=9), every.unit(1, seed=4, draw=10))
    assert not np.array_equal(every.unit(1, seed=4, draw=9), every.unit(2, seed=4, draw=9))


def test_spread_by_model_and_class(network: Network) -> None:
    """More over a smooth earth, more indoors: GE06 makes 6.3 and 7.8 dB of 5.5 outdoors."""
    assert usual_sigma_db(network, smooth=False)[0] == 7.0
    assert usual_sigma_db(network, smooth=True)[0] == 10.0
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["receiver"] = {**tree.get("receiver", {}), "indoors": "traditional"}
    indoors = read(json.dumps(tree))
    assert usual_sigma_db(indoors, smooth=False)[0] == pytest.approx(np.hypot(7.0, 3.0))
    assert np.hypot(5.5, 3.0) == pytest.approx(6.3, abs=0.05)
    assert np.hypot(5.5, 5.5) == pytest.approx(7.8, abs=0.05)


@pytest.mark.parametrize(
    "wrong",
    [{"whole_db": 8.0}, {"whole_db": -1.0}, {"distance_m": 0.0}, {"site_correlation_ratio": 1.0}],
)
def test_no_spread_is_refused(wrong: dict[str, float]) -> None:
    """By name, with what was given."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        LevelDoubt(7.0, **wrong)
