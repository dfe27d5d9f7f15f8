"""T2-MI and EDI with Reed-Solomon: every byte laid down one by one, and counted."""

from fractions import Fraction

import pytest

from sfn.stream.carriage import dab_ensemble_protected, t2_mi
from sfn.stream.link import Link, link_plan
from sfn.stream.packet import Headers, packet_of
from sfn.stream.payload import dab_ensemble
from sfn.stream.protection import Protection


def test_t2_mi_by_laying_it_down() -> None:
    """33 Mbit/s in frames of 250 ms: baseband frames, L1 and time stamps packet by packet into transport packets."""
    seconds = 200
    net_bits = 33_000_000 * seconds
    data_bits = 43_040 - 80
    frames = -(-net_bits // data_bits)
    t2_mi_bytes = frames * (6 + 3 + 43_040 // 8 + 4)
    t2_mi_bytes += seconds * 4 * ((6 + 100 + 4) + (6 + 11 + 4))
    transport_bytes = -(-t2_mi_bytes // 184) * 188
    ours = t2_mi(33, frame_ms=250)

    assert float(ours.rate_bps) == pytest.approx(8 * transport_bytes / seconds, rel=2e-5)
    assert 1.02 < float(ours.rate_bps) / 33e6 < 1.03


def test_edi_with_reed_solomon_by_hand() -> None:
    """Six sub-channels of 96 kbit/s: 1940 bytes, ten chunks of 194 + 48, two of its fragments may be lost."""
    length = 12 + 16 + 118 + 6 * 11 + 6 * 96 * 3
    assert 1940 == length
    coded = 10 * (194 + 48)
    largest = 10 * 48 // 3
    pieces = -(-coded // largest)
    each = -(-coded // pieces) + 16
    ours = dab_ensemble_protected([96.0] * 6, recovers=2)

    assert (pieces, each) == (16, 168)
    assert (Fraction(24, 1000) / 16, 168) == (ours.grain_s, ours.grain_bytes)
    assert float(ours.rate_bps) > 1.2 * float(dab_ensemble([96.0] * 6).rate_bps)
    # whatever two fragments are lost, no chunk loses more than its 48 bytes of parity can restore
    assert 2 * -(-(each - 16) // 10) <= 48


def test_every_fragment_travels_in_a_packet_of_its_own() -> None:
    """All fourteen fragments of a frame in one packet would be lost at once, whatever parity they carry: refused."""
    made = dab_ensemble_protected([128.0, 96.0, 64.0], recovers=2)
    with pytest.raises(ValueError, match="must be that of one fragment, 12/7 ms"):
        packet_of(made, time_s=Fraction(24, 1000))
    alone = packet_of(made)
    # 1043 bytes of AF packet: six chunks of 174 + 48, fragments of at most 6 x 48 / 3 = 96 bytes, 16 of header each
    assert (1, 24, 14) == (alone.grains, alone.time_s * 14 * 1000, -(-6 * (174 + 48) // 96))
    rows = {
        row.name: row.how
        for row in link_plan(made, alone, headers=Headers(rtp=False), protection=Protection(), link=Link()).elements
    }
    assert "whole before its first fragment" == rows["gathering a frame"]
    assert "look-ahead of the coding" not in rows


def test_what_cannot_be_asked() -> None:
    """No more than five fragments, no frame beyond a quarter of a second."""
    with pytest.raises(ValueError, match="recovers must be from 1 to 5"):
        dab_ensemble_protected([96.0], recovers=9)
    with pytest.raises(ValueError, match="frame_ms must be from 10 to 250"):
        t2_mi(33, frame_ms=500)
