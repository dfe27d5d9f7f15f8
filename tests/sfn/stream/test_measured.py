"""A measured path: losses, order and delays come back as they were put in."""

import io
from itertools import pairwise

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.stream.capture import Piece, read_packets
from sfn.stream.drift import drift_line
from sfn.stream.loss import burst_lengths_of
from sfn.stream.measured import interarrival_jitter, measure

MICROSECOND_US = 1.0


def measured(data: bytes, **options):
    """What a file's bytes say."""
    return measure(read_packets(io.BytesIO(data), name="file", size_bytes=len(data)), **options)


def piece(position, at_s, *, wraps=True):
    """Arrivals as one piece."""
    return Piece(np.asarray(position, dtype=np.int64) & (0xFFFF if wraps else -1), np.asarray(at_s), wraps)


@pytest.mark.parametrize("newer", [False, True], ids=["pcap", "pcapng"])
def test_known_losses_come_back_from_a_capture(newer, sent):
    """Every lost packet and no other, across the wrap of the sequence numbers; bursts of three."""
    ours = measured(sent.capture(newer=newer))

    assert np.array_equal(sent.lost, ours.lost)
    assert [3] * int(sent.lost.sum() // 3) == ours.burst_lengths.tolist()
    assert 63_000 == ours.first_sequence
    assert 0 == ours.duplicates_n


def test_known_delays_come_back(sent):
    """With the packet time given and no drift to remove, delays are those put in, less the least."""
    ours = measured(sent.log(), packet_time_s=0.004, remove_drift=False)
    kept = ~sent.lost
    true = sent.delay_us - sent.delay_us[kept].min()

    assert np.abs(ours.delay_us[kept] - true[kept]).max() < MICROSECOND_US
    assert abs(ours.origin_s - sent.start_s - sent.delay_us[kept].min() * 1e-6) < 2e-6


@pytest.mark.parametrize("drift_ppb", [-40_000.0, 3.0, 25_000.0])
def test_drift_between_the_clocks_is_taken_out(drift_ppb, record):
    """A receiver's clock off by up to 40 ppm: the drift is found to 0.2 ppm and the quantiles are as without it."""
    sent = record(30_000)
    position, at_s = sent.arrivals()
    drifted = sent.start_s + (at_s - sent.start_s) * (1 + drift_ppb * 1e-9)
    ours = measure([piece(position, drifted)])
    true = np.quantile(sent.delay_us - sent.delay_us.min(), [0.5, 0.999])

    assert abs(ours.packet_time_s / 0.004 - 1 - drift_ppb * 1e-9) < 2e-7
    assert np.abs(np.nanquantile(ours.delay_us, [0.5, 0.999]) - true).max() < 30


def test_reordering_and_duplicates(record):
    """Two swapped pairs, one packet three behind, one repeated: counted, and nothing lost."""
    sent = record(1000)
    position, at_s = np.arange(1000), sent.start_s + np.arange(1000) * 0.004
    position[[10, 11]] = position[[11, 10]]
    position[[20, 21]] = position[[21, 20]]
    position[100:104] = [101, 102, 103, 100]
    position = np.concatenate((position[:200], position[150:151], position[200:]))
    at_s = np.concatenate((at_s[:200], at_s[200:201], at_s[200:]))
    ours = measure([piece(position, at_s)], packet_time_s=0.004)

    assert 1 == ours.duplicates_n
    assert 3 + 1 == ours.reordered_n  # the repeated one came after later ones, too
    assert 49 == ours.greatest_reorder_packets
    assert not ours.lost.any()


def test_packets_sent_before_the_first_that_arrived(record):
    """When the second packet overtakes the first, the record begins with the first."""
    order = np.concatenate(([2, 0, 1], np.arange(3, 400)))
    ours = measure([piece(order + 65_530, np.arange(400) * 0.004)], packet_time_s=0.004)

    assert 400 == ours.delay_us.size
    assert 65_530 == ours.first_sequence
    assert not ours.lost.any()


def test_an_outage_longer_than_a_round_of_sequence_numbers(record):
    """200 000 packets missing, three rounds and more: the clock tells how many."""
    position = np.concatenate((np.arange(1000), np.arange(201_000, 202_000)))
    ours = measure([piece(position, 100 + position * 0.001)], packet_time_s=0.001)

    assert 202_000 == ours.delay_us.size
    assert [200_000] == ours.burst_lengths.tolist()


def test_pieces_make_no_difference(sent):
    """The same arrivals in pieces of any size give the same record."""
    position, at_s = sent.arrivals()
    number = position + sent.first_sequence
    whole = measure([piece(number, at_s)], packet_time_s=0.004)
    cuts = [0, 700, 701, 4000, position.size]
    parts = measure([piece(number[a:b], at_s[a:b]) for a, b in pairwise(cuts)], packet_time_s=0.004)

    assert np.array_equal(whole.delay_us, parts.delay_us, equal_nan=True)
    assert whole.origin_s == parts.origin_s


def test_numbers_that_do_not_wrap(record):
    """A log with full numbers above 65 535 is taken as it stands."""
    position = np.delete(np.arange(70_000, 140_000), [5, 6, 7, 60_000])
    ours = measure([piece(position, position * 0.001, wraps=False)], packet_time_s=0.001)

    assert 4 == int(ours.lost.sum())
    assert [3, 1] == burst_lengths_of(ours.lost).tolist()


def test_jitter_by_hand():
    """Even arrivals have none; one change of 16 us counts one sixteenth."""
    sent = np.arange(4) * 1000.0

    assert [0.0, 0.0, 0.0] == interarrival_jitter(sent, sent + 7).tolist()
    assert [1.0] == interarrival_jitter(sent[:2], np.array([0.0, 1016.0])).tolist()


def test_the_line_beneath_touches_and_never_crosses():
    """The drift line lies under every delay and touches two of the least."""
    rng = np.random.default_rng(3)
    delay = (rng.exponential(500, 8000) + 0.02 * np.arange(8000)).astype(np.float32)
    slope, level = drift_line(delay)
    above = delay - (slope * np.arange(8000) + level)

    assert above.min() > -0.01
    assert abs(slope - 0.02) < 0.002


@pytest.mark.parametrize(
    ("pieces", "text"),
    [
        ([], "packets: only 0 arrived; at least 100"),
        ([piece(np.arange(50), np.arange(50) * 1e-3)], "packets: only 50 in order; at least 100"),
        ([piece(np.arange(500), np.zeros(500))], "packets: only 500 in order"),
        ([piece([0, 10**8] + [5] * 200, np.arange(202.0), wraps=False)], "at most 50000000: split the record"),
    ],
)
def test_records_that_say_nothing_are_refused(pieces, text):
    """Too short, standing still, too long: each in words."""
    with pytest.raises(PlanError) as refusal:
        measure(pieces)

    assert text in str(refusal.value)
