"""Loops of `sfn.stream.rare`, its only caller: probabilities of seeds, and blocks drawn given one.

A path's state is a chain of two states; `powers` holds its memory lambda^n, so that n steps are one formula:
``T^n(s, s') = pi(s') + lambda^n ([s = s'] - pi(s'))``.
"""

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

from sfn.stream.kernels import BAD_LOSS, END, GOOD_LOSS, START, _begun, _geometric, _uniform, _unrecovered

MOST_FORCED = 6  # three packets, each of them twice


@njit(cache=True, nogil=True)
def _steps(bad_ratio: float, memory: float, before: int, after: int) -> float:
    """Probability to be in state `after`, 0 good or 1 bad, with the memory that is left since `before`."""
    settled = bad_ratio if after == 1 else 1.0 - bad_ratio
    return float(settled + memory * ((1.0 if before == after else 0.0) - settled))


@njit(cache=True, nogil=True)
def _times(
    members: NDArray[np.int64],
    slots: NDArray[np.int64],
    repeat: int,
    at: NDArray[np.int64],
    counts: NDArray[np.int64],
) -> int:
    """Slots in which something is forced to be lost, in order, and how many packets in each; how many slots."""
    found = 0
    for again in range(2 if repeat else 1):
        for k in range(members.size):
            if members[k] < 0:
                continue
            slot, place = slots[members[k]] + again * repeat, 0
            while place < found and at[place] < slot:
                place += 1
            if place < found and at[place] == slot:
                counts[place] += 1
                continue
            for j in range(found, place, -1):
                at[j], counts[j] = at[j - 1], counts[j - 1]
            at[place], counts[place] = slot, 1
            found += 1
    return found


@njit(cache=True, nogil=True)
def _ahead(
    model: NDArray[np.float64],
    powers: NDArray[np.float64],
    at: NDArray[np.int64],
    counts: NDArray[np.int64],
    found: int,
    ahead: NDArray[np.float64],
) -> float:
    """Probability that all forced packets of a path are lost; `ahead`: given the state at each of their slots."""
    bad_ratio = model[START] / (model[START] + model[END])
    for k in range(found - 1, -1, -1):
        for s in range(2):
            each = model[BAD_LOSS] if s == 1 else model[GOOD_LOSS]
            here = each ** counts[k]
            if k < found - 1:
                memory = powers[at[k + 1] - at[k]]
                later = 0.0
                for s2 in range(2):
                    later += _steps(bad_ratio, memory, s, s2) * ahead[k + 1, s2]
                here *= later
            ahead[k, s] = here
    return float((1.0 - bad_ratio) * ahead[0, 0] + bad_ratio * ahead[0, 1])


@njit(cache=True, nogil=True)
def seed_probabilities(
    seeds: NDArray[np.int64],
    models: NDArray[np.float64],
    powers: NDArray[np.float64],
    slots: NDArray[np.int64],
    repeat: int,
) -> NDArray[np.float64]:
    """Probability that all packets of each seed are lost on every copy, shape (seeds,).

    Parameters
    ----------
    seeds : ndarray of int, shape (seeds, 3)
        Packets; -1 for none.
    models : ndarray, shape (paths, 4)
        Start, end, loss in good, loss in bad.
    powers : ndarray, shape (paths, slots + 1)
    slots : ndarray of int, shape (packets,)
    repeat : int
    """
    at, counts = np.zeros(MOST_FORCED, dtype=np.int64), np.zeros(MOST_FORCED, dtype=np.int64)
    ahead = np.zeros((MOST_FORCED, 2))
    found = np.ones(seeds.shape[0])
    for n in range(seeds.shape[0]):
        k = _times(seeds[n], slots, repeat, at, counts)
        for path in range(models.shape[0]):
            found[n] *= _ahead(models[path], powers[path], at, counts, k, ahead)
    return found


@njit(cache=True, nogil=True)
def _free(
    state: NDArray[np.uint64], model: NDArray[np.float64], bad: NDArray[np.uint8], begin: int, step: int, end: int
) -> None:
    """Draw states away from slot `begin`, forwards or backwards alike, up to and with slot `end`."""
    at, is_bad = begin, bad[begin] == 1
    while at != end:
        left = abs(end - at)
        stay = _geometric(state, model[END] if is_bad else model[START], left)
        for k in range(1, stay + 1):
            bad[at + step * k] = 1 if is_bad else 0
        at += step * stay
        if stay >= left:
            return
        is_bad = not is_bad
        at += step
        bad[at] = 1 if is_bad else 0


