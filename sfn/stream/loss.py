"""Models of packet loss: independent, and in bursts by a hidden state that is good or bad.

| symbol | name | unit |
|---|---|---|
| p | `start_probability`, good to bad, a packet | 1 |
| r | `end_probability`, bad to good, a packet | 1 |
| pi | `loss_ratio`, lost packets of all | 1 |
| B | `mean_burst_packets`, lost in a row | packets |
| lambda | `memory_ratio`, 1 - p - r | 1 |

Gilbert: nothing is lost in the good state, everything in the bad one; then ``pi = p / (p + r)``, ``B = 1 / r`` and
``P(burst > k) = (1 - r)^k``. Gilbert-Elliott: a loss probability in each state. Independent loss: the good state only.

References
----------
M. Ghanbari, Standard Codecs, IET 2005, appendix E (with alpha for r and beta for p).
"""

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import NDArray

from sfn.errors import in_range

CONFIDENCE_PROBABILITY = 0.99
LEAST_BURST_PACKETS, GREATEST_BURST_PACKETS = 1.0, 1e6  # a mean burst


@dataclass(frozen=True, slots=True)
class LossModel:
    """Loss on one path, packet after packet.

    Parameters
    ----------
    start_probability, end_probability : float
        p and r.
    good_loss_probability, bad_loss_probability : float
        Probability that a packet is lost in the good and in the bad state.
    """

    start_probability: float
    end_probability: float
    good_loss_probability: float = 0.0
    bad_loss_probability: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what is no probability, and a bad state that never ends."""
        for name in ("start_probability", "end_probability", "good_loss_probability", "bad_loss_probability"):
            in_range(name, getattr(self, name), least=0.0, greatest=1.0, unit="(a probability)")
        if not self.end_probability > 0:
            raise ValueError("end_probability must be above 0 (a probability), got 0: bursts would never end")

    @property
    def bad_ratio(self) -> float:
        """Part of the time in the bad state, p / (p + r)."""
        return self.start_probability / (self.start_probability + self.end_probability)

    @property
    def memory_ratio(self) -> float:
        """Lambda: correlation of the state from one packet to the next, 1 - p - r."""
        return 1.0 - self.start_probability - self.end_probability

    @property
    def loss_ratio(self) -> float:
        """Pi: lost packets of all, ``[r (loss in good) + p (loss in bad)] / (p + r)``."""
        bad = self.bad_ratio
        return (1 - bad) * self.good_loss_probability + bad * self.bad_loss_probability

    @property
    def burst_start_probability(self) -> float:
        """Probability that a packet is lost and the one before it was not: bursts a packet."""
        states, chain, lost = stationary(self), transition(self, 1), losses(self)
        return float((states * (1 - lost)) @ chain @ lost)

    @property
    def mean_burst_packets(self) -> float:
        """Lost packets in a row, on average; NaN where nothing is lost, infinite where everything is."""
        if self.loss_ratio == 0:
            return float("nan")
        begun = self.burst_start_probability
        return self.loss_ratio / begun if begun > 0 else float("inf")

    @property
    def is_independent(self) -> bool:
        """Whether one packet tells nothing about the next."""
        return self.start_probability == 0 or self.good_loss_probability == self.bad_loss_probability

    def burst_exceeds(self, packets: int) -> float:
        """Probability that a burst is longer than `packets`; ``(1 - r)^k`` for Gilbert.

        Examples
        --------
        >>> print(f"{LossModel(0.001, 0.25).burst_exceeds(10):.7f}")
        0.0563135
        """
        in_range("packets", packets, least=0, greatest=100_000, unit="packets")
        chain, lost = transition(self, 1), losses(self)
        begun = ((stationary(self) * (1 - lost)) @ chain) * lost
        if not begun.sum() > 0:
            return 0.0
        going = begun / begun.sum()
        return float((going @ np.linalg.matrix_power(chain * lost, packets)).sum())


def independent(loss_ratio: float) -> LossModel:
    """Loss that strikes each packet alike.

    Raises
    ------
    ValueError
        If `loss_ratio` is not from 0 to 1.
    """
    return LossModel(0.0, 1.0, good_loss_probability=loss_ratio)


def least_burst_packets(loss_ratio: float) -> float:
    """Shortest mean burst with which so much below 1 can be lost: where every gap is one packet. [packets]"""
    return max(1.0, loss_ratio / (1 - loss_ratio))


def bursts(loss_ratio: float, *, mean_burst_packets: float) -> LossModel:
    """Gilbert's model from what people know: ``r = 1 / B``, ``p = pi r / (1 - pi)``.

    Raises
    ------
    ValueError
        If `loss_ratio` is not from 0 to 1, the mean burst is below one packet, or both cannot be had together.

    Examples
    --------
    >>> model = bursts(1e-3, mean_burst_packets=4)
    >>> model.end_probability, round(model.loss_ratio, 12), round(model.mean_burst_packets, 12)
    (0.25, 0.001, 4.0)
    """
    in_range("loss_ratio", loss_ratio, least=0.0, greatest=1.0, unit="(lost packets of all)")
    in_range("mean_burst_packets", mean_burst_packets, least=LEAST_BURST_PACKETS, greatest=GREATEST_BURST_PACKETS,
             unit="packets")  # fmt: skip
    if loss_ratio == 1:  # one burst that never ends, whatever its mean was meant to be
        return independent(1.0)
    end = 1 / mean_burst_packets
    start = loss_ratio * end / (1 - loss_ratio)
    if start > 1:
        raise ValueError(
            f"mean_burst_packets must be at least {least_burst_packets(loss_ratio):.4g} packets for a loss ratio of "
            f"{loss_ratio:g}, got {mean_burst_packets:g}"
        )
    return LossModel(start, end)


def from_correlation(loss_ratio: float, *, lag_one_ratio: float) -> LossModel:
    """Gilbert's model from the correlation of neighbours: ``r = (1-pi)(1-lambda)``, ``p = pi (1-lambda)``.

    Raises
    ------
    ValueError
        If `loss_ratio` is not from 0 to below 1, or the correlation not from 0 to below 1.
    """
    in_range("loss_ratio", loss_ratio, least=0.0, greatest=0.999, unit="(lost packets of all)")
    in_range("lag_one_ratio", lag_one_ratio, least=0.0, greatest=0.999999, unit="(a correlation)")
    return LossModel(loss_ratio * (1 - lag_one_ratio), (1 - loss_ratio) * (1 - lag_one_ratio))


def stationary(model: LossModel) -> NDArray[np.float64]:
    """Probability of the good and the bad state, shape (2,)."""
    return np.array([1 - model.bad_ratio, model.bad_ratio])


def losses(model: LossModel) -> NDArray[np.float64]:
    """Loss probability in the good and the bad state, shape (2,)."""
    return np.array([model.good_loss_probability, model.bad_loss_probability])


def transition(model: LossModel, packets: int) -> NDArray[np.float64]:
    """State now to state `packets` later, shape (2, 2): ``pi + lambda^k (1 - pi)``, exact for any distance."""
    settled = np.array([stationary(model), stationary(model)])
    return np.asarray(settled + model.memory_ratio**packets * (np.eye(2) - settled))


@dataclass(frozen=True, slots=True)
class Fit:
    """Gilbert's model fitted to a record, and how far it can be trusted.

    Parameters
    ----------
    model : LossModel
    packets_n, lost_n, bursts_n : int
        What it rests on.
    loss_low_ratio, loss_high_ratio : float
        99 % interval of the loss ratio, from the number of bursts (packets of one burst are not independent).
    burst_low_packets, burst_high_packets : float
        99 % interval of the mean burst. [packets]
    independence_probability : float
        Probability of a record at least as bursty if packets were lost independently.
    """

    model: LossModel
    packets_n: int
    lost_n: int
    bursts_n: int
    loss_low_ratio: float
    loss_high_ratio: float
    burst_low_packets: float
    burst_high_packets: float
    independence_probability: float


def fit(packets_n: int, *, burst_lengths: NDArray[np.int64]) -> Fit | None:
    """Gilbert's model from the bursts of a record; None when nothing was lost.

    Parameters
    ----------
    packets_n : int
        Packets sent.
    burst_lengths : ndarray of int, shape (bursts,)
        Lengths of the runs of lost packets. [packets]

    Returns
    -------
    fit : Fit or None

    Raises
    ------
    ValueError
        If more packets were lost than sent.

    Notes
    -----
    Maximum likelihood: bursts over received packets, and bursts over lost packets. Intervals of p and r are
    Clopper and Pearson's; that of the loss ratio takes both at their worst. Independence: likelihood ratio of
    "lost after a lost one" against "lost after a received one", chi-square with one degree of freedom.
    """
    lengths = np.asarray(burst_lengths, dtype=np.int64)
    lost, count = int(lengths.sum()), int(lengths.size)
    if lost > packets_n:
        raise ValueError(f"burst_lengths must not add up to more than {packets_n} packets, got {lost}")
    if count == 0:
        return None
    received = max(packets_n - lost, count)
    start_low, start_high = binomial_interval(count, of=received)
    end_low, end_high = binomial_interval(count, of=lost)
    return Fit(
        LossModel(min(count / received, 1.0), count / lost),
        packets_n,
        lost,
        count,
        start_low / (start_low + end_high),
        start_high / (start_high + end_low),
        1 / end_high,
        1 / end_low,
        _independence(received, lost=lost, bursts_n=count),
    )


def binomial_interval(
    hits: int, *, of: int, confidence_probability: float = CONFIDENCE_PROBABILITY
) -> tuple[float, float]:
    """Clopper and Pearson's interval for a probability, from `hits` of `of`.

    Examples
    --------
    No loss in 4605 packets leaves up to one in a thousand, at 99 % on one side:

    >>> print(f"{binomial_interval(0, of=4605, confidence_probability=0.98)[1]:.6f}")
    0.001000
    """
    tail = (1 - confidence_probability) / 2
    low = float(scipy.special.betaincinv(hits, of - hits + 1, tail)) if hits > 0 else 0.0
    high = float(scipy.special.betaincinv(hits + 1, of - hits, 1 - tail)) if hits < of else 1.0
    return low, high


def burst_lengths_of(lost: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Lengths of the runs of True in a record, in their order."""
    edges = np.diff(np.concatenate(([False], lost, [False])).astype(np.int8))
    return np.asarray(np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1), dtype=np.int64)


def _independence(received: int, *, lost: int, bursts_n: int) -> float:
    """Upper tail of the likelihood ratio between one loss probability and two."""
    table = np.array([[received - bursts_n, bursts_n], [bursts_n, lost - bursts_n]], dtype=np.float64)
    expected = table.sum(1, keepdims=True) * table.sum(0, keepdims=True) / table.sum()
    seen = table > 0
    statistic = 2 * float((table[seen] * np.log(table[seen] / expected[seen])).sum())
    return float(scipy.special.chdtrc(1, max(statistic, 0.0)))
