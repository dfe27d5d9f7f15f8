"""How a payload is packed: bytes of each layer, rates, packet time, serialisation.

Header sizes: RTP 12 (RFC 3550 5.1), UDP 8 (RFC 768), IPv4 20 (RFC 791 3.1), IPv6 40 (RFC 8200 3), Ethernet
14 + 4 with 4 for each 802.1Q tag, 8 + 12 of preamble and gap on the wire, at least 46 bytes of content
(IEEE 802.3). All recalled from those documents, all checked in `tests/published/test_rtp_rates.py`.

| symbol | name | unit |
|---|---|---|
| T | `time_s` | s, exact |
| P | `payload_bytes` | bytes |
| H | headers counted at a layer | bytes |
| F | `FEC_HEADER_BYTES` | bytes |
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from sfn.errors import in_range
from sfn.stream.payload import Payload

RTP_BYTES = 12
UDP_BYTES = 8
IP_BYTES = {4: 20, 6: 40}
MAC_BYTES = 18
VLAN_TAG_BYTES = 4
WIRE_GAP_BYTES = 20
LEAST_ETHERNET_BYTES = 46
FEC_HEADER_BYTES = 16  # of a parity packet after its RTP header, SMPTE ST 2022-1 (from memory)
ETHERNET_MTU_BYTES = 1500

LAYERS = ("payload", "rtp", "udp", "ip", "tunnel", "ethernet", "wire")


@dataclass(frozen=True, slots=True)
class Headers:
    """What is put round every payload.

    Parameters
    ----------
    rtp : bool
        False for payloads that go straight into UDP.
    rtp_extension_bytes : int
        Header extension (RFC 8285), padded to four. [bytes]
    ip_version : {4, 6}
    vlan_tags : int
        802.1Q tags.
    tunnel_bytes : int
        What a tunnel adds to each packet: VPN, GRE, MPLS labels, authentication. [bytes]
    """

    rtp: bool = True
    rtp_extension_bytes: int = 0
    ip_version: int = 4
    vlan_tags: int = 0
    tunnel_bytes: int = 0

    def __post_init__(self) -> None:
        """Refuse what cannot be sent."""
        if self.ip_version not in IP_BYTES:
            raise ValueError(f"ip_version must be 4 or 6, got {self.ip_version!r}")
        in_range("rtp_extension_bytes", self.rtp_extension_bytes, least=0, greatest=256, unit="bytes")
        if self.rtp_extension_bytes % 4:
            raise ValueError(f"rtp_extension_bytes must be a multiple of 4 bytes, got {self.rtp_extension_bytes}")
        in_range("vlan_tags", self.vlan_tags, least=0, greatest=4, unit="tags")
        in_range("tunnel_bytes", self.tunnel_bytes, least=0, greatest=500, unit="bytes")


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet's worth of a payload.

    Parameters
    ----------
    grains : int
        Samples, frames or transport packets in it.
    time_s : Fraction
        Time between packets, exact. [s]
    payload_bytes : int
        [bytes]
    """

    grains: int
    time_s: Fraction
    payload_bytes: int

    @property
    def rate_hz(self) -> Fraction:
        """Packets a second."""
        return 1 / self.time_s

    @property
    def time_us(self) -> float:
        """Time between packets. [us]"""
        return float(self.time_s * 1_000_000)


def packet_of(payload: Payload, *, time_s: Fraction | None = None, grains: int | None = None) -> Packet:
    """The packet of a payload for a packet time, or for a number of grains.

    Parameters
    ----------
    payload : Payload
    time_s : Fraction, optional
        Packet time, exact: 1/3 ms is ``Fraction(1, 3000)``. [s]
    grains : int, optional
        Grains in a packet, instead of `time_s`; the payload's usual number when neither is given.

    Returns
    -------
    packet : Packet

    Raises
    ------
    ValueError
        If the packet time does not hold a whole number of grains (the text gives the two nearest that do),
        or is longer than a second, or nothing was chosen and the payload has no usual number.

    Examples
    --------
    AES67's third of a millisecond holds 16 samples of 48 kHz:

    >>> from sfn.stream.payload import linear
    >>> packet_of(linear(48_000, bits=24), time_s=Fraction(1, 3000))
    Packet(grains=16, time_s=Fraction(1, 3000), payload_bytes=96)
    """
    if time_s is not None:
        held = time_s / payload.grain_s
        if held.denominator != 1 or held < 1:
            raise ValueError(_uneven(payload, time_s=time_s, held=held))
        count = held.numerator
    else:
        count = payload.usual_grains if grains is None else grains
        if count < 1:
            raise ValueError(f"a packet time must be chosen for {payload.what}, or grains of 1 or more")
    if payload.grain == "fragment" and count != 1:
        each_ms = payload.grain_s * 1000
        raise ValueError(
            f"the packet time must be that of one fragment, {each_ms} ms, for {payload.what}: each travels in a packet "
            "of its own (ETSI TS 102 821, from memory), or the loss of one packet would take what FEC restores"
        )
    length_s = count * payload.grain_s
    in_range("packet time", float(length_s), least=0, greatest=1, unit="s")
    return Packet(count, length_s, ceil(count * payload.grain_bytes))


