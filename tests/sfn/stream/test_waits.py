"""How long a receiver must wait, held to a decoder that takes packet after packet.

The sender below writes its packets on a line of slots by itself, as words say: media one a slot, row parity beside the
first packet of the next row, column parity after the matrix, at once or one every D slots. The decoder takes what
comes, and after every packet turns to rows and columns until nothing more is found.
"""

from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.stream.loss import LossModel, bursts
from sfn.stream.protection import both_parities, column_parity, row_parity, waits
from sfn.stream.residual import residual


def sent(columns: int, rows: int, *, row: bool, column: bool, spread: bool) -> list[tuple[int, str, int, int]]:
    """Slot, kind and place of every packet, in the order of sending."""
    line = [(j * columns + c, "media", j, c) for j, c in product(range(rows), range(columns))]
    if row:
        line += [((j + 1) * columns, "row", j, -1) for j in range(rows)]
    if column:
        line += [(rows * columns + (c * rows if spread else c), "column", -1, c) for c in range(columns)]
    return sorted(line)


def waited(
    columns: int, rows: int, lost: set[tuple[str, int, int]], *, row: bool, column: bool, spread: bool
) -> dict[tuple[int, int], int]:
    """Slots from a lost media packet's own to the one in which it is restored; those never restored are left out."""
    have: set[tuple[str, int, int]] = set()
    found: dict[tuple[int, int], int] = {}
    for slot, kind, j, c in sent(columns, rows, row=row, column=column, spread=spread):
        if (kind, j, c) not in lost:
            have.add((kind, j, c))
        again = True
        while again:
            again = False
            lines = [(("row", k, -1), [("media", k, n) for n in range(columns)]) for k in range(rows) if row]
            lines += [(("column", -1, n), [("media", k, n) for k in range(rows)]) for n in range(columns) if column]
            for parity, members in lines:
                missing = [one for one in members if one not in have]
                if parity in have and len(missing) == 1:
                    have.add(missing[0])
                    _, k, n = missing[0]
                    if missing[0] in lost:
                        found[k, n] = slot - (k * columns + n)
                    again = True
    return found


def longest(columns: int, rows: int, **how: bool) -> int:
    """The longest wait over all patterns of up to four lost packets, parity too."""
    packets = [packet[1:] for packet in sent(columns, rows, **how)]
    patterns = [set(some) for n in (1, 2, 3, 4) for some in combinations(packets, n)]
    return max(max(waited(columns, rows, lost, **how).values(), default=0) for lost in patterns)


@pytest.mark.parametrize(("columns", "rows"), [(2, 2), (2, 3), (3, 2)])
@pytest.mark.parametrize("spread", [False, True])
def test_the_decoder_waits_just_as_long_as_said(columns: int, rows: int, spread: bool) -> None:
    """No packet is restored later, and one is restored as late as that: rows, columns, and both decoded in turns."""
    by_rows = longest(columns, rows, row=True, column=False, spread=False)
    by_columns = longest(columns, rows, row=False, column=True, spread=spread)
    by_both = longest(columns, rows, row=True, column=True, spread=spread)

    assert by_rows == waits(row_parity(columns)).parity
    assert by_columns == waits(column_parity(columns, rows, spread=spread)).parity
    assert by_both == waits(both_parities(columns, rows, spread=spread)).parity


@settings(max_examples=40, deadline=None)
@given(st.integers(4, 7), st.integers(4, 7), st.booleans(), st.integers(0, 2**31))
def test_nothing_is_restored_after_the_wait(columns: int, rows: int, spread: bool, seed: int) -> None:
    """Larger matrices and heavier loss, parity lost too: the wait is never exceeded."""
    rng = np.random.default_rng(seed)
    line = sent(columns, rows, row=True, column=True, spread=spread)
    lost = {(kind, j, c) for _, kind, j, c in line if rng.random() < 0.2}
    found = waited(columns, rows, lost, row=True, column=True, spread=spread)

    assert max(found.values(), default=0) <= waits(both_parities(columns, rows, spread=spread)).parity


def test_the_first_packet_may_hang_on_the_last_column() -> None:
    """Five by ten, the case of the field: 54 packets at once, 90 spread, by the decoder and by hand."""
    lost = {("media", 0, 0), ("media", 0, 4)}  # their row cannot help until column 4 has restored its packet
    lost |= {("column", -1, 0)}

    at_once = waited(5, 10, lost, row=True, column=True, spread=False)
    spread = waited(5, 10, lost, row=True, column=True, spread=True)
    assert {(0, 0): 5 * 10 + 4, (0, 4): 50} == at_once
    assert {(0, 0): 5 * 10 + 4 * 10, (0, 4): 5 * 10 + 4 * 10 - 4} == spread
    assert (54, 90) == (waits(both_parities(5, 10)).parity, waits(both_parities(5, 10, spread=True)).parity)


def own_slots(line, columns: int, rows: int, *, row: bool) -> list[tuple[str, int, int] | None]:
    """The same packets one after another, each in its own slot; None for those of the next matrix between them."""
    order: list[tuple[str, int, int] | None] = []
    for at in range(max(slot for slot, *_ in line) + 1):
        beside = [(kind, j, c) for slot, kind, j, c in line if slot == at]
        if row and at > columns * rows and at % columns == 0:
            order.append(None)
        order += sorted((one for one in beside if one[0] != "media"), key=lambda one: one[0] != "row")
        order += [one for one in beside if one[0] == "media"] or [None]
    return order


def plain_loss(model: LossModel, columns: int, rows: int, *, row: bool, spread: bool, matrices: int) -> float:
    """Media packets left by the decoder above, matrix after matrix, states drawn packet by packet as sent."""
    rng = np.random.default_rng(5)
    line = sent(columns, rows, row=row, column=True, spread=spread)
    order = own_slots(line, columns, rows, row=row)
    left = 0
    for _ in range(matrices):
        bad = rng.random() < model.bad_ratio
        states = []
        for _ in order:
            states.append(bad)
            bad = rng.random() >= model.end_probability if bad else rng.random() < model.start_probability
        lost = {one for one, gone in zip(order, states, strict=True) if gone and one is not None}
        gone = sum(kind == "media" for kind, _, _ in lost)
        if gone:
            left += gone - len(waited(columns, rows, lost, row=row, column=True, spread=spread))
    return left / (matrices * columns * rows)


@pytest.mark.parametrize("row", [False, True])
def test_loss_left_by_spread_parity(row: bool) -> None:
    """Heavy bursts on 3 x 4, parity over the next matrix: exact formula or kernel against the plain decoder."""
    model = bursts(0.1, mean_burst_packets=5)
    guard = both_parities(3, 4, spread=True) if row else column_parity(3, 4, spread=True)
    plain = plain_loss(model, 3, 4, row=row, spread=True, matrices=6000)
    ours = residual(guard, paths=(model,), block_n=200_000)

    assert ours.loss_ratio == pytest.approx(plain, rel=0.1)
    at_once = residual(both_parities(3, 4) if row else column_parity(3, 4), paths=(model,), block_n=200_000)
    assert at_once.loss_ratio > ours.high_ratio  # its column parity is lost together with the last row