@njit(cache=True, nogil=True)
def _states_given(
    state: NDArray[np.uint64],
    model: NDArray[np.float64],
    powers: NDArray[np.float64],
    at: NDArray[np.int64],
    found: int,
    ahead: NDArray[np.float64],
    bad: NDArray[np.uint8],
) -> None:
    """Draw a path's states, shape (slots,), given that its forced packets are lost."""
    bad_ratio = model[START] / (model[START] + model[END])
    whole = (1.0 - bad_ratio) * ahead[0, 0] + bad_ratio * ahead[0, 1]
    bad[at[0]] = 1 if _uniform(state) * whole < bad_ratio * ahead[0, 1] else 0
    _free(state, model, bad, at[0], -1, 0)
    for k in range(found - 1):
        s, memory = int(bad[at[k]]), powers[at[k + 1] - at[k]]
        to_bad = _steps(bad_ratio, memory, s, 1) * ahead[k + 1, 1]
        to_good = _steps(bad_ratio, memory, s, 0) * ahead[k + 1, 0]
        goal = 1 if _uniform(state) * (to_bad + to_good) < to_bad else 0
        bad[at[k + 1]] = goal
        for slot in range(at[k] + 1, at[k + 1]):  # a bridge between two known states
            left = powers[at[k + 1] - slot]
            by_bad = _steps(bad_ratio, powers[1], s, 1) * _steps(bad_ratio, left, 1, goal)
            by_good = _steps(bad_ratio, powers[1], s, 0) * _steps(bad_ratio, left, 0, goal)
            s = 1 if _uniform(state) * (by_bad + by_good) < by_bad else 0
            bad[slot] = s
    _free(state, model, bad, at[found - 1], 1, bad.size - 1)


@njit(cache=True, nogil=True)
def _seeds_in(lost: NDArray[np.uint8], columns: int, rows: int, row_parity: bool, column_parity: bool) -> float:
    """How many seeds are lost in a block: a packet, one more of its row, one more of its column."""
    media = columns * rows
    column_at = media + (rows if row_parity else 0)
    in_row, in_column = np.zeros(rows), np.zeros(columns)
    for i in range(media):
        in_row[i // columns] += lost[i]
        in_column[i % columns] += lost[i]
    found = 0.0
    for i in range(media):
        if lost[i]:
            j, c = i // columns, i % columns
            by_row = in_row[j] - 1 + lost[media + j] if row_parity else 1.0
            by_column = in_column[c] - 1 + lost[column_at + c] if column_parity else 1.0
            found += by_row * by_column
    return found


@njit(cache=True, nogil=True)
def seeded_blocks(
    seed: int,
    trial_n: int,
    columns: int,
    rows: int,
    row_parity: bool,
    column_parity: bool,
    repeat: int,
    models: NDArray[np.float64],
    powers: NDArray[np.float64],
    slots: NDArray[np.int64],
    seeds: NDArray[np.int64],
    cumulative: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Draw blocks that hold a seed, and add up what stays lost, each divided by the seeds it holds.

    Parameters
    ----------
    seed, trial_n : int
    columns, rows, row_parity, column_parity, repeat
        The protection.
    models, powers, slots, seeds
        As for `seed_probabilities`.
    cumulative : ndarray, shape (seeds,)
        Running sum of their probabilities.

    Returns
    -------
    sums : ndarray, shape (6,)
        Sum and sum of squares of media packets that stay lost over seeds; the same of blocks hit, and of runs that
        begin within one, over seeds.
    """
    state = np.empty(1, dtype=np.uint64)
    state[0] = uint64(seed)
    packet_n, path_n = slots.size, models.shape[0]
    bad = np.zeros(slots.max() + 1 + repeat, dtype=np.uint8)
    lost = np.zeros(packet_n, dtype=np.uint8)
    forced = np.zeros(packet_n, dtype=np.uint8)
    at, counts = np.zeros(MOST_FORCED, dtype=np.int64), np.zeros(MOST_FORCED, dtype=np.int64)
    ahead = np.zeros((MOST_FORCED, 2))
    in_row, in_column = np.zeros(rows, dtype=np.int64), np.zeros(columns, dtype=np.int64)
    sums = np.zeros(6)
    for _ in range(trial_n):
        n = min(int(np.searchsorted(cumulative, _uniform(state) * cumulative[-1])), cumulative.size - 1)
        forced[:] = 0
        for k in range(3):
            if seeds[n, k] >= 0:
                forced[seeds[n, k]] = 1
        found = _times(seeds[n], slots, repeat, at, counts)
        lost[:] = 1
        for path in range(path_n):
            _ahead(models[path], powers[path], at, counts, found, ahead)
            _states_given(state, models[path], powers[path], at, found, ahead, bad)
            for again in range(2 if repeat else 1):
                for i in range(packet_n):
                    if lost[i] and not forced[i]:
                        each = models[path, BAD_LOSS] if bad[slots[i] + again * repeat] else models[path, GOOD_LOSS]
                        if each < 1.0 and (each <= 0.0 or _uniform(state) >= each):
                            lost[i] = 0
        share = 1.0 / _seeds_in(lost, columns, rows, row_parity, column_parity)
        left = _unrecovered(lost, columns, rows, row_parity, column_parity, in_row, in_column)
        if left:
            sums[0] += left * share
            sums[1] += (left * share) ** 2
            sums[2] += share
            sums[3] += share * share
            begun = _begun(lost, columns * rows) * share
            sums[4] += begun
            sums[5] += begun * begun
    return sums
