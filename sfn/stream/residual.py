"""What stays lost after protection: exact where a formula exists, else by Monte Carlo with its interval.

An *audible error* is a run of media packets, one after the other, that stay lost: the same whatever protects. Without
parity how often one begins has a formula; with it, beginnings are counted within drawn blocks of L x D media packets
(rows alone: of about 100), from the second packet of each on, and the first is taken to be like the others. Intervals
count blocks, not packets: the packets of a burst stand or fall together. Every packet, parity too, travels in a slot
of its own, and bursts are counted in packets as they are sent. Where blocks seldom lose anything they are drawn given
what a loss for good needs (`sfn.stream.rare`), and their figures are as sure as common ones.

| symbol | name | unit |
|---|---|---|
| pi, lambda | loss ratio and memory of `sfn.stream.loss.LossModel` | 1 |
| k | `Protection.repeat_after` | packets |
| L, D | `Protection.columns`, `Protection.rows` | packets |
"""

from dataclasses import dataclass, replace
from math import ceil, log, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.errors import in_range
from sfn.stream.kernels import blocks
from sfn.stream.loss import LossModel, independent, losses, stationary, transition
from sfn.stream.protection import Protection
from sfn.stream.rare import seeded_sums

Z99 = 2.5758293035489004  # two-sided 99 % of the normal distribution
LEAST_EVENTS_N = 30  # below this the normal interval means nothing
ROW_BLOCK_PACKETS = 100
PILOT_BLOCKS = 2000
LEAST_BLOCKS, GREATEST_BLOCKS = 1000, 1e9
DENSE_RATIO = 0.05  # of blocks hit: above, plain drawing is the surer (tests/bench/bench_fec.py)
ZERO_EVENTS_99 = -log(0.01)  # Poisson mean that gives no event with probability 1 %

Kind = Literal["exact", "estimate", "less than"]


@dataclass(frozen=True, slots=True)
class Residual:
    """Loss that protection leaves.

    Parameters
    ----------
    loss_ratio : float
        Media packets lost of all. With `kind` ``less than``, its 99 % upper limit.
    low_ratio, high_ratio : float
        99 % interval; both equal `loss_ratio` when exact.
    errors_per_packet_ratio : float
        Audible errors a media packet; an upper limit where `errors_kind` says ``less than``.
    errors_low_ratio, errors_high_ratio : float
        Its 99 % interval.
    kind, errors_kind : {'exact', 'estimate', 'less than'}
        How each of the two is known.
    events_n : int
        Simulated blocks with something left, counted as unweighted ones of the same spread; 0 without simulation.
    """

    loss_ratio: float
    low_ratio: float
    high_ratio: float
    errors_per_packet_ratio: float
    errors_low_ratio: float
    errors_high_ratio: float
    kind: Kind
    errors_kind: Kind
    events_n: int

    def error_every_s(self, packet_time_s: float) -> float | None:
        """Mean time between audible errors, at least so long where only a limit is known; None for never. [s]"""
        return packet_time_s / self.errors_per_packet_ratio if self.errors_per_packet_ratio > 0 else None


