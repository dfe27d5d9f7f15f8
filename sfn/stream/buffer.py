"""How long to wait: delay variation as quantiles with their confidence, by hour, and one release delay for all.

A packet is late when it comes after its release. The delay that a share of 1 - e of the packets keeps is a quantile of
the measured delays; its interval counts late packets in *episodes*: a queue delays many packets at once, and they are
one observation, not many.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import NDArray

from sfn.errors import in_range
from sfn.stream.loss import CONFIDENCE_PROBABILITY, Fit, burst_lengths_of, fit
from sfn.stream.measured import Measured

EPISODE_GAP_PACKETS = 50  # late packets closer than this belong to one episode; closer still where many are late
HOUR_S = 3600.0
THRESHOLDS = 120
FINEST_BLOCKS, FEWEST_BLOCKS = 4096, 20
REACH = 3  # how much commoner than the tolerated share an episode's level may be and still tell how heavy episodes are


@dataclass(frozen=True, slots=True)
class DelayQuantile:
    """Delay above the least that all but a share of the packets keep.

    Parameters
    ----------
    late_probability : float
        Share of packets that come later.
    delay_us : float
        The quantile. [us]
    low_us, high_us : float, float or None
        Its 99 % interval; no upper end where the record is too short to give one. [us]
    packets_n, episodes_n : int
        Packets that arrived; separate episodes of packets later than `delay_us`.
    """

    late_probability: float
    delay_us: float
    low_us: float
    high_us: float | None
    packets_n: int
    episodes_n: int


def delay_quantile(delay_us: NDArray[np.floating], *, late_probability: float) -> DelayQuantile:
    """Quantile of delay variation with its confidence.

    Parameters
    ----------
    delay_us : ndarray, shape (packets,)
        In the order in which they were sent, NaN for lost ones. [us]
    late_probability : float
        Tolerated share of late packets.

    Returns
    -------
    quantile : DelayQuantile

    Raises
    ------
    ValueError
        If the probability is not above 0 to 0.5, or nothing arrived.

    Notes
    -----
    A threshold is no quantile yet when more packets than the share may come later than it. How many may is judged from
    sums over blocks of the record, of every length from a few packets to a twentieth of it (`_spread`): late packets
    come in episodes, and the blocks that hold whole episodes scatter most. The number that came later is taken as
    episodes of the mean weight ``W = v / y``; its 99 % limits are those of a weighted Poisson sum (M. Fay, E. Feuer,
    Statistics in Medicine 16, 1997, eq. 6, from memory),

        low  = v / 2y chi2(0.005; 2 y^2 / v),    high = (v + W^2) / 2(y + W) chi2(0.995; 2 (y + W)^2 / (v + W^2)),

    with y the packets later than the threshold and v their variance. Held to simulated queues and to a block bootstrap
    in `tests/sfn/stream/test_late.py`. An episode of a kind that the record has not seen no method can count.
    """
    if not 0 < late_probability <= 0.5:
        raise ValueError(f"late_probability must be above 0 to 0.5, got {late_probability!r}")
    arrived = delay_us[~np.isnan(delay_us)]
    n = int(arrived.size)
    if n == 0:
        raise ValueError("delay_us must hold at least one packet that arrived")
    ordered = np.sort(arrived)
    at = min(int(np.ceil((1 - late_probability) * n)), n) - 1
    found = float(ordered[at])
    late = np.flatnonzero(arrived > found)
    gap = min(EPISODE_GAP_PACKETS, 0.25 / late_probability)  # chance alone then joins a quarter at most
    episodes_n = int((np.diff(late) > gap).sum()) + (1 if late.size else 0)
    low_us, high_us = _limits(arrived, ordered, late_probability)
    return DelayQuantile(
        late_probability,
        found,
        min(low_us, found),
        None if high_us is None else max(high_us, found),
        n,
        episodes_n,
    )


def _limits(
    arrived: NDArray[np.floating], ordered: NDArray[np.floating], late_probability: float
) -> tuple[float, float | None]:
    """99 % limits of a quantile: thresholds that surely more, and surely fewer packets exceed, or None."""
    n = arrived.size
    thresholds, later = _later(arrived, ordered, late_probability * n)
    y = later.sum(0)
    v = np.maximum(_spread(later), y * (1 - y / n))
    some = y > 0
    weight = np.divide(v, y, out=np.ones_like(v), where=some)
    near = some & (y <= REACH * late_probability * n)
    heavy = max(float(weight[near].max()), 1.0) if near.any() else 1.0
    tail = (1 - CONFIDENCE_PROBABILITY) / 2
    low = np.where(some, weight / 2 * scipy.special.chdtri(2 * y / weight, 1 - tail), 0.0)
    spread, most = v + heavy**2, y + heavy
    high = spread / (2 * most) * scipy.special.chdtri(2 * most**2 / spread, tail)
    surely_more = np.flatnonzero(low >= late_probability * n)
    surely_fewer = np.flatnonzero(high <= late_probability * n)
    return (
        float(thresholds[surely_more[-1]]) if surely_more.size else float(ordered[0]),
        float(thresholds[surely_fewer[0]]) if surely_fewer.size else None,
    )


def _later(
    arrived: NDArray[np.floating], ordered: NDArray[np.floating], about: float
) -> tuple[NDArray[np.floating], NDArray[np.float64]]:
    """Thresholds, rising, and the packets of each block of the record that are later, shape (blocks, thresholds).

    Most of them near `about` packets later.
    """
    n = arrived.size
    wanted = np.concatenate(([0.0], np.geomspace(1, n, THRESHOLDS), about * np.linspace(0.5, 2, THRESHOLDS)))
    ranks = np.unique(np.round(wanted).astype(np.int64))
    thresholds = np.unique(ordered[n - 1 - ranks[ranks < n]])
    blocks = max(1, min(FINEST_BLOCKS, n // 8))
    block = np.arange(n) * blocks // n
    exceeded = np.searchsorted(thresholds, arrived, side="left")
    width = thresholds.size + 1
    counts = np.bincount(block * width + exceeded, minlength=blocks * width).reshape(blocks, width)
    return thresholds, counts[:, ::-1].cumsum(1)[:, ::-1][:, 1:].astype(np.float64)


def _spread(later: NDArray[np.float64]) -> NDArray[np.float64]:
    """Variance of the late packets of the whole record, a threshold: that of blocks as long as makes it greatest."""
    found = np.zeros(later.shape[1])
    while later.shape[0] >= FEWEST_BLOCKS:
        blocks = later.shape[0]
        found = np.maximum(found, later.var(0, ddof=1) * blocks)
        later = later[: blocks // 2 * 2].reshape(blocks // 2, 2, -1).sum(1)
    return found


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of a record.

    Parameters
    ----------
    begins_s : float
        As the file counts time; whole hours of it. [s]
    packets_n, lost_n, bursts_n : int
    loss : Fit or None
        Two-state model of the hour; None when nothing was lost.
    variation : DelayQuantile or None
        Delay above the least of the whole record; None when nothing arrived.
    """

    begins_s: float
    packets_n: int
    lost_n: int
    bursts_n: int
    loss: Fit | None
    variation: DelayQuantile | None

    @property
    def hour_of_day(self) -> int:
        """Hour from 0 to 23, where the file counts seconds from midnight or from 1970 (UTC)."""
        return int(self.begins_s // HOUR_S) % 24


def hours(measured: Measured, *, late_probability: float) -> tuple[Hour, ...]:
    """The record cut at whole hours."""
    begin_s = np.floor(measured.origin_s / HOUR_S) * HOUR_S
    per_hour = HOUR_S / measured.packet_time_s
    offset = (measured.origin_s - begin_s) / measured.packet_time_s
    count = int(np.ceil((measured.delay_us.size + offset) / per_hour))
    found = []
    for k in range(count):
        first, last = (max(0, round(j * per_hour - offset)) for j in (k, k + 1))
        part = measured.delay_us[first:last]
        if part.size == 0:
            continue
        lost = np.isnan(part)
        lengths = burst_lengths_of(lost)
        arrived = part.size > int(lost.sum())
        found.append(
            Hour(
                float(begin_s + k * HOUR_S),
                int(part.size),
                int(lost.sum()),
                int(lengths.size),
                fit(int(part.size), burst_lengths=lengths),
                delay_quantile(part, late_probability=late_probability) if arrived else None,
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Need:
    """What one situation (a route, an hour, a protection) asks of the release delay.

    Parameters
    ----------
    name : str
        As people know it.
    transit_us : float
        Least time from the stamp to the receiver, coding and packet time included. [us]
    variation_us : float
        Delay variation to cover. [us]
    wait_us : float
        Wait for parity, repeat and the longer path. [us]
    processing_us : float
        Least time that the receiver needs before release. [us]
    """

    name: str
    transit_us: float
    variation_us: float
    wait_us: float = 0.0
    processing_us: float = 0.0

    @property
    def total_us(self) -> float:
        """Least release delay for this situation alone. [us]"""
        return self.transit_us + self.variation_us + self.wait_us + self.processing_us


@dataclass(frozen=True, slots=True)
class Release:
    """One release delay for every situation, and who decides it.

    Parameters
    ----------
    release_us : float
        [us]
    decided_by : str
        Name of the situation that needs most.
    margins_us : tuple of (str, float)
        What is left over in each situation, least first. [us]
    """

    release_us: float
    decided_by: str
    margins_us: tuple[tuple[str, float], ...]


def common_release(needs: Sequence[Need], *, margin_us: float = 0.0, step_us: float = 1.0) -> Release:
    """The one release delay that covers every hour, route and protection.

    A change of protection or route must never change the launch time, so the delay is that of the neediest and stays.

    Parameters
    ----------
    needs : sequence of Need
    margin_us : float
        On top. [us]
    step_us : float
        The delay is rounded up to a multiple of it. [us]

    Raises
    ------
    ValueError
        If there is no situation, the margin is negative or the step not above 0.

    Examples
    --------
    >>> common_release([Need("day", 9000, 5000, 50_000), Need("night", 9000, 900, 10_000)], step_us=1000).release_us
    64000.0
    """
    if not needs:
        raise ValueError("needs must hold at least one situation")
    in_range("margin_us", margin_us, least=0, greatest=60e6, unit="us")
    in_range("step_us", step_us, least=1e-3, greatest=1e6, unit="us")
    neediest = max(needs, key=lambda need: need.total_us)
    release_us = float(np.ceil((neediest.total_us + margin_us) / step_us - 1e-9) * step_us)
    margins = sorted(((need.name, release_us - need.total_us) for need in needs), key=lambda pair: pair[1])
    return Release(release_us, neediest.name, tuple(margins))