def layer_bytes(payload_bytes: int, headers: Headers) -> dict[str, int]:
    """Size of one packet at each layer, payload first, as occupied on the wire last. [bytes]

    Notes
    -----
    A layer that is not there (no RTP, no tunnel) has the size of the one inside it. Ethernet pads to 46.
    """
    rtp = payload_bytes + (RTP_BYTES + headers.rtp_extension_bytes if headers.rtp else 0)
    udp = rtp + UDP_BYTES
    ip = udp + IP_BYTES[headers.ip_version]
    tunnel = ip + headers.tunnel_bytes
    ethernet = max(tunnel, LEAST_ETHERNET_BYTES) + MAC_BYTES + VLAN_TAG_BYTES * headers.vlan_tags
    sizes = (payload_bytes, rtp, udp, ip, tunnel, ethernet, ethernet + WIRE_GAP_BYTES)
    return dict(zip(LAYERS, sizes, strict=True))


def rates_bps(
    packet: Packet, headers: Headers, *, row_length: int = 0, column_length: int = 0, copies: int = 1
) -> dict[str, Fraction]:
    """Rate at each layer on one path, parity and repeats included. [bit/s]

    Parameters
    ----------
    packet : Packet
    headers : Headers
    row_length : int
        L: one row parity packet every L packets; 0 for none.
    column_length : int
        D: one column parity packet every D packets; 0 for none.
    copies : int
        How often everything is sent on this path.

    Returns
    -------
    rates : dict of str to Fraction
        Keys as in `LAYERS`; ``payload`` is the payload alone, once.

    Raises
    ------
    ValueError
        If a length is negative or `copies` less than 1.

    Notes
    -----
    ``R = 8/T [(P+H) + (P+H+F)/D + (P+H+F)/L]``; parity packets carry F bytes more than media packets.

    Examples
    --------
    >>> from sfn.stream.payload import digital_composite
    >>> packet = packet_of(digital_composite(), time_s=Fraction(1, 1000))
    >>> float(rates_bps(packet, Headers(), row_length=5, column_length=10)["ip"])
    6444800.0
    """
    in_range("row_length", row_length, least=0, greatest=1024, unit="packets")
    in_range("column_length", column_length, least=0, greatest=1024, unit="packets")
    in_range("copies", copies, least=1, greatest=4, unit="copies")
    media = layer_bytes(packet.payload_bytes, headers)
    parity = layer_bytes(packet.payload_bytes + FEC_HEADER_BYTES, headers)
    per_media = sum((Fraction(1, n) for n in (row_length, column_length) if n), Fraction(0))
    rates = {layer: 8 * copies * (media[layer] + parity[layer] * per_media) / packet.time_s for layer in LAYERS}
    return rates | {"payload": 8 * Fraction(packet.payload_bytes) / packet.time_s}


def serialisation_us(wire_bytes: int, *, link_mbps: float) -> float:
    """Time that one packet occupies a link: ``8 * bytes / rate``.

    Raises
    ------
    ValueError
        If `link_mbps` is not above 0.

    Examples
    --------
    >>> serialisation_us(1538, link_mbps=100)
    123.04
    """
    if not link_mbps > 0:
        raise ValueError(f"link_mbps must be above 0 Mbit/s, got {link_mbps!r}")
    return 8 * wire_bytes / link_mbps


def largest_packet_time_s(payload: Payload, headers: Headers, *, mtu_bytes: int, with_parity: bool) -> Fraction | None:
    """Longest packet time whose packets, parity packets too, pass the MTU; None when not even one grain does."""
    room = mtu_bytes - layer_bytes(0, headers)["tunnel"] - (FEC_HEADER_BYTES if with_parity else 0)
    count = int(room / payload.grain_bytes) if room > 0 else 0
    return count * payload.grain_s if count >= 1 else None


def _uneven(payload: Payload, *, time_s: Fraction, held: Fraction) -> str:
    """Why a packet time does not fit, and the nearest that do."""
    low, high = max(int(held), 1), max(ceil(held), 1)
    near = " or ".join(f"{float(n * payload.grain_s * 1000):g} ms ({n})" for n in dict.fromkeys((low, high)))
    return (
        f"the packet time must hold a whole number of {payload.grain}s of {payload.what}: "
        f"{float(time_s * 1000):g} ms holds {float(held):g}; nearest are {near}"
    )
