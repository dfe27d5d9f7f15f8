"""Coverage probability with the receiver following, against draws of this file's own: no code of the kernel is used."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.reception.drawn import Spread, drawn_coverage
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import service

DRAWS, SETS, WITHIN = 100_000, 100, 0.03
SIGMA_DB = 5.5
# Tu, Tg, Tp, Te in us and C/N for Rice, Rayleigh, 0 dB echo: typed from the standards and the issue.
MODES = {
    "dab-mode-1": (1000.0, 246.09375, None, None, (15.0, 15.0, 15.0)),
    "dvb-t2-32k-19/128-pp2-8mhz": (3584.0, 532.0, 532.0, 3584 / 6, (20.0, 22.1, 22.6)),
}
# The same of a mode with pilots every third carrier: full to 7/8 of Tu/Dx.
EDGES = MODES | {"dvb-t-8k-1/4-8mhz": (896.0, 224.0, 7 / 8 * 896 / 3, 896 / 3, (21.0, 23.2, 23.7))}


def windows_of(strategy: str, powers: np.ndarray, arrivals: np.ndarray, guard_us: float, required_db: float):
    """t0 of each draw, shape (D,): written from the issue's definitions."""
    top = powers.max(axis=1, keepdims=True)
    if strategy == "strongest":
        return arrivals[powers.argmax(axis=1)] - guard_us / 4
    if strategy == "first":
        loud = powers >= top * 10 ** (-min(max(required_db, 8.0), 20.0) / 10)
        return np.where(loud, arrivals, np.inf).min(axis=1) - max(guard_us / 16, 2.0)
    if strategy == "centre-of-gravity":
        return powers @ arrivals / powers.sum(axis=1) - guard_us / 2
    seen = powers  # every signal: none of these sets lies 50 dB below the noise
    within = (arrivals[None, :] >= arrivals[:, None]) & (arrivals[None, :] <= arrivals[:, None] + guard_us)
    energy = np.where(seen > 0, seen @ within.T, -1.0)
    energy[energy < energy.max(axis=1, keepdims=True) * (1 - 1e-9)] = -1.0
    starts = np.where(energy > 0, arrivals, np.inf).min(axis=1)
    inside = (seen > 0) & (arrivals >= starts[:, None]) & (arrivals <= starts[:, None] + guard_us)
    ends = np.where(inside, arrivals, -np.inf).max(axis=1)
    return starts - (guard_us - (ends - starts)) / 2


def share_of(mode: str, strategy: str, levels, arrivals, noise_dbuvm: float, faded_db: np.ndarray) -> float:
    """Share of draws that are served, from the equations."""
    return float(np.mean(served_of(mode, strategy, levels, arrivals, noise_dbuvm, faded_db)))


def served_of(
    mode: str, strategy: str, levels, arrivals, noise_dbuvm: float, faded_db: np.ndarray, rarer_db=0.0
) -> np.ndarray:
    """Which draws are served, shape (D,); `rarer_db`: by how much levels at 1 % of time lie above the medians."""
    useful_us, guard_us, full_us, limit_us, (rice, rayleigh, echo) = EDGES[mode]
    powers = 10 ** ((levels + faded_db) / 10)
    late = (
        arrivals - windows_of(strategy, powers, arrivals, guard_us, max(rice, rayleigh) if full_us else 15.0)[:, None]
    )
    coherent = np.maximum(1 - np.maximum(np.maximum(-late, late - guard_us), 0) / useful_us, 0) ** 2
    part, against = coherent, 1 - coherent
    if full_us is not None and limit_us is not None:
        x = (np.abs(late - guard_us / 2) - full_us / 2) / ((limit_us - full_us) / 2)
        part = coherent * np.where(x < 1, np.cos(np.pi / 2 * np.clip(x, 0, 1)) ** 2, 0)
        against = 1 - coherent + coherent * np.clip(x, 0, 2) ** 2 / 2 * useful_us / (useful_us - limit_us)
    ordered = -np.sort(-part * powers, axis=1)
    total = ordered.sum(axis=1)
    second = ordered[:, 1] if ordered.shape[1] > 1 else np.zeros(len(ordered))
    two = rice + (echo - rice) * np.log2(1 + second / ordered[:, 0])
    needed = two + (rayleigh - two) * (1 - ((ordered[:, 0] + second) / total) ** 2.5)
    interference = (against * powers * 10 ** (np.asarray(rarer_db) / 10)).sum(axis=1) + 10 ** (noise_dbuvm / 10)
    return np.asarray(10 * np.log10(total / interference) >= needed)


