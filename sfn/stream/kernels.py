"""Monte Carlo of a parity matrix under burst loss, block by block; `residual` is its only caller.

Each block of L x D media packets starts from the stationary state, so blocks are independent of each other and
their mean and spread give an honest interval. What is too rare to meet like this is drawn in `sfn.stream.rare_kernels`.

Time runs in slots, one packet each, parity too (`residual` says which); a repeat travels `repeat` slots later. Random
numbers: splitmix64, so that a seed gives the same answer on every machine and with every numpy.
"""

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
MIX_2 = np.uint64(0x94D049BB133111EB)

# Columns of one path's model.
START, END, GOOD_LOSS, BAD_LOSS = 0, 1, 2, 3


@njit(cache=True, nogil=True)
def _uniform(state: NDArray[np.uint64]) -> float:
    """Next number in (0, 1), `state` shape (1,)."""
    state[0] = state[0] + GOLDEN
    z = state[0]
    z = (z ^ (z >> uint64(30))) * MIX_1
    z = (z ^ (z >> uint64(27))) * MIX_2
    z = z ^ (z >> uint64(31))
    return (float(z >> uint64(11)) + 0.5) * (1.0 / 9007199254740992.0)


@njit(cache=True, nogil=True)
def _geometric(state: NDArray[np.uint64], probability: float, limit: int) -> int:
    """Trials before the first hit (0 or more), at most `limit`."""
    if probability <= 0.0:
        return limit
    if probability >= 1.0:
        return 0
    skipped = np.log(_uniform(state)) / np.log1p(-probability)
    return limit if skipped >= limit else int(skipped)


@njit(cache=True, nogil=True)
def _states(state: NDArray[np.uint64], model: NDArray[np.float64], bad: NDArray[np.uint8]) -> bool:
    """Fill `bad`, shape (slots,), from the stationary state on; True when any slot is bad."""
    slots = bad.size
    start, end = model[START], model[END]
    bad[:] = 0
    is_bad = bool(start > 0.0 and _uniform(state) < start / (start + end))
    any_bad = is_bad
    at = 0
    while True:
        left = slots - 1 - at  # transitions still inside the window
        stay = _geometric(state, end if is_bad else start, left)
        if is_bad:
            for k in range(at, at + stay + 1):
                bad[k] = 1
        at += stay
        if stay >= left:
            return any_bad
        any_bad = True
        is_bad = not is_bad
        at += 1


@njit(cache=True, nogil=True)
def _lose(
    state: NDArray[np.uint64],
    model: NDArray[np.float64],
    bad: NDArray[np.uint8],
    any_bad: bool,
    slots: NDArray[np.int64],
    shift: int,
    lost: NDArray[np.uint8],
) -> bool:
    """Mark in `lost`, shape (packets,), which packets this copy loses; True when any is."""
    n = slots.size
    lost[:] = 0
    any_lost = False
    bad_loss = model[BAD_LOSS]
    if any_bad:
        for i in range(n):
            if bad[slots[i] + shift] and (bad_loss >= 1.0 or _uniform(state) < bad_loss):
                lost[i] = 1
                any_lost = True
    if model[GOOD_LOSS] > 0.0:
        i = _geometric(state, model[GOOD_LOSS], n)
        while i < n:
            if not bad[slots[i] + shift]:  # candidates in the bad state have their own probability
                lost[i] = 1
                any_lost = True
            i += 1 + _geometric(state, model[GOOD_LOSS], n)
    return any_lost


@njit(cache=True, nogil=True)
def _unrecovered(
    lost: NDArray[np.uint8],
    columns: int,
    rows: int,
    row_parity: bool,
    column_parity: bool,
    in_row: NDArray[np.int64],
    in_column: NDArray[np.int64],
) -> int:
    """Media packets still lost after rows and columns have helped each other as far as they can.

    `lost`: media row by row, then row parity, then column parity; recovered packets are cleared in place.
    """
    media = columns * rows
    column_at = media + (rows if row_parity else 0)
    in_row[:] = 0
    in_column[:] = 0
    left = 0
    for i in range(media):
        if lost[i]:
            left += 1
            in_row[i // columns] += 1
            in_column[i % columns] += 1
    changed = left > 0
    while changed:
        changed = False
        if row_parity:
            for j in range(rows):
                if in_row[j] == 1 and not lost[media + j]:
                    for c in range(columns):
                        if lost[j * columns + c]:
                            lost[j * columns + c] = 0
                            in_column[c] -= 1
                    in_row[j] = 0
                    left -= 1
                    changed = True
        if column_parity:
            for c in range(columns):
                if in_column[c] == 1 and not lost[column_at + c]:
                    for j in range(rows):
                        if lost[j * columns + c]:
                            lost[j * columns + c] = 0
                            in_row[j] -= 1
                    in_column[c] = 0
                    left -= 1
                    changed = True
    return left


@njit(cache=True, nogil=True)
def _begun(lost: NDArray[np.uint8], media: int) -> int:
    """Runs of lost media packets that begin after a block's first packet: what was before that is not drawn."""
    found = 0
    for i in range(1, media):
        if lost[i] and not lost[i - 1]:
            found += 1
    return found


@njit(cache=True, nogil=True)
def blocks(
    seed: int,
    block_n: int,
    columns: int,
    rows: int,
    row_parity: bool,
    column_parity: bool,
    repeat: int,
    models: NDArray[np.float64],
    slots: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Draw `block_n` blocks and add up what stays lost.

    Parameters
    ----------
    seed, block_n : int
    columns, rows, row_parity, column_parity, repeat
        The protection; `repeat` 0 for none.
    models : ndarray, shape (paths, 4)
        Start, end, loss in good, loss in bad of each path.
    slots : ndarray of int, shape (packets,)
        Slot of each packet: media, row parity, column parity.

    Returns
    -------
    sums : ndarray, shape (6,)
        Sum and sum of squares of lost packets; the same of blocks hit, and of runs that begin within one.
    """
    state = np.empty(1, dtype=np.uint64)
    state[0] = uint64(seed)
    path_n, packet_n = models.shape[0], slots.size
    length = slots.max() + 1 + repeat
    bad = np.zeros(length, dtype=np.uint8)
    copy = np.zeros(packet_n, dtype=np.uint8)
    lost = np.zeros(packet_n, dtype=np.uint8)
    in_row, in_column = np.zeros(rows, dtype=np.int64), np.zeros(columns, dtype=np.int64)
    sums = np.zeros(6)
    for _ in range(block_n):
        any_lost = True
        lost[:] = 1
        for path in range(path_n):
            any_bad = _states(state, models[path], bad)
            for again in range(2 if repeat else 1):
                if not _lose(state, models[path], bad, any_bad, slots, again * repeat, copy):
                    any_lost = False
                    break
                for i in range(packet_n):
                    lost[i] &= copy[i]
            if not any_lost:
                break
        if not any_lost:
            continue
        left = _unrecovered(lost, columns, rows, row_parity, column_parity, in_row, in_column)
        if left > 0:
            sums[0] += left
            sums[1] += left * left
            sums[2] += 1.0
            sums[3] += 1.0
            begun = float(_begun(lost, columns * rows))
            sums[4] += begun
            sums[5] += begun * begun
    return sums
