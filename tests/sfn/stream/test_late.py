"""Intervals of late-probability quantiles: simulated queues and fading links whose truth a far longer record tells.

Each record below is drawn by plain numpy, with delays that come in episodes. The truth is the quantile of millions of
packets of the same kind; the interval of a short record must hold it in at least 97 of 100 cases.
"""

import numpy as np
import pytest
from numba import njit
from numpy.typing import NDArray

from sfn.stream.buffer import delay_quantile

Delays = NDArray[np.float64]


@njit(cache=True)
def waited(service: Delays, spacing: float) -> Delays:
    """Lindley's recursion: how long each packet waits behind what came before."""
    found = np.empty(service.size)
    now = 0.0
    for k in range(service.size):
        now = max(0.0, now + service[k] - spacing)
        found[k] = now
    return found


@njit(cache=True)
def remembering(noise: Delays, memory: float) -> Delays:
    """A first-order memory."""
    found = np.empty(noise.size)
    now = noise[0]
    for k in range(noise.size):
        now = memory * now + np.sqrt(1 - memory * memory) * noise[k]
        found[k] = now
    return found


def in_turns(n: int, calm: int, busy: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Whether each packet meets a busy time."""
    turns = int(2 * n / (calm + busy)) + 50
    stays = np.stack((rng.geometric(1 / calm, turns), rng.geometric(1 / busy, turns)), 1)
    return np.repeat(np.tile([False, True], turns), stays.ravel())[:n]


def queue(n: int, rng: np.random.Generator) -> Delays:
    """Cross traffic in bursts of 60 packets on a link that it overloads by a fifth."""
    busy = in_turns(n, 1000, 60, rng)
    return waited(np.where(busy, rng.exponential(4800, n), rng.exponential(800, n)), 4000.0)


def fading(n: int, rng: np.random.Generator) -> Delays:
    """Log-normal delays that remember 100 packets."""
    return np.asarray(500 * np.exp(remembering(rng.standard_normal(n), 0.99)))


def rerouted(n: int, rng: np.random.Generator) -> Delays:
    """Now and then some 100 packets that take a way longer by 5 ms, more or less."""
    return np.where(in_turns(n, 4900, 100, rng), rng.uniform(4000, 6000, n), 0) + rng.exponential(300, n)


@pytest.mark.parametrize(
    ("kind", "n", "late"), [(queue, 30_000, 0.03), (fading, 30_000, 0.05), (rerouted, 50_000, 0.01)]
)
def test_the_interval_holds_the_truth(kind, n: int, late: float) -> None:
    """200 records of a few hundred episodes each and fewer: the truth lies within in 97 % or more."""
    truth = np.quantile(kind(4_000_000, np.random.default_rng(77)), 1 - late)
    held, known = 0, 0
    for seed in range(200):
        found = delay_quantile(kind(n, np.random.default_rng(seed)), late_probability=late)
        held += found.low_us <= truth <= (np.inf if found.high_us is None else found.high_us)
        known += found.high_us is not None

    assert held >= 194
    assert known > (0 if kind is rerouted else 100)  # an interval, not a refusal; ten reroutings are too few for one


def test_independent_delays_have_the_textbook_interval() -> None:
    """Without episodes it is near that of order statistics: ranks of a binomial count."""
    delays = np.random.default_rng(4).exponential(1000, 100_000)
    found = delay_quantile(delays, late_probability=0.01)
    half = 2.5758 * np.sqrt(100_000 * 0.01 * 0.99)
    ordered = np.sort(delays)
    low, high = ordered[int(99_000 - half)], ordered[int(99_000 + half)]

    assert found.low_us == pytest.approx(low, rel=0.02)
    assert found.high_us == pytest.approx(high, rel=0.02)


@pytest.mark.parametrize("kind", [queue, fading])
def test_it_is_no_narrower_than_a_block_bootstrap(kind) -> None:
    """Blocks of 1000 packets drawn again and again: the middle 90 % of their quantiles lie within the interval."""
    rng = np.random.default_rng(6)
    delays = kind(100_000, rng)
    blocks = delays.reshape(100, 1000)
    again = [np.quantile(blocks[rng.integers(0, 100, 100)].ravel(), 0.99) for _ in range(200)]
    found = delay_quantile(delays, late_probability=0.01)

    assert found.low_us < np.quantile(again, 0.05)
    assert (np.inf if found.high_us is None else found.high_us) > np.quantile(again, 0.95)


def test_a_short_record_of_long_episodes_has_no_upper_end() -> None:
    """One burst of 300 late packets among 10 000 says nothing of how many there usually are."""
    delays = np.random.default_rng(1).exponential(100, 10_000)
    delays[4000:4300] += 8000
    assert delay_quantile(delays, late_probability=0.01).high_us is None
