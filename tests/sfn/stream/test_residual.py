"""What stays lost: formulas, fast simulation and an obvious one against each other."""

import math
from typing import Literal

import numpy as np
import pytest
from numpy.typing import NDArray

from sfn.stream.loss import LossModel, burst_lengths_of, bursts, independent
from sfn.stream.protection import (
    Protection,
    both_parities,
    column_parity,
    row_parity,
    with_repeat,
    with_second_path,
)
from sfn.stream.residual import one_parity_loss, pair_loss, residual, simulated

BURSTY = bursts(0.01, mean_burst_packets=4)
ELLIOTT = LossModel(0.002, 0.1, good_loss_probability=0.005, bad_loss_probability=0.6)
FIVE_PERCENT = 0.05


def record(model: LossModel, packets: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """A long record of losses, drawn the obvious way: state after state, then packet by packet."""
    mean = 1 / model.start_probability + 1 / model.end_probability
    pairs = int(1.2 * packets / mean) + 100
    stays = np.stack((rng.geometric(model.start_probability, pairs), rng.geometric(model.end_probability, pairs)), 1)
    state = np.repeat(np.tile([False, True], pairs), stays.ravel())[:packets]
    return rng.random(packets) < np.where(state, model.bad_loss_probability, model.good_loss_probability)


def batch_interval(values: NDArray[np.float64]) -> tuple[float, float]:
    """99 % interval of a mean from 200 batches, so that packets of a burst don't count twice."""
    means = values[: values.size // 200 * 200].reshape(200, -1).mean(1)
    half = 2.6 * means.std(ddof=1) / math.sqrt(200)  # Student's t for 199
    return float(means.mean() - half), float(means.mean() + half)


def test_column_formula_against_a_plain_record() -> None:
    """Pi = 1 %, bursts of 4, columns 5 x 6: the formula lies in an interval narrower than 5 % each way."""
    rng = np.random.default_rng(11)
    lost = record(BURSTY, 8_000_000, rng)
    blocks = lost[: lost.size // 35 * 35].reshape(-1, 7, 5)  # six rows of media, then the parity's own
    left = (blocks[:, :6] & (blocks.sum(1, keepdims=True) > 1)).mean((1, 2))
    low, high = batch_interval(left)

    assert high - low < 2 * FIVE_PERCENT * high
    assert low < one_parity_loss((BURSTY,), members=6, spacing=5) < high


def test_repeat_formula_against_a_plain_record() -> None:
    """Both copies lost 6 packets apart, and bursts of such losses: formulas within narrow intervals."""
    rng = np.random.default_rng(12)
    lost = record(BURSTY, 10_000_000, rng)
    both = lost[:-6] & lost[6:]
    begun = both[1:] & ~both[:-1]
    left = residual(with_repeat(Protection(), after=6), paths=(BURSTY,))
    for ours, values in ((left.loss_ratio, both), (left.errors_per_packet_ratio, begun)):
        low, high = batch_interval(values.astype(np.float64))

        assert high - low < 2 * FIVE_PERCENT * high
        assert low < ours < high


def test_repeat_of_the_next_packet() -> None:
    """A repeat one packet later, in a model that loses in both states: the record has the same loss and bursts."""
    rng = np.random.default_rng(13)
    left = residual(with_repeat(Protection(), after=1), paths=(BURSTY,))
    lost = record(BURSTY, 4_000_000, rng)
    both = lost[:-1] & lost[1:]

    assert pair_loss(BURSTY, packets=1) == left.loss_ratio
    low, high = batch_interval((both[1:] & ~both[:-1]).astype(np.float64))
    assert low < left.errors_per_packet_ratio < high


def test_second_path_with_repeat_by_hand() -> None:
    """Losses of the paths multiply; errors begin when one path loses first and the other too."""
    guard = with_second_path(with_repeat(Protection(), after=3))
    one = residual(with_repeat(Protection(), after=3), paths=(BURSTY,))
    both = residual(guard, paths=(BURSTY, BURSTY))
    a, new = one.loss_ratio, one.errors_per_packet_ratio

    assert a * a == pytest.approx(both.loss_ratio, rel=1e-12)
    assert 2 * a * new - new * new == pytest.approx(both.errors_per_packet_ratio, rel=1e-12)


@pytest.mark.parametrize(
    "guard", [column_parity(5, 6), row_parity(5), column_parity(10, 10), row_parity(20)], ids=lambda p: p.in_words()
)
@pytest.mark.parametrize("model", [BURSTY, ELLIOTT, independent(0.02)], ids=["bursts", "two states", "independent"])
@pytest.mark.parametrize("way", ["plain", "seeded"])
def test_fast_simulation_against_the_exact_form(
    guard: Protection, model: LossModel, way: Literal["plain", "seeded"]
) -> None:
    """The exact loss lies within the simulation's 99 % interval, which is narrower than 5 %."""
    exact = residual(guard, paths=(model,), block_n=1000)
    ours = simulated(guard, paths=(model,), seed=1, block_n=1_000_000 if way == "plain" else 400_000, way=way)

    assert "exact" == exact.kind
    assert ours.high_ratio - ours.low_ratio < FIVE_PERCENT * ours.loss_ratio
    assert ours.low_ratio < exact.loss_ratio < ours.high_ratio


def test_two_paths_with_columns() -> None:
    """Columns over two unequal paths: the exact joint chain lies within the simulation's interval."""
    guard = with_second_path(column_parity(5, 6))
    paths = (bursts(0.03, mean_burst_packets=8), bursts(0.1, mean_burst_packets=3))
    exact = residual(guard, paths=paths, block_n=1000)
    ours = simulated(guard, paths=paths, seed=3, block_n=300_000)

    assert ours.low_ratio < exact.loss_ratio < ours.high_ratio
    assert ours.events_n > 1000


def crossed_by_hand(lost: NDArray[np.bool_], rows: NDArray[np.bool_], columns: NDArray[np.bool_]) -> None:
    """Recover rows and columns in turn until nothing changes, the obvious way, in place."""
    while True:
        before = lost.sum()
        lost &= ~((lost.sum(2) == 1) & ~rows)[:, :, None]
        lost &= ~((lost.sum(1) == 1) & ~columns)[:, None, :]
        if lost.sum() == before:
            return


def begun_each(left: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Runs of lost media packets that begin in each matrix of a stream, shape (matrices, media): edges are none."""
    flat = left.ravel()
    return np.asarray((flat & ~np.concatenate(([False], flat[:-1]))).reshape(left.shape).sum(1), dtype=np.float64)


@pytest.mark.parametrize("loss_ratio", [0.05, 0.1])
def test_rows_and_columns_without_memory(loss_ratio: float) -> None:
    """5 x 5, parity lost as often: plain numpy, blocks as they come and blocks with a seed agree within 99 %."""
    rng = np.random.default_rng(14)
    n = 200_000
    lost, rows, columns = (rng.random((n, *shape)) < loss_ratio for shape in ((5, 5), (5,), (5,)))
    crossed_by_hand(lost, rows, columns)
    low, high = batch_interval(lost.mean((1, 2)))
    low_errors, high_errors = batch_interval(begun_each(lost.reshape(n, 25)) / 25)
    model = (independent(loss_ratio),)
    for ours in (
        residual(both_parities(5, 5), paths=model),
        simulated(both_parities(5, 5), paths=model, seed=5, block_n=400_000, way="plain"),
        simulated(both_parities(5, 5), paths=model, seed=6, block_n=400_000, way="seeded"),
    ):
        assert "estimate" == ours.kind
        assert ours.low_ratio < high
        assert low < ours.high_ratio
        assert ours.errors_low_ratio < high_errors
        assert low_errors < ours.errors_high_ratio


def test_rows_and_columns_under_bursts() -> None:
    """6 x 5 under bursts, every packet in its own slot: plain numpy and the kernel agree within 99 %."""
    rng = np.random.default_rng(15)
    columns, rows, n = 6, 5, 120_000
    lost = record(BURSTY, n * 60, rng).reshape(n, 60)  # a block's slots, and a gap before the next block
    sent = lost[:, : (columns + 1) * rows].reshape(n, rows, columns + 1)  # each row, then its parity
    media, row_parity_lost = sent[:, :, :columns].copy(), sent[:, :, columns]
    column_parity_lost = lost[:, (columns + 1) * rows : (columns + 1) * rows + columns]
    crossed_by_hand(media, row_parity_lost, column_parity_lost)
    low, high = batch_interval(media.mean((1, 2)))
    ours = residual(both_parities(columns, rows), paths=(BURSTY,))

    assert ours.low_ratio < high
    assert low < ours.high_ratio
    assert ours.high_ratio - ours.low_ratio < FIVE_PERCENT * ours.loss_ratio


def decoded(sent: list[tuple[str, int, int]], lost: NDArray[np.bool_], columns: int, rows: int) -> set[tuple[int, int]]:
    """Media (row, column) that stay lost of one matrix, by taking packet after packet as a receiver does."""
    here = {packet for packet, gone in zip(sent, lost, strict=True) if not gone}
    missing = {(j, c) for j in range(rows) for c in range(columns) if ("media", j, c) not in here}
    while True:
        found = set()
        for j, c in missing:
            alone_in_row = all((j, k) == (j, c) or (j, k) not in missing for k in range(columns))
            alone_in_column = all((k, c) == (j, c) or (k, c) not in missing for k in range(rows))
            if (("row", j, 0) in here and alone_in_row) or (("column", 0, c) in here and alone_in_column):
                found.add((j, c))
        if not found:
            return missing
        missing -= found


def as_sent(guard: Protection) -> list[tuple[str, int, int] | None]:
    """The packets of one matrix in the order of sending; None for those of the next matrix between them."""
    sent: list[tuple[str, int, int] | None] = []
    columns, rows = guard.columns, guard.rows
    for j in range(rows):
        sent += [("media", j, c) for c in range(columns)]
        sent += [("row", j, 0)] * guard.row_parity
    if not guard.parity_spread:
        return sent + [("column", 0, c) for c in range(columns)] * guard.column_parity
    for m in range(columns * rows):  # the next matrix goes on
        sent += [("column", 0, m // rows)] * (m % rows == 0)
        sent += [None] * (1 + (guard.row_parity and m % columns == columns - 1))
    return sent


@pytest.mark.parametrize(
    "guard", [both_parities(4, 4), both_parities(4, 4, spread=True), column_parity(4, 4, spread=True), row_parity(6)],
    ids=lambda p: p.in_words(),
)  # fmt: skip
def test_a_decoder_that_takes_packet_after_packet_is_left_with_as_much(guard: Protection) -> None:
    """Bursts of 3 at 6 %, drawn over the packets as they are sent: loss and errors lie in each other's 99 %."""
    model, rng, n = bursts(0.06, mean_burst_packets=3), np.random.default_rng(21), 6000
    rows = guard.rows if guard.column_parity else 17  # rows alone: drawn in blocks of about 100
    order = as_sent(guard if guard.column_parity else both_rows(guard, rows))
    lost = record(model, n * len(order), rng).reshape(n, len(order))
    mine = [k for k, packet in enumerate(order) if packet is not None]
    sent = [packet for packet in order if packet is not None]
    media = guard.columns * rows
    left = np.zeros((n, media), dtype=bool)
    for k, one in enumerate(lost):
        left[k, [j * guard.columns + c for j, c in decoded(sent, one[mine], guard.columns, rows)]] = True
    begun = begun_each(left) / media
    if guard.parity_spread:  # matrices are drawn apart: what was before the first packet of one is not known
        begun = (left[:, 1:] & ~left[:, :-1]).sum(1) / (media - 1)
    ours = residual(guard, paths=(model,), block_n=60_000)
    for (low, high), one in (
        (batch_interval(left.sum(1) / media), (ours.low_ratio, ours.high_ratio)),
        (batch_interval(begun), (ours.errors_low_ratio, ours.errors_high_ratio)),
    ):
        assert one[0] < high
        assert low < one[1]


def both_rows(guard: Protection, rows: int) -> Protection:
    """So many rows with their parity, as a matrix to send."""
    return Protection(columns=guard.columns, rows=rows, row_parity=True)


@pytest.mark.parametrize("guard", [both_parities(8, 4), both_parities(8, 4, spread=True), row_parity(5)])
def test_bursts_that_are_none_leave_as_much_as_independent_losses(guard: Protection) -> None:
    """A mean burst of 1 / (1 - p) is no memory: the same loss and errors as where no burst is typed."""
    p = 0.038
    plain, typed = (
        residual(guard, paths=(model,), block_n=400_000)
        for model in (independent(p), bursts(p, mean_burst_packets=1 / (1 - p)))
    )
    for ours, other in (
        ((plain.low_ratio, plain.high_ratio), (typed.low_ratio, typed.high_ratio)),
        ((plain.errors_low_ratio, plain.errors_high_ratio), (typed.errors_low_ratio, typed.errors_high_ratio)),
    ):
        assert ours[0] <= other[1] * (1 + 1e-9)
        assert other[0] <= ours[1] * (1 + 1e-9)


def test_leading_term_of_rare_residuals() -> None:
    """At 1e-4 a packet, its row parity and its column parity lost together dominate: p^3, by hand."""
    ours = residual(both_parities(5, 10), paths=(independent(1e-4),), block_n=1_000_000)

    assert ours.low_ratio < 1e-12 * (1 + 36e-4 + 2 * 13e-4) < ours.high_ratio


def test_seeds_find_what_plain_drawing_cannot() -> None:
    """1e-5 in bursts of 4 against 10 x 10: plain drawing can only say "less than", seeds give a figure below it."""
    rare = (bursts(1e-5, mean_burst_packets=4),)
    plain = simulated(both_parities(10, 10), paths=rare, seed=7, block_n=20_000, way="plain")
    seeded = simulated(both_parities(10, 10), paths=rare, seed=7, block_n=200_000)

    assert "less than" == plain.kind
    assert 0.0 == plain.low_ratio
    assert "estimate" == seeded.kind
    assert seeded.high_ratio < plain.loss_ratio


def test_too_few_blocks_say_less_than_and_seeds_lie_below_what_a_part_leaves() -> None:
    """Blocks as they come meet nothing: an upper limit. Given a seed: below columns, rows or repeat alone, and sure."""
    model = bursts(1e-3, mean_burst_packets=1.0)
    guard = with_repeat(both_parities(10, 10), after=7)
    plain = simulated(guard, paths=(model,), seed=1, block_n=1000, way="plain")
    ours = residual(guard, paths=(model,), block_n=250_000)

    assert "less than" == plain.kind
    assert 0.0 == plain.low_ratio
    assert "estimate" == ours.kind
    assert ours.high_ratio - ours.low_ratio < 2 * FIVE_PERCENT * ours.loss_ratio
    assert ours.high_ratio < min(
        residual(with_repeat(Protection(), after=7), paths=(model,)).loss_ratio,
        one_parity_loss((model,), members=10, spacing=10),
        one_parity_loss((model,), members=10, spacing=1),
    )
    assert ours.high_ratio < plain.loss_ratio


def test_the_same_seed_gives_the_same_answer() -> None:
    """Two runs with one seed are equal, with another they differ."""
    guard = both_parities(5, 5)

    assert residual(guard, paths=(BURSTY,), seed=9) == residual(guard, paths=(BURSTY,), seed=9)
    assert residual(guard, paths=(BURSTY,), seed=9) != residual(guard, paths=(BURSTY,), seed=10)


def test_errors_without_protection_are_bursts() -> None:
    """Bursts a packet are p (1 - pi); a record has as many."""
    left = residual(Protection(), paths=(BURSTY,))
    lost = record(BURSTY, 3_000_000, np.random.default_rng(16))
    count = burst_lengths_of(lost).size

    assert BURSTY.start_probability * (1 - 0.01) == pytest.approx(left.errors_per_packet_ratio, rel=1e-9)
    assert abs(count - 3e6 * left.errors_per_packet_ratio) < 4 * math.sqrt(count)


def test_clean_and_dead_paths() -> None:
    """Nothing lost stays nothing; everything lost stays everything; one clean path of two is enough."""
    clean, dead = independent(0.0), independent(1.0)

    assert 0.0 == residual(both_parities(5, 5), paths=(clean,)).loss_ratio
    assert residual(both_parities(5, 5), paths=(clean,)).error_every_s(1e-3) is None
    assert 1.0 == residual(both_parities(5, 5), paths=(dead,)).loss_ratio
    assert 0.0 == residual(with_second_path(Protection()), paths=(dead, clean)).loss_ratio


def test_paths_must_match_the_protection() -> None:
    """A second path needs its model; the refusal says how many."""
    with pytest.raises(ValueError, match="paths must be 2 for protection 'second path', got 1"):
        residual(with_second_path(Protection()), paths=(BURSTY,))


@pytest.mark.parametrize("guard", [row_parity(10), both_parities(4, 4)], ids=lambda p: p.in_words())
def test_an_error_is_the_same_whatever_protects(guard: Protection) -> None:
    """Long bursts that no parity helps against: as many errors with parity as without, a run being a run."""
    model = bursts(0.2, mean_burst_packets=2000)
    bare, protected = residual(Protection(), paths=(model,)), residual(guard, paths=(model,), block_n=400_000)

    # a parity packet in every row lengthens the way that a burst goes: by at most half here
    assert protected.errors_low_ratio < 1.6 * bare.errors_per_packet_ratio
    assert bare.errors_per_packet_ratio < 1.1 * protected.errors_high_ratio
