"""Captures with known faults, written byte by byte here: sources, restarts, outages, clocks that step and drift."""

import io
import struct
from dataclasses import replace

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.stream import capture
from sfn.stream.capture import read_packets
from sfn.stream.heard import Heard
from sfn.stream.joint import joint_loss, overlap
from sfn.stream.measured import measure

PACKET_S, STAMPS = 0.004, 192  # 4 ms of 48 kHz
Sent = list[tuple[float, bytes]]


def rtp(
    at_s: float, number: int, stamp: int, *, source: int = 0xABCD, port: int = 5004, kind: int = 97
) -> tuple[float, bytes]:
    """One frame: Ethernet, IPv4, UDP, RTP (RFC 3550 5.1), a payload of 20 bytes."""
    packet = struct.pack(">BBHII", 0x80, kind, number & 0xFFFF, stamp & 0xFFFFFFFF, source) + bytes(20)
    udp = struct.pack(">HHHH", 40_000, port, 8 + len(packet), 0) + packet
    ip = struct.pack(">BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, b"\x0a\0\0\1", b"\xef\1\1\1") + udp
    return at_s, b"\1\0\x5e\1\1\1" + b"\2\0\0\0\0\1" + b"\x08\0" + ip


def stream(
    positions: np.ndarray, *, number: int = 100, stamp: int = 7_000, begin_s: float = 1000.0, seed: int = 1, **more
) -> Sent:
    """Packets at those positions of a stream, each late by a little."""
    jitter = np.random.default_rng(seed).exponential(2e-4, positions.size)
    return [
        rtp(begin_s + p * PACKET_S + late, number + p, stamp + p * STAMPS, **more)
        for p, late in zip(positions.tolist(), jitter.tolist(), strict=True)
    ]


def written(sent: Sent) -> bytes:
    """A pcap file, microseconds, big-endian."""
    head = struct.pack(">IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 1)
    parts = [head]
    for at_s, frame in sent:
        micro = round(at_s * 1e6)
        parts.append(struct.pack(">IIII", micro // 1_000_000, micro % 1_000_000, len(frame), len(frame)) + frame)
    return b"".join(parts)


def measured(
    sent: Sent, *, packet_time_s: float | None = None, heard: Heard | None = None, remove_drift=True, **options
):
    """What is made of a capture."""
    data = written(sent)
    pieces = read_packets(io.BytesIO(data), name="file", size_bytes=len(data), heard=heard, **options)
    return measure(pieces, packet_time_s=packet_time_s, remove_drift=remove_drift)


def test_streams_are_listed_with_what_they_carry():
    """Three streams on two ports, one of them MPEG: all are counted, the most frequent is followed."""
    sent = (
        stream(np.arange(2000))
        + stream(np.arange(500), port=5006, source=7, kind=33)
        + stream(np.arange(90), source=9, kind=10)
    )
    heard = Heard()
    measured(sorted(sent), heard=heard)
    rows = heard.as_answer()

    assert [
        (5004, "0x0000abcd", 97, 2000, True),
        (5006, "0x00000007", 33, 500, False),
        (5004, "0x00000009", 10, 90, False),
    ] == [(row["port"], row["source"], row["payload_type"], row["packets_n"], row["followed"]) for row in rows]
    assert ["as agreed between the devices", "MPEG-2 TS", "L16 stereo"] == [row["carries"] for row in rows]


def test_two_sources_on_one_port_are_never_mixed():
    """The followed one is silent for 8 s, the other goes on beside: 2000 lost, and none of them filled by the other."""
    kept = np.concatenate([np.arange(3000), np.arange(5000, 8000)])
    sent = stream(kept) + stream(np.arange(7000), source=9, number=30_000, stamp=5, seed=3)
    heard = Heard()
    ours = measured(sorted(sent), heard=heard, packet_time_s=PACKET_S, source=0xABCD)
    rows = {row["source"]: row for row in heard.as_answer()}

    assert (8000, [2000], ()) == (ours.delay_us.size, ours.burst_lengths.tolist(), ours.changes)
    assert (True, False) == (rows["0x0000abcd"]["followed"], rows["0x00000009"]["followed"])
    assert "heard beside it: nothing of it is in the figures" in rows["0x00000009"]["why"]
    most = Heard()
    measured(sorted(sent), heard=most, packet_time_s=PACKET_S)
    assert "most packets of the whole file" in most.as_answer()[0]["why"] + most.as_answer()[1]["why"]


def test_most_packets_of_the_whole_file_are_followed_not_of_its_beginning():
    """One port alone for 6000 packets, then another with 9000: the second is followed, and the answer says why."""
    sent = stream(np.arange(6000), port=5006, source=7) + stream(np.arange(9000), begin_s=1100.0)
    heard = Heard()
    ours = measured(sent, heard=heard, packet_time_s=PACKET_S)

    assert 9000 == ours.delay_us.size
    assert [0xABCD] == [one.source for one in heard.followed]
    assert "it has most packets of the whole file" == heard.as_answer()[0]["why"]


def test_a_stream_with_most_packets_is_followed_from_the_source_that_it_once_was():
    """A short source goes over into a long one, a third speaks beside the long one only: joined from the beginning."""
    sent = (
        stream(np.arange(1000))
        + stream(np.arange(4000), begin_s=1000 + 1100 * PACKET_S, number=9, stamp=9, source=5, seed=2)
        + stream(np.arange(3000), begin_s=1000 + 1500 * PACKET_S, number=7, stamp=7, source=9, seed=3)
    )
    heard = Heard()
    ours = measured(sorted(sent), heard=heard, packet_time_s=PACKET_S)

    assert [0xABCD, 5] == [one.source for one in heard.followed]
    assert (5100, [100]) == (ours.delay_us.size, ours.burst_lengths.tolist())
    rows = {row["source"]: row for row in heard.as_answer()}
    assert "it goes over into the source with most packets of the whole file" == rows["0x0000abcd"]["why"]


def test_a_source_that_speaks_beside_the_largest_is_no_beginning_of_it():
    """One source begins 400 packets before the largest and goes on beside it: two streams, and the largest is one."""
    sent = stream(np.arange(2000), source=9, seed=3) + stream(
        np.arange(4000), begin_s=1000 + 400 * PACKET_S, number=9, stamp=9, source=5, seed=2
    )
    heard = Heard()
    ours = measured(sorted(sent), heard=heard, packet_time_s=PACKET_S)

    assert ([5], 4000) == ([one.source for one in heard.followed], ours.delay_us.size)


def test_a_source_asked_for_is_found_however_late_it_begins():
    """It sends its first packet after 6000 of another."""
    sent = stream(np.arange(6000), source=9) + stream(np.arange(700), begin_s=1100.0)
    ours = measured(sent, packet_time_s=PACKET_S, source=0xABCD)

    assert 700 == ours.delay_us.size


def test_a_source_that_comes_back_after_another_is_joined():
    """Main, then standby for as long as main is silent, then main again: one record, both changes named."""
    sent = stream(np.concatenate([np.arange(2000), np.arange(4000, 6000)])) + stream(
        np.arange(1990), begin_s=1000 + 2005 * PACKET_S, number=50_000, stamp=8, source=5, seed=2
    )
    ours = measured(sorted(sent), packet_time_s=PACKET_S)
    assert [("source change", 5), ("source change", 0xABCD)] == [(c.kind, c.source) for c in ours.changes]
    assert 15 >= int(ours.lost.sum())


def test_a_source_that_goes_over_into_another_is_joined_and_named():
    """The encoder restarts after 3 s of silence with a new source, new numbers, new stamps: one record, 750 lost."""
    sent = stream(np.arange(3000)) + stream(
        np.arange(3000), begin_s=1000 + 3750 * PACKET_S, number=40_000, stamp=99, source=5, seed=2
    )
    heard = Heard()
    ours = measured(sent, heard=heard, packet_time_s=PACKET_S)

    assert (6750, [750]) == (ours.delay_us.size, ours.burst_lengths.tolist())
    (change,) = ours.changes
    assert ("source change", 5) == (change.kind, change.source)
    assert [0xABCD, 5] == [one.source for one in heard.followed]


def test_a_restart_with_the_same_source_is_joined_and_named():
    """Numbers jump by 20 000 and stamps at random while no time passes: not twenty thousand lost packets."""
    sent = stream(np.arange(3000)) + stream(
        np.arange(3000), begin_s=1000 + 3000 * PACKET_S, number=23_100, stamp=5_000_000, seed=2
    )
    ours = measured(sent, packet_time_s=PACKET_S)

    assert (6000, 0) == (ours.delay_us.size, int(ours.lost.sum()))
    assert ["restart"] == [change.kind for change in ours.changes]


@pytest.mark.parametrize(("before_n", "number", "stamp"), [(5000, 0, 0), (900, 0, 0), (20_000, 5555, 999_999)])
def test_numbers_that_fall_back_with_their_time_stamps_are_a_restart(before_n, number, stamp):
    """An encoder dead for 3 s begins at 0 again, time stamps too: 750 lost, nothing twice and nothing late."""
    sent = stream(np.arange(before_n), number=0) + stream(
        np.arange(4000), begin_s=1000 + (before_n + 750) * PACKET_S, number=number, stamp=stamp, seed=2
    )
    ours = measured(sent, packet_time_s=PACKET_S)

    assert [750] == ours.burst_lengths.tolist()
    assert (0, 0) == (ours.duplicates_n, ours.reordered_n)
    (change,) = ours.changes
    assert "restart" == change.kind
    assert change.at_s == pytest.approx(1000 + (before_n + 750) * PACKET_S, abs=0.01)


@pytest.mark.parametrize("cut", [2999, 3000, 3001, 3030])
def test_a_restart_is_seen_wherever_the_record_is_cut_into_pieces(monkeypatch, cut):
    """Pieces that end just before, at and after the restart, with too few packets after it to tell."""
    monkeypatch.setattr(capture, "PIECE_PACKETS", cut)
    sent = stream(np.arange(3000), number=0) + stream(
        np.arange(2000), begin_s=1000 + 3750 * PACKET_S, number=0, stamp=0, seed=2
    )
    ours = measured(sent, packet_time_s=PACKET_S)

    assert ([750], ["restart"]) == (ours.burst_lengths.tolist(), [change.kind for change in ours.changes])


def test_old_copies_and_a_queue_that_empties_at_once_are_no_restart():
    """Single packets come again 5 s late; then 200 held for 6 s come all at once, after newer ones."""
    sent = stream(np.arange(6000))
    again = [(at_s + 5.0, frame) for at_s, frame in sent[1000:3000:40]]
    held = [(sent[5500][0] + k * 1e-6, frame) for k, (_, frame) in enumerate(sent[4000:4200])]
    ours = measured(sorted([*sent[:4000], *sent[4200:], *again, *held]), packet_time_s=PACKET_S)

    assert (6000, 0, 50) == (ours.delay_us.size, int(ours.lost.sum()), ours.duplicates_n)
    assert "restart" not in [change.kind for change in ours.changes]


def test_an_outage_longer_than_the_numbers_go_round_is_measured_by_time_stamps():
    """70 000 packets are lost, and meanwhile the capturing clock is set back by five minutes: stamps know better."""
    positions = np.concatenate((np.arange(3000), np.arange(73_000, 76_000)))
    sent = [(at_s - (280.0 if k >= 3000 else 0.0), frame) for k, (at_s, frame) in enumerate(stream(positions))]
    ours = measured(sent, packet_time_s=PACKET_S)

    assert [70_000] == ours.burst_lengths.tolist()


@pytest.mark.parametrize("fault", ["restart", "outage", "clock back", "clock forward"])
def test_the_packet_time_is_found_whatever_happens_in_the_middle(fault):
    """Nobody gives the packet time, and the fault stands amid the record: 4 ms and 9 ppm all the same."""
    ppm = 1 + 9e-6
    at = np.arange(6000) + (70_000 if fault == "outage" else 0) * (np.arange(6000) >= 3000)
    moved_s = {"clock back": -2.0, "clock forward": 0.7}.get(fault, 0.0)
    again = 20_000 if fault == "restart" else 0
    sent = []
    for k, p in enumerate(at.tolist()):
        late_s = (p * 7 % 13) * 1e-5 + (moved_s if k >= 3000 else 0.0)
        number, stamp = (p + again, p * STAMPS + 123_457) if again and k >= 3000 else (p, p * STAMPS)
        sent.append(rtp(1000 + p * PACKET_S * ppm + late_s, 100 + number, stamp))
    ours = measured(sent)

    assert (70_000 if fault == "outage" else 0) == int(ours.lost.sum())
    if fault in ("restart", "outage"):
        assert ours.drift_ppb == pytest.approx(9000, abs=200)
        assert float(np.nanmax(ours.delay_us)) == pytest.approx(120, abs=20)
    else:  # a step of the clock beside a drift cannot be told from it to the last microsecond
        assert ours.packet_time_s == pytest.approx(PACKET_S * ppm, rel=2e-5)
        assert len(ours.changes) == 1


def test_a_clock_set_back_is_taken_out_and_named():
    """Two seconds back in the middle: the delays are what they were, and the step has its size."""
    sent = stream(np.arange(6000))
    stepped = [(at_s - (2.0 if k >= 3000 else 0.0), frame) for k, (at_s, frame) in enumerate(sent)]
    plain, ours = measured(sent, packet_time_s=PACKET_S), measured(stepped, packet_time_s=PACKET_S)
    (change,) = ours.changes

    assert "clock step" == change.kind
    assert change.step_us == pytest.approx(-2e6, abs=1500)
    assert np.nanmax(ours.delay_us) == pytest.approx(np.nanmax(plain.delay_us), abs=1500)


def test_a_step_forward_is_named_and_a_queue_that_drains_is_not():
    """Half a second that stays, by clock or by path; half a second of waiting that melts away is the network's."""
    sent = stream(np.arange(8000))
    stays = [(at_s + (0.5 if k >= 4000 else 0.0), frame) for k, (at_s, frame) in enumerate(sent)]
    drains = [(at_s + max(0.0, 0.5 - (k - 4000) * 4e-4) * (k >= 4000), frame) for k, (at_s, frame) in enumerate(sent)]
    (step,) = measured(stays, packet_time_s=PACKET_S, remove_drift=False).changes

    assert "clock or path step" == step.kind
    assert step.step_us == pytest.approx(5e5, abs=2000)
    assert () == measured(drains, packet_time_s=PACKET_S, remove_drift=False).changes


@pytest.mark.parametrize("given_s", [None, PACKET_S])
@pytest.mark.parametrize("drift_ppb", [-60_000.0, 25_000.0])
def test_drift_is_found_with_and_without_the_packet_time(given_s, drift_ppb):
    """The stamps' own rate names the sender's packet time, so the drift is that between the clocks either way."""
    sent = [(1000 + (at_s - 1000) * (1 + drift_ppb * 1e-9), frame) for at_s, frame in stream(np.arange(20_000))]
    ours = measured(sent, packet_time_s=given_s)

    assert ours.drift_ppb == pytest.approx(drift_ppb, abs=400)


def test_a_packet_time_that_nobody_uses_leaves_the_drift_unknown():
    """No stamps, 4.1 ms: what the sender means cannot be told."""
    lines = "".join(f"{k},{k * 0.0041:.6f}\n" for k in range(3000))
    data = ("sequence,arrival_s\n" + lines).encode()
    assert measure(read_packets(io.BytesIO(data), name="f", size_bytes=len(data))).drift_ppb is None


def test_two_captures_are_matched_by_stream_or_refused():
    """The second follows the first's source among several; another source, or other stamps, are refused by name."""
    first = measured(stream(np.arange(4000)), packet_time_s=PACKET_S)
    both = stream(np.arange(4000), seed=4) + stream(np.arange(9000), source=77, port=6000)
    second = measured(sorted(both), packet_time_s=PACKET_S, source=first.source)
    assert joint_loss(first, second, shifts_n=99).packets_n == 4000

    other = measured(stream(np.arange(4000), source=77), packet_time_s=PACKET_S)
    with pytest.raises(PlanError, match="follows RTP source 0x0000004d, the first follows 0x0000abcd"):
        overlap(first, other)
    stamped = measured(stream(np.arange(4000), stamp=8_000), packet_time_s=PACKET_S)
    with pytest.raises(PlanError, match="other RTP time stamps in packets of the same number"):
        overlap(first, stamped)
    with pytest.raises(PlanError, match="source 0x00000001, which is asked for or which the first record follows"):
        measured(stream(np.arange(4000)), source=1)


@pytest.mark.parametrize("later_s", [3600.0, 65_536 * PACKET_S, -3600.0])
def test_a_record_of_another_time_is_refused_with_the_true_difference(later_s):
    """The same numbers and stamps an hour later, or one round of numbers later: no figure modulo the round."""
    first = measured(stream(np.arange(3000), begin_s=9000), packet_time_s=PACKET_S)
    second = measured(stream(np.arange(3000), begin_s=9000 + later_s, seed=2), packet_time_s=PACKET_S)
    side = "later" if later_s > 0 else "earlier"
    with pytest.raises(PlanError, match=f"has the same packets {abs(later_s):.1f} s {side}"):
        overlap(first, second)
    bare = [replace(one, stamp_step=None, first_stamp=None) for one in (first, second)]
    if abs(later_s) == 3600:  # without stamps only when they begin is known
        side = "after" if later_s > 0 else "before"
        with pytest.raises(PlanError, match=rf"begins 3600.0 s {side} the first, and packets of the same number"):
            overlap(*bare)
