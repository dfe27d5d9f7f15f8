"""Records of packets with known losses, delays and order, as a log or a capture written by dpkt."""

import io
import struct

import dpkt
import numpy as np
import pytest
from dpkt import pcapng

PACKET_S = 0.004
START_S = 1_764_000_000.0
SOURCE = 0xC0FFEE


class Sent:
    """A stream of RTP packets, and what became of it."""

    def __init__(self, packets_n: int, *, first_sequence: int = 60_000, seed: int = 1, source: int = SOURCE) -> None:
        rng = np.random.default_rng(seed)
        self.first_sequence, self.source = first_sequence, source
        self.delay_us = rng.exponential(800.0, packets_n) + 5000.0
        self.lost = np.zeros(packets_n, dtype=bool)
        self.start_s = START_S

    def arrivals(self):
        """Positions and arrival times [s], in the order of arrival."""
        position = np.flatnonzero(~self.lost)
        at_s = self.start_s + position * PACKET_S + self.delay_us[position] * 1e-6
        order = np.argsort(at_s, kind="stable")
        return position[order], at_s[order]

    def frames(self, *, wrap=None, port: int = 5004):
        """Frames and arrival times, Ethernet and IPv4 unless wrapped otherwise."""
        for position, at_s in zip(*self.arrivals(), strict=True):
            number = int(position + self.first_sequence) & 0xFFFF
            rtp = struct.pack(">BBHII", 0x80, 96, number, int(position * 512) & 0xFFFFFFFF, self.source) + b"\0" * 8
            datagram = struct.pack(">HHHH", 40_000, port, 8 + len(rtp), 0) + rtp
            yield (wrap or ethernet)(datagram), float(at_s)

    def log(self) -> bytes:
        """The same as CSV."""
        lines = [f"{(p + self.first_sequence) & 0xFFFF},{t:.7f}" for p, t in zip(*self.arrivals(), strict=True)]
        return ("sequence,arrival_s\n" + "\n".join(lines) + "\n").encode()

    def capture(self, **options) -> bytes:
        """The same as a capture."""
        return written(self.frames(), **options)


def ipv4(datagram: bytes) -> bytes:
    """IPv4 round a UDP datagram."""
    packet = dpkt.ip.IP(src=b"\x0a\0\0\x01", dst=b"\xef\x01\x01\x01", p=17, len=20 + len(datagram))
    return bytes(packet)[:20] + datagram


def ethernet(datagram: bytes) -> bytes:
    """Ethernet and IPv4 round it."""
    return b"\0" * 12 + b"\x08\x00" + ipv4(datagram)


def tagged_ipv6(datagram: bytes) -> bytes:
    """Ethernet with two tags, IPv6 with a hop-by-hop header, then the datagram."""
    head = struct.pack(">IHBB", 0x60000000, 8 + len(datagram), 0, 64) + b"\x20" * 32
    return b"\0" * 12 + b"\x88\xa8\0\x05\x81\0\0\x07\x86\xdd" + head + b"\x11\0\x01\x04\0\0\0\0" + datagram


def cooked(datagram: bytes) -> bytes:
    """Linux cooked header and IPv4 with options."""
    packet = bytearray(ipv4(datagram))
    packet[0] = 0x46
    packet[20:20] = b"\x01\x01\x01\x00"
    return b"\0" * 14 + b"\x08\x00" + bytes(packet)


def written(frames, *, newer: bool = False, link: int = 1) -> bytes:
    """The bytes of a pcap or, newer, a pcapng file of frames with their times."""
    file = io.BytesIO()
    if newer:
        writer = pcapng.Writer(file, idb=pcapng.InterfaceDescriptionBlockLE(linktype=link))
    else:
        writer = dpkt.pcap.Writer(file, linktype=link)
    for frame, at_s in frames:
        writer.writepkt(frame, at_s)
    return file.getvalue()


@pytest.fixture
def record():
    """The class of records, with the wrappings beside it."""
    Sent.written = staticmethod(written)
    Sent.wraps = {"IPv4": (ethernet, 1), "tagged IPv6": (tagged_ipv6, 1), "cooked": (cooked, 113), "raw": (ipv4, 101)}
    return Sent


@pytest.fixture
def sent():
    """Six thousand packets that cross the end of the sequence numbers, one percent lost in bursts of three."""
    made = Sent(6000, first_sequence=63_000)
    for begin in range(500, 6000, 300):
        made.lost[begin : begin + 3] = True
    return made