def residual(
    protection: Protection, *, paths: tuple[LossModel, ...], seed: int = 1, block_n: int = 200_000
) -> Residual:
    """Loss that a protection leaves on given paths.

    Parameters
    ----------
    protection : Protection
    paths : tuple of LossModel
        One, or two for a second path (taken as independent of the first).
    seed : int
        Of the simulation, where one is needed.
    block_n : int
        Blocks to draw.

    Returns
    -------
    residual : Residual

    Raises
    ------
    ValueError
        If the number of paths does not match the protection.

    Examples
    --------
    >>> from sfn.stream.loss import bursts
    >>> from sfn.stream.protection import with_repeat
    >>> two = residual(with_repeat(Protection(), after=10), paths=(bursts(1e-3, mean_burst_packets=4),))
    >>> print(f"{two.loss_ratio:.5e} {two.kind}")
    5.70698e-05 exact
    """
    wanted = 2 if protection.second_path else 1
    if len(paths) != wanted:
        raise ValueError(f"paths must be {wanted} for protection {protection.in_words()!r}, got {len(paths)}")
    in_range("block_n", block_n, least=LEAST_BLOCKS, greatest=GREATEST_BLOCKS, unit="blocks")
    if any(model.loss_ratio == 0 for model in paths) or all(model.loss_ratio == 1 for model in paths):
        # nothing at all, or everything: then every packet is an error by itself, for there is no run that ends
        whole = min(model.loss_ratio for model in paths)
        return Residual(whole, whole, whole, whole, whole, whole, "exact", "exact", 0)
    if not (protection.row_parity or protection.column_parity):
        lost, begun = _without_parity(protection, paths)
        return Residual(lost, lost, lost, begun, begun, begun, "exact", "exact", 0)
    if all(model.is_independent for model in paths):
        paths, protection = _folded(protection, paths)
    simulation = simulated(protection, paths=paths, seed=seed, block_n=block_n)
    known = _one_parity(protection, paths)
    if known is None:
        return _capped(simulation, limit=_ceiling(protection, paths))
    return Residual(
        known, known, known,
        simulation.errors_per_packet_ratio, simulation.errors_low_ratio, simulation.errors_high_ratio,
        "exact", simulation.errors_kind, simulation.events_n,
    )  # fmt: skip


def pair_loss(model: LossModel, *, packets: int) -> float:
    """Probability that two packets sent `packets` apart on one path are both lost.

    ``pi [pi + (1 - pi) lambda^k]`` for Gilbert's model.

    Raises
    ------
    ValueError
        If `packets` is less than 1.
    """
    in_range("packets", packets, least=1, greatest=1e9, unit="packets")
    lost = losses(model)
    return float((stationary(model) * lost) @ transition(model, packets) @ lost)


def one_parity_loss(
    paths: tuple[LossModel, ...], *, members: int, spacing: int, parity_spacing: int | None = None
) -> float:
    """Loss left by one parity packet over `members` media packets that are `spacing` packets apart, exactly.

    Parameters
    ----------
    paths : tuple of LossModel
        Copies of everything travel on each; a packet is lost when all lose it.
    members : int
        Media packets that the parity covers.
    spacing : int
        L for a column, 1 for a row. [packets]
    parity_spacing : int, optional
        From the last of them to the parity; the same spacing when not given. [packets]

    Returns
    -------
    loss_ratio : float
        Mean over the members of P(lost, and another member or the parity lost too).

    Raises
    ------
    ValueError
        If `members` or `spacing` is less than 1.

    Notes
    -----
    Forward sums over the joint states of all paths, with and without another loss so far: only additions of
    positive terms, so that 1e-12 is as exact as 0.1. For Gilbert loss on one path this equals
    ``pi {1 - (1/D) sum F_i B_i}`` with ``F_i = a g^(n-i-1)``, ``B_1 = 1``, ``B_i = a g^(i-2)``, ``n = D + 1``,
    ``kappa = lambda^L``, ``a = (1-pi)(1-kappa)``, ``g = (1-pi) + pi kappa``; ``p [1 - (1-p)^n]`` without memory.
    """
    in_range("members", members, least=1, greatest=1024, unit="packets")
    in_range("spacing", spacing, least=1, greatest=1_000_000, unit="packets")
    last = spacing if parity_spacing is None else parity_spacing
    in_range("parity_spacing", last, least=1, greatest=1_000_000, unit="packets")
    states: NDArray[np.float64] = np.ones(1)
    chain: NDArray[np.float64] = np.ones((1, 1))
    to_parity: NDArray[np.float64] = np.ones((1, 1))
    lost: NDArray[np.float64] = np.ones(1)
    for model in paths:
        states = np.asarray(np.kron(states, stationary(model)), dtype=np.float64)
        chain = np.asarray(np.kron(chain, transition(model, spacing)), dtype=np.float64)
        to_parity = np.asarray(np.kron(to_parity, transition(model, last)), dtype=np.float64)
        lost = np.asarray(np.kron(lost, losses(model)), dtype=np.float64)
    alone = np.tile(states, (members, 1))  # row i: member i is the one we ask about; no other loss so far
    others = np.zeros_like(alone)
    for j in range(members + 1):
        before_alone, before_others = alone, others
        others = before_others + before_alone * lost
        alone = before_alone * (1 - lost)
        if j < members:
            alone[j] = before_alone[j] * lost
            others[j] = before_others[j] * lost
        step = to_parity if j == members - 1 else chain
        alone, others = alone @ step, others @ step
    return float(others.sum() / members)