@pytest.mark.parametrize("strategy", ["quasi-optimal", "strongest", "first", "centre-of-gravity"])
@pytest.mark.parametrize("mode", list(MODES))
def test_share_of_places_against_a_hundred_thousand_draws(mode: str, strategy: str) -> None:
    """On 100 random sets (a quarter of them for each strategy) the share is within 0.03 of 100,000 draws."""
    of, rng = service(mode), np.random.default_rng(len(mode) + len(strategy))
    noise = noise_field_dbuvm(of)
    worst = 0.0
    for _ in range(SETS // 8 + 1):
        n = int(rng.integers(2, 7))
        levels = noise + MODES[mode][4][0] + rng.normal(8.0, 8.0, n)
        arrivals = rng.uniform(0.0, rng.uniform(0.5, 2.5) * MODES[mode][1], n)
        theirs = share_of(mode, strategy, levels, arrivals, noise, SIGMA_DB * rng.standard_normal((DRAWS, n)))
        ours = drawn_coverage(
            levels[:, None], arrivals[:, None], of, placing=Placing(strategy), spread=Spread(SIGMA_DB, 0.0)
        )
        worst = max(worst, abs(float(ours[0]) - theirs))
    assert worst < WITHIN


@pytest.mark.parametrize("strategy", ["quasi-optimal", "strongest", "first", "centre-of-gravity"])
@pytest.mark.parametrize("mode", ["dvb-t2-32k-19/128-pp2-8mhz", "dvb-t-8k-1/4-8mhz"])
def test_shares_at_the_edge_of_the_equaliser(mode: str, strategy: str) -> None:
    """Echoes at 0.8 to 1.1 of Tu/Dx, before and after: full to 57/64 or 7/8 of it, cosine squared to nothing at it."""
    of, rng = service(mode), np.random.default_rng(len(mode) * len(strategy))
    noise, limit_us = noise_field_dbuvm(of), EDGES[mode][3]
    assert limit_us is not None
    worst, shares = 0.0, []
    for _ in range(15):
        n = int(rng.integers(2, 6))
        levels = noise + EDGES[mode][4][0] + 12.0 + np.append(0.0, rng.normal(-24.0, 8.0, n - 1))
        echoes = limit_us * rng.uniform(0.8, 1.1, n - 1) * rng.choice([1.0, 1.0, -1.0], n - 1)
        arrivals = np.concatenate([[0.0], echoes])
        with np.errstate(divide="ignore", invalid="ignore"):  # draws in which nothing is useful are not served
            theirs = share_of(mode, strategy, levels, arrivals, noise, SIGMA_DB * rng.standard_normal((DRAWS, n)))
        ours = drawn_coverage(
            levels[:, None], arrivals[:, None], of, placing=Placing(strategy), spread=Spread(SIGMA_DB, 0.0)
        )
        shares.append(theirs)
        worst = max(worst, abs(float(ours[0]) - theirs))
    assert worst < WITHIN
    assert np.ptp(shares) > 0.2


def test_sites_near_in_bearing_vary_together() -> None:
    """Two sites 10 and two 60 degrees apart, two on one mast, two in one direction: correlations typed here."""
    of, rng = service("dab-mode-1"), np.random.default_rng(6)
    noise = noise_field_dbuvm(of)
    levels, arrivals = np.full(2, noise + 15.0 - 2.0), np.array([0.0, 30.0])
    shares = []
    for bearings, masts, rho in (
        ([40.0, 50.0], None, 0.5), ([350.0, 50.0], None, 0.25), ([90.0, 90.2], [4, 4], 0.9),
        ([0.0, 180.0], None, 0.0), ([90.0, 90.0], [0, 1], 0.5),
    ):  # fmt: skip
        drawn = rng.standard_normal((DRAWS, 2)) @ np.linalg.cholesky(np.array([[1.0, rho], [rho, 1.0]])).T
        theirs = share_of("dab-mode-1", "quasi-optimal", levels, arrivals, noise, SIGMA_DB * drawn)
        ours = drawn_coverage(
            levels[:, None], arrivals[:, None], of, placing=Placing(), spread=Spread(SIGMA_DB),
            bearing_deg=np.array(bearings)[:, None], masts=masts,
        )  # fmt: skip
        assert abs(float(ours[0]) - theirs) < WITHIN
        shares.append(float(ours[0]))
    assert max(shares) == shares[3]  # independent sites help each other most


def test_threads_and_neighbours_change_nothing() -> None:
    """Each point is what it is alone, whatever the executor; nothing received is NaN."""
    of, rng = service("dvb-t2-32k-19/128-pp2-8mhz"), np.random.default_rng(8)
    levels, arrivals = rng.normal(45, 12, (6, 9000)), rng.uniform(0, 900, (6, 9000))
    levels[rng.random(levels.shape) < 0.2] = np.nan
    levels[:, 3] = np.nan
    bearings = rng.uniform(0, 360, levels.shape)
    given = {"placing": Placing(), "spread": Spread(SIGMA_DB)}
    alone = drawn_coverage(levels, arrivals, of, bearing_deg=bearings, **given)
    with ThreadPoolExecutor(2) as executor:
        shared = drawn_coverage(levels, arrivals, of, bearing_deg=bearings, executor=executor, **given)

    np.testing.assert_array_equal(alone, shared)
    assert np.isnan(alone[3])
    for m in (0, 4095, 4096, 8999):
        there = np.isfinite(levels[:, m])
        one = drawn_coverage(
            levels[there, m][:, None], arrivals[there, m][:, None], of, bearing_deg=bearings[there, m][:, None], **given
        )
        assert one[0] == alone[m]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"arrival_us": np.zeros((2, 3))}, "one shape"),
        ({"bearing_deg": np.zeros((1, 4))}, "bearing_deg"),
        ({"masts": [1, 2, 3]}, "masts"),
        ({"placing": Placing("best")}, "a map's strategy"),
        ({"noise_dbuvm": [1.0, 2.0]}, "noise_dbuvm"),
    ],
)
def test_unusable_arguments_are_named(options, words: str) -> None:
    """The message names the argument."""
    given = {
        "level_dbuvm": np.zeros((2, 4)), "arrival_us": np.zeros((2, 4)), "service": service("dab-mode-1"),
        "placing": Placing(), "spread": Spread(5.5),
    }  # fmt: skip
    with pytest.raises(ValueError, match=words):
        drawn_coverage(**{**given, **options})
