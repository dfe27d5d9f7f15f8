"""Monte Carlo of a parity matrix under burst loss, block by block; `residual` is its only caller.

Each block of L x D media packets starts from the stationary state, so blocks are independent of each other and
their mean and spread give an honest interval. A block is drawn from one of several *proposals* (models that
lose more than the true one) and weighted by true over mixed likelihood: rare residuals are met often, yet counted
right. With the true model as the only proposal all weights are 1.

Time runs in slots, one media packet each. Parity of row j travels beside the first packet of the following row,
parity of column c beside slot D L + c; a repeat `repeat` slots later. Random numbers: splitmix64, so that a seed gives
the same answer on every machine and with every numpy.
"""

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
MIX_2 = np.uint64(0x94D049BB133111EB)

# Columns of a proposal for one path, and of the counts that its likelihood needs.
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
def _states(
    state: NDArray[np.uint64],
    proposal: NDArray[np.float64],
    bad: NDArray[np.uint8],
    counts: NDArray[np.int64],
) -> bool:
    """Fill `bad`, shape (slots,), and the counts of transitions; True when any slot is bad.

    `counts`: [started bad, good to bad, good to good, bad to good, bad to bad, lost in good, kept in good].
    """
    slots = bad.size
    start, end = proposal[START], proposal[END]
    counts[:] = 0
    bad[:] = 0
    is_bad = bool(start > 0.0 and _uniform(state) < start / (start + end))
    counts[0] = 1 if is_bad else 0
    any_bad = is_bad
    at = 0
    while True:
        left = slots - 1 - at  # transitions still inside the window
        stay = _geometric(state, end if is_bad else start, left)
        if is_bad:
            for k in range(at, at + stay + 1):
                bad[k] = 1
            counts[4] += stay
        else:
            counts[2] += stay
        at += stay
        if stay >= left:
            return any_bad
        if is_bad:
            counts[3] += 1
        else:
            counts[1] += 1
            any_bad = True
        is_bad = not is_bad
        at += 1


@njit(cache=True, nogil=True)
def _lose(
    state: NDArray[np.uint64],
    proposal: NDArray[np.float64],
    bad: NDArray[np.uint8],
    any_bad: bool,
    slots: NDArray[np.int64],
    shift: int,
    lost: NDArray[np.uint8],
    counts: NDArray[np.int64],
) -> bool:
    """Mark in `lost`, shape (packets,), which packets this copy loses; True when any is."""
    n = slots.size
    lost[:] = 0
    good_n, any_lost = n, False
    bad_loss = proposal[BAD_LOSS]
    if any_bad:
        for i in range(n):
            if bad[slots[i] + shift]:
                good_n -= 1
                if bad_loss >= 1.0 or _uniform(state) < bad_loss:
                    lost[i] = 1
                    any_lost = True
    good_lost = 0
    if proposal[GOOD_LOSS] > 0.0:
        i = _geometric(state, proposal[GOOD_LOSS], n)
        while i < n:
            if not bad[slots[i] + shift]:  # candidates in the bad state have their own probability
                lost[i] = 1
                any_lost = True
                good_lost += 1
            i += 1 + _geometric(state, proposal[GOOD_LOSS], n)
    counts[5] += good_lost
    counts[6] += good_n - good_lost
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
def _log_likelihood(counts: NDArray[np.int64], logs: NDArray[np.float64]) -> float:
    """Log likelihood of one path's counts; `logs` shape (8,), the last for starting good."""
    total = float(logs[0] if counts[0] else logs[7])
    for k in range(1, 7):
        if counts[k]:
            total += float(counts[k] * logs[k])
    return total