def _without_parity(protection: Protection, paths: tuple[LossModel, ...]) -> tuple[float, float]:
    """Loss and bursts a packet after repeats and second path: a packet is lost when all its copies are."""
    lost, begun = 1.0, 0.0
    for model in paths:
        if protection.repeat_after:
            one, new = _repeat(model, protection.repeat_after)
        else:
            one, new = model.loss_ratio, model.burst_start_probability
        # lost on both now, not lost on both before: a1 b1 - (a1 - a0)(b1 - b0), without the subtraction
        begun = new if begun == 0.0 and lost == 1.0 else lost * new + one * begun - begun * new
        lost *= one
    return lost, begun


def _repeat(model: LossModel, after: int) -> tuple[float, float]:
    """Probability that both copies are lost, and that this is so for a packet but not for the one before."""
    both = pair_loss(model, packets=after)
    states, lost, one = stationary(model), losses(model), transition(model, 1)
    if after == 1:  # the packet's second copy is beside the next one's first: own draws, same state
        return both, both - _both_twice(states, (lost, lost * lost, lost), (one, one))
    gap = transition(model, after - 1)
    return both, both - _both_twice(states, (lost, lost, lost, lost), (one, gap, one))


def _both_twice(
    states: NDArray[np.float64], lost: tuple[NDArray[np.float64], ...], chains: tuple[NDArray[np.float64], ...]
) -> float:
    """Probability that all of several packets are lost, given the steps between them."""
    vector = states * lost[0]
    for chain, each in zip(chains, lost[1:], strict=True):
        vector = (vector @ chain) * each
    return float(vector.sum())


def _one_parity(protection: Protection, paths: tuple[LossModel, ...]) -> float | None:
    """The exact loss where only rows or only columns protect, and no repeat with memory; else None."""
    if protection.repeat_after or (protection.row_parity and protection.column_parity):
        return None
    if protection.row_parity:
        return one_parity_loss(paths, members=protection.columns, spacing=1)
    return _column_loss(protection, paths)


def _column_loss(protection: Protection, paths: tuple[LossModel, ...]) -> float:
    """The exact loss that column parity alone leaves, over all columns: spread, its parity comes later and later."""
    columns, step = protection.columns, protection.rows if protection.parity_spread else 0
    each = [
        one_parity_loss(paths, members=protection.rows, spacing=columns, parity_spacing=columns + c * step)
        for c in range(columns if step else 1)
    ]
    return sum(each) / len(each)


def _ceiling(protection: Protection, paths: tuple[LossModel, ...]) -> float:
    """An exact upper limit: more protection never leaves more than any part of it alone."""
    parts = [_without_parity(protection, paths)[0]]
    if protection.row_parity:
        parts.append(one_parity_loss(paths, members=protection.columns, spacing=1))
    if protection.column_parity:
        parts.append(_column_loss(protection, paths))
    return min(parts)


def _capped(found: Residual, *, limit: float) -> Residual:
    """The same, no upper end above an exact limit; every error costs at least one packet."""
    high = min(found.high_ratio, limit)
    errors_high = min(found.errors_high_ratio, high)
    return replace(
        found,
        loss_ratio=min(found.loss_ratio, high),
        high_ratio=high,
        errors_per_packet_ratio=min(found.errors_per_packet_ratio, errors_high),
        errors_high_ratio=errors_high,
    )


def _folded(protection: Protection, paths: tuple[LossModel, ...]) -> tuple[tuple[LossModel, ...], Protection]:
    """Independent loss on all copies is independent loss on one, of the product of their ratios."""
    loss_ratio = float(np.prod([model.loss_ratio**protection.copies for model in paths]))
    return (independent(loss_ratio),), replace(protection, repeat_after=0, second_path=False)


