"""Reading captures and logs; the captures are written by dpkt with known losses."""

import io
import json
import struct

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.stream.capture import read_packets
from sfn.stream.heard import Heard


def read(data: bytes, **options):
    """Sequence numbers and arrivals of a file's bytes."""
    pieces = list(read_packets(io.BytesIO(data), name="file", size_bytes=len(data), **options))
    return np.concatenate([p.sequence for p in pieces]), np.concatenate([p.arrival_s for p in pieces])


@pytest.mark.parametrize("newer", [False, True], ids=["pcap", "pcapng"])
@pytest.mark.parametrize("wrapping", ["IPv4", "tagged IPv6", "cooked", "raw"])
def test_every_packet_of_a_capture(wrapping, newer, record, sent):
    """Whatever the link type and headers, every packet that was written is read, in order and to the microsecond."""
    wrap, link = record.wraps[wrapping]
    sequence, arrival = read(record.written(sent.frames(wrap=wrap), newer=newer, link=link))
    position, at_s = sent.arrivals()

    assert np.array_equal((position + sent.first_sequence) & 0xFFFF, sequence)
    assert np.abs(arrival - at_s).max() < 2e-6


def test_a_log_has_the_same_packets(sent):
    """CSV with sequence and arrival in seconds; other columns, other units and blank lines do not matter."""
    position, at_s = sent.arrivals()
    sequence, arrival = read(sent.log())
    other = b"\xef\xbb\xbfnote, Arrival_ms ,sequence\r\n" + b"".join(
        f"x,{t * 1000:.4f},{p + 60_000}\r\n".encode() for p, t in zip(position[:500], at_s[:500], strict=True)
    )
    whole, later = read(other + b"\r\n")

    assert np.array_equal((position + sent.first_sequence) & 0xFFFF, sequence)
    assert np.abs(arrival - at_s).max() < 1e-6
    assert np.array_equal(position[:500] + 60_000, whole)
    assert np.abs(later - at_s[:500]).max() < 1e-6


def test_the_most_frequent_stream_is_followed_or_that_of_a_port(record):
    """Parity on another port and foreign UDP are passed over; a port picks another stream."""
    main, parity = record(600), record(150, source=77)
    frames = sorted([*main.frames(), *parity.frames(port=5006)], key=lambda pair: pair[1])
    frames.insert(3, (b"\0" * 12 + b"\x08\x06" + b"\0" * 60, frames[3][1]))
    data = record.written(frames)

    assert 600 == read(data)[0].size
    assert 150 == read(data, port=5006)[0].size
    with pytest.raises(PlanError, match=r"no RTP packet to UDP port 9 in the whole file; there are UDP port 5004"):
        read(data, port=9)


def test_a_capture_in_nanoseconds_is_the_same_and_its_streams_are_plain_numbers(sent):
    """Magic a1b23c4d: three more digits of time, no other type; the list of streams is JSON."""
    data = sent.capture()
    order = "<" if data[:4] == b"\xd4\xc3\xb2\xa1" else ">"
    finer, at = bytearray(struct.pack(f"{order}I", 0xA1B23C4D) + data[4:24]), 24
    while at < len(data):
        whole_s, us, kept, size = struct.unpack_from(f"{order}IIII", data, at)
        finer += struct.pack(f"{order}IIII", whole_s, us * 1000, kept, size) + data[at + 16 : at + 16 + kept]
        at += 16 + kept
    heard = Heard()
    numbers, arrivals = read(bytes(finer), heard=heard)

    assert json.loads(json.dumps(heard.as_answer()))[0]["packets_n"] == numbers.size
    np.testing.assert_array_equal(numbers, read(data)[0])
    np.testing.assert_allclose(arrivals, read(data)[1], atol=1e-6, rtol=0)


def test_a_capture_cut_off_ends_at_the_last_whole_record(sent):
    """A file that was still being written loses only what was cut."""
    data = sent.capture()
    sequence, _ = read(data[: len(data) - 11])

    assert sent.arrivals()[0].size - 1 == sequence.size


def test_a_record_of_absurd_length_takes_no_memory(sent):
    """A length of two thousand million bytes ends the reading there instead of being allocated."""
    data = bytearray(sent.capture())
    record_bytes = 16 + len(next(sent.frames())[0])
    at = 24 + 400 * record_bytes
    data[at + 8 : at + 12] = struct.pack(">I" if data[:4] == b"\xa1\xb2\xc3\xd4" else "<I", 2_000_000_000)

    assert 400 == read(bytes(data))[0].size


def test_progress_rises_to_one_and_can_stop_the_reading(record):
    """The callback sees parts from 0 to 1; what it raises comes through."""
    data = record(300).log()
    seen: list[float] = []
    list(read_packets(io.BytesIO(data), name="log", size_bytes=len(data), progress=seen.append))

    assert seen == sorted(seen)
    assert 1.0 == seen[-1]

    def stop(part: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(read_packets(io.BytesIO(data), name="log", size_bytes=len(data), progress=stop))


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", "file: line 1: reads ''; a header with sequence and one of arrival_s, arrival_ms, arrival_us"),
        (b"seq,time\n1,2\n", "file: line 1: reads 'seq,time'"),
        (b"sequence,arrival_s\n1,0\n2,zero\n", "file: line 3: reads '2,zero'; a whole number for the sequence"),
        (b"sequence,arrival_s\n1,0\n2\n", "file: line 3: reads '2'"),
        (b"sequence,arrival_s\n1,0\n2,nan\n", "file: line 3: reads '2,nan'"),
        (b"sequence,arrival_s\n1,0\n-2,1\n", "file: line 3: reads '-2,1'"),
        (b"sequence,arrival_s\n1,0\n2.5,1\n", "file: line 3: reads '2.5,1'"),
        (b"\xd4\xc3\xb2\xa1\x02", "is cut or damaged within its header"),
        (b"\x0a\x0d\x0d\x0a\xff\xff\xff\xff\x4d\x3c\x2b\x1a\x01\x00\x00\x00", "is cut or damaged within its header"),
    ],
)
def test_what_cannot_be_read_says_where_and_what_would_be_right(data, text):
    """Line, content and expectation; never a traceback."""
    with pytest.raises(PlanError) as refusal:
        read(data)

    assert text in str(refusal.value)


def test_other_link_types_and_other_traffic_are_refused(record, sent):
    """A wireless capture and one without RTP say so."""
    with pytest.raises(PlanError, match="was taken on link type 127; Ethernet, raw IP"):
        read(record.written(sent.frames(), link=127))
    with pytest.raises(PlanError, match="has no RTP packet in the whole file; a capture of an RTP stream"):
        read(record.written([(b"\0" * 60, 0.0)]))