@njit(cache=True, nogil=True)
def blocks(
    seed: int,
    block_n: int,
    columns: int,
    rows: int,
    row_parity: bool,
    column_parity: bool,
    repeat: int,
    proposals: NDArray[np.float64],
    logs: NDArray[np.float64],
    shares: NDArray[np.float64],
    slots: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Draw `block_n` blocks and add up what stays lost.

    Parameters
    ----------
    seed, block_n : int
    columns, rows, row_parity, column_parity, repeat
        The protection; `repeat` 0 for none.
    proposals : ndarray, shape (J, paths, 4)
        Start, end, loss in good, loss in bad of each proposal; the true model is the first.
    logs : ndarray, shape (J, paths, 8)
        Logarithms that `_log_likelihood` needs.
    shares : ndarray, shape (J,)
        How often each proposal is drawn; adds up to 1.
    slots : ndarray of int, shape (packets,)
        Slot of each packet: media, row parity, column parity.

    Returns
    -------
    sums : ndarray, shape (6,)
        Sum and sum of squares of weighted lost packets; the same of weighted blocks hit; blocks hit; greatest weight
        of a block hit.
    """
    state = np.empty(1, dtype=np.uint64)
    state[0] = uint64(seed)
    path_n, packet_n = proposals.shape[1], slots.size
    length = slots.max() + 1 + repeat
    bad = np.zeros(length, dtype=np.uint8)
    copy = np.zeros(packet_n, dtype=np.uint8)
    lost = np.zeros(packet_n, dtype=np.uint8)
    counts = np.zeros((path_n, 7), dtype=np.int64)
    in_row, in_column = np.zeros(rows, dtype=np.int64), np.zeros(columns, dtype=np.int64)
    sums = np.zeros(6)
    for _ in range(block_n):
        chosen, pick = 0, _uniform(state)
        while chosen < shares.size - 1 and pick >= shares[chosen]:
            pick -= shares[chosen]
            chosen += 1
        any_lost = True
        lost[:] = 1
        for path in range(path_n):
            any_bad = _states(state, proposals[chosen, path], bad, counts[path])
            for again in range(2 if repeat else 1):
                hit = _lose(state, proposals[chosen, path], bad, any_bad, slots, again * repeat, copy, counts[path])
                if not hit:
                    any_lost = False
                    break
                for i in range(packet_n):
                    lost[i] &= copy[i]
            if not any_lost:
                break
        if not any_lost:
            continue
        left = _unrecovered(lost, columns, rows, row_parity, column_parity, in_row, in_column)
        if left == 0:
            continue
        weight = 1.0
        if shares.size > 1:
            true = 0.0
            for path in range(path_n):
                true += _log_likelihood(counts[path], logs[0, path])
            mixed = 0.0
            for j in range(shares.size):
                other = 0.0
                for path in range(path_n):
                    other += _log_likelihood(counts[path], logs[j, path])
                mixed += shares[j] * np.exp(other - true)
            weight = 1.0 / mixed if true > -np.inf else 0.0
        sums[0] += weight * left
        sums[1] += (weight * left) ** 2
        sums[2] += weight
        sums[3] += weight * weight
        sums[4] += 1.0
        sums[5] = max(sums[5], weight)
    return sums


@njit(cache=True, nogil=True)
def _lose_at_least_one(
    state: NDArray[np.uint64], probability: float, lost: NDArray[np.uint8], members: NDArray[np.int64]
) -> None:
    """Draw independent losses among `members`, given that there is at least one."""
    n = members.size
    none = (1.0 - probability) ** n
    first = 0  # of those lost: P(first = k) = q^k p / (1 - q^n)
    if probability < 1.0:
        first = int(np.log1p(-_uniform(state) * (1.0 - none)) / np.log1p(-probability))
    first = min(first, n - 1)
    for k in range(n):
        hit = k == first or (k > first and _uniform(state) < probability)
        lost[members[k]] = 1 if hit else 0


@njit(cache=True, nogil=True)
def crossed(seed: int, trial_n: int, columns: int, rows: int, loss_ratio: float) -> NDArray[np.float64]:
    """Independent loss against rows and columns, given what a loss for good needs.

    One media packet is lost, and so is at least one other of its row with parity, and one of its column with
    parity: without these it comes back. All else is drawn freely.

    Returns
    -------
    sums : ndarray, shape (3,)
        Trials in which the packet stays lost; sum and sum of squares, over those, of 1 / (all that stay lost).
    """
    state = np.empty(1, dtype=np.uint64)
    state[0] = uint64(seed)
    media = columns * rows
    packet_n = media + rows + columns
    lost = np.zeros(packet_n, dtype=np.uint8)
    row, column = np.zeros(columns, dtype=np.int64), np.zeros(rows, dtype=np.int64)
    in_row, in_column = np.zeros(rows, dtype=np.int64), np.zeros(columns, dtype=np.int64)
    sums = np.zeros(3)
    for _ in range(trial_n):
        lost[:] = 0
        i = _geometric(state, loss_ratio, packet_n)
        while i < packet_n:
            lost[i] = 1
            i += 1 + _geometric(state, loss_ratio, packet_n)
        asked = int(_uniform(state) * media)
        j, c = asked // columns, asked % columns
        row[columns - 1] = media + j
        column[rows - 1] = media + rows + c
        for k in range(columns - 1):
            row[k] = j * columns + (k if k < c else k + 1)
        for k in range(rows - 1):
            column[k] = (k if k < j else k + 1) * columns + c
        _lose_at_least_one(state, loss_ratio, lost, row)
        _lose_at_least_one(state, loss_ratio, lost, column)
        lost[asked] = 1
        left = _unrecovered(lost, columns, rows, True, True, in_row, in_column)
        if lost[asked]:
            sums[0] += 1.0
            sums[1] += 1.0 / left
            sums[2] += 1.0 / (left * left)
    return sums