def simulated(
    protection: Protection,
    *,
    paths: tuple[LossModel, ...],
    seed: int,
    block_n: int,
    way: Literal["either", "plain", "seeded"] = "either",
) -> Residual:
    """Monte Carlo of whole blocks, for every protection with parity.

    Parameters
    ----------
    protection, paths, seed, block_n
        As for `residual`.
    way : {'either', 'plain', 'seeded'}
        Blocks as they come, or given what a loss for good needs; 'either' draws some plainly first and goes on so
        where many are hit. The others are for checks of one against the other.
    """
    columns = protection.columns
    rows = protection.rows if protection.column_parity else ceil(ROW_BLOCK_PACKETS / columns)
    media = columns * rows
    slots = _slots(protection, rows=rows)
    models = np.array(
        [(m.start_probability, m.end_probability, m.good_loss_probability, m.bad_loss_probability) for m in paths]
    )

    def plain(count: int, begin: int) -> NDArray[np.float64]:
        """Sums over blocks as they come."""
        return blocks(
            begin, count, columns, rows, protection.row_parity, protection.column_parity, protection.repeat_after,
            models, slots,
        )  # fmt: skip

    dense = way == "plain" or (way == "either" and plain(PILOT_BLOCKS, ~seed)[2] >= DENSE_RATIO * PILOT_BLOCKS)
    if not dense:
        found = seeded_sums(
            protection, paths, models, columns=columns, rows=rows, slots=slots, seed=seed, trial_n=block_n
        )
        if found is not None:
            return _interval(found[0], block_n=block_n, media=media, greatest_weight=found[1])
    return _interval(plain(block_n, seed), block_n=block_n, media=media, greatest_weight=1.0)


def _interval(sums: NDArray[np.float64], *, block_n: int, media: int, greatest_weight: float) -> Residual:
    """Means of independent blocks with their 99 % interval, or an upper limit when too few blocks were hit."""
    # as many unweighted events as have the same spread
    events_n = int(sums[2] ** 2 / sums[3]) if sums[3] > 0 else 0
    lost, lost_wide = _mean(sums[0], sums[1], block_n)
    hit, _ = _mean(sums[2], sums[3], block_n)
    if events_n < LEAST_EVENTS_N:
        # no block weighs more than greatest_weight, and no block loses more than all its packets
        # and between two runs lies a packet that was not lost
        limit = min(1.0, hit + (ZERO_EVENTS_99 + Z99 * sqrt(events_n)) * greatest_weight / block_n)
        most = limit * ceil(media / 2) / media
        return Residual(limit, 0.0, limit, most, 0.0, most, "less than", "less than", events_n)
    begun, begun_wide = _mean(sums[4], sums[5], block_n)
    inner = max(media - 1, 1)
    return Residual(
        lost / media, max(lost - lost_wide, 0.0) / media, (lost + lost_wide) / media,
        begun / inner, max(begun - begun_wide, 0.0) / inner, (begun + begun_wide) / inner,
        "estimate", "estimate", events_n,
    )  # fmt: skip


def _mean(total: float, squares: float, count: int) -> tuple[float, float]:
    """Mean and half width of its 99 % interval."""
    mean = float(total) / count
    return mean, Z99 * sqrt(max(squares / count - mean * mean, 0.0) / count)


def _slots(protection: Protection, *, rows: int) -> NDArray[np.int64]:
    """Slot in which each packet of `rows` rows travels: media, then row parity, then column parity.

    Every packet has a slot of its own, in the order of sending: a row's parity after its row, a column's after the
    matrix, one after the other or, spread, before every D-th media packet of the next.
    """
    columns, row = protection.columns, int(protection.row_parity)
    media = np.arange(columns * rows)
    parts = [media + row * (media // columns)]
    if row:
        parts.append((np.arange(rows) + 1) * (columns + 1) - 1)
    if protection.column_parity:
        column = np.arange(columns)
        ahead = column * protection.rows if protection.parity_spread else 0 * column
        parts.append(media.size + row * rows + column + ahead + row * (ahead // columns))
    return np.concatenate(parts).astype(np.int64)
