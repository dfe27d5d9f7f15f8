"""Residual loss too rare to meet by chance: blocks are drawn that hold what a loss for good needs.

A media packet stays lost only if it is lost together with another packet of its row (where rows have parity) and with
another of its column (where columns have), parity packets included. Such a set is a *seed*. Its probability is exact:
few packets at known slots of a two-state chain. Blocks are drawn given a seed, seeds by their probability; a block that
holds N seeds could have been drawn N ways, so it counts

    Z / N,   Z the sum of the probabilities of all seeds,

which is its true likelihood over the drawn one. No block that matters is left out, and none can count more than Z:
no rare block with a great weight hides from the interval.
"""

import numpy as np
from numpy.typing import NDArray

from sfn.stream.loss import LossModel
from sfn.stream.protection import Protection
from sfn.stream.rare_kernels import seed_probabilities, seeded_blocks

MOST_SEEDS_N = 400_000  # 20 x 20 with both parities has 160 000


def seeded_sums(
    protection: Protection,
    paths: tuple[LossModel, ...],
    models: NDArray[np.float64],
    *,
    columns: int,
    rows: int,
    slots: NDArray[np.int64],
    seed: int,
    trial_n: int,
) -> tuple[NDArray[np.float64], float] | None:
    """Weighted sums over blocks that hold a seed.

    Parameters
    ----------
    protection : Protection
    paths : tuple of LossModel
    models : ndarray, shape (paths, 4)
        The same as numbers: start, end, loss in good, loss in bad.
    columns, rows : int
        Of a block.
    slots : ndarray of int, shape (packets,)
        Slot of each packet: media, row parity, column parity.
    seed, trial_n : int

    Returns
    -------
    sums, greatest_weight : ndarray, shape (6,), and float; or None
        Sum and sum of squares of weighted packets left; the same of weighted blocks hit, and of weighted runs that
        begin within one; Z. None where the matrix has too many seeds, or none can occur.
    """
    row, column = protection.row_parity, protection.column_parity
    media = columns * rows
    seeds_n = media * (columns if row else 1) * (rows if column else 1)
    if seeds_n > MOST_SEEDS_N:
        return None
    seeds = _seeds(columns, rows, row_parity=row, column_parity=column)
    repeat = protection.repeat_after
    steps = np.arange(int(slots.max()) + 2 + repeat)
    powers = np.array([m.memory_ratio**steps for m in paths], dtype=np.float64)
    cumulative = np.cumsum(seed_probabilities(seeds, models, powers, slots, repeat))
    whole = float(cumulative[-1])
    if not whole > 0:
        return None
    sums = seeded_blocks(
        seed, trial_n, columns, rows, row, column, repeat, models, powers, slots, seeds, cumulative
    )  # fmt: skip
    return np.asarray(sums * np.array([whole, whole**2] * 3)), whole


def _seeds(columns: int, rows: int, *, row_parity: bool, column_parity: bool) -> NDArray[np.int64]:
    """Every seed: a media packet, one more of its row, one more of its column; -1 for none, shape (seeds, 3)."""
    media = np.arange(columns * rows)
    j, c = media // columns, media % columns
    none = np.full((media.size, 1), -1)
    by_row, by_column = none, none
    if row_parity:
        across = j[:, None] * columns + np.arange(columns)
        across = np.where(across == media[:, None], columns * rows + j[:, None], across)
        by_row = across
    if column_parity:
        column_at = columns * rows + (rows if row_parity else 0)
        down = np.arange(rows) * columns + c[:, None]
        by_column = np.where(down == media[:, None], column_at + c[:, None], down)
    one, two = by_row.shape[1], by_column.shape[1]
    first = np.repeat(media, one * two)
    second = np.repeat(by_row, two, axis=1).ravel()
    third = np.tile(by_column, (1, one)).ravel()
    return np.ascontiguousarray(np.stack((first, second, third), axis=1), dtype=np.int64)
