"""SMPTE ST 2022-1 and 2022-7: matrix limits, cost of parity, receiver classes."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from sfn.stream.packet import Headers, packet_of, rates_bps
from sfn.stream.payload import digital_composite
from sfn.stream.protection import (
    both_parities,
    column_parity,
    longest_burst_recovered,
    packet_overhead,
    row_parity,
    skew_class,
    st2022_1_problems,
    waits,
)

LIMITS = "SMPTE ST 2022-1, as three public implementations restate it"
CLASSES = "SMPTE ST 2022-7:2019, receiver classes, as public notes quote it"
EXACT = 1e-12


def test_matrix_limits() -> None:
    """L x D above 100 and D below 4 are refused by name; 20 x 5 is allowed (ST 2022-1)."""
    too_large, too_low = st2022_1_problems(column_parity(20, 6)), st2022_1_problems(column_parity(10, 3))

    assert ["L x D is 120"] == [p.what for p in too_large]
    assert ["D is 3"] == [p.what for p in too_low]
    assert "from 4 to 20 (SMPTE ST 2022-1)" == too_low[0].expected
    assert [] == st2022_1_problems(column_parity(20, 5))
    assert [] == st2022_1_problems(column_parity(1, 4))
    assert ["L is 1"] == [p.what for p in st2022_1_problems(both_parities(1, 4))]


def test_two_dimensional_parity_on_composite(published: Callable[..., None]) -> None:
    """192 kHz, 24 bit, 1 ms with L = 5, D = 10: rate, overhead, wait and burst."""
    guard = both_parities(5, 10)
    packet = packet_of(digital_composite(), time_s=Fraction(1, 1000))
    rows = rates_bps(packet, Headers(), row_length=5)["ip"] - rates_bps(packet, Headers())["ip"]
    columns = rates_bps(packet, Headers(), column_length=10)["ip"] - rates_bps(packet, Headers())["ip"]
    total = rates_bps(packet, Headers(), row_length=5, column_length=10)["ip"]
    source = f"{LIMITS}; 16 bytes of header (from memory), by hand"
    for what, ours, theirs in (("rows", rows, 1.0112), ("columns", columns, 0.5056), ("all", total, 6.4448)):
        published(f"parity 5 x 10, {what}", float(ours) / 1e6, theirs, tolerance=EXACT, unit="Mbit/s", source=source)
    published("parity 5 x 10, packets", float(packet_overhead(guard)), 0.30, tolerance=EXACT, unit="", source="by hand")
    wait_ms = waits(guard).total_us(packet.time_s) / 1000
    published("parity 5 x 10, wait", wait_ms, 54.0, tolerance=EXACT, unit="ms", source="L D + L - 1 by hand")

    assert 5 == longest_burst_recovered(guard)


def test_tall_packets(published: Callable[..., None]) -> None:
    """L = 10, D = 5 of 4 ms: 20, 10 and 30 percent, a matrix of 200 ms and its last column, bursts of 10."""
    source = "1/D, 1/L, (L D + L - 1) T by hand"
    for name, guard, pct in (
        ("columns", column_parity(10, 5), 20.0),
        ("rows", row_parity(10), 10.0),
        ("both", both_parities(10, 5), 30.0),
    ):
        ours = 100 * float(packet_overhead(guard))
        published(f"10 x 5, {name}", ours, pct, tolerance=1e-9, unit="%", source=source)
    wait_ms = waits(both_parities(10, 5)).total_us(Fraction(4, 1000)) / 1000
    published("10 x 5 of 4 ms, wait", wait_ms, 236.0, tolerance=EXACT, unit="ms", source=source)

    assert 10 == longest_burst_recovered(both_parities(10, 5))


@pytest.mark.parametrize(
    ("differential_ms", "wanted"),
    [
        (0.0, "D"),
        (0.15, "D"),
        (0.2, "A"),
        (10.0, "A"),
        (10.1, "B"),
        (50.0, "B"),
        (60.0, "C"),
        (450.0, "C"),
        (451, None),
    ],
)
def test_receiver_classes(differential_ms: float, wanted: str | None) -> None:
    """The least class that covers a path differential (ST 2022-7: D 150 us, A 10, B 50, C 450 ms)."""
    assert wanted == skew_class(differential_ms)
