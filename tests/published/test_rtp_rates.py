"""Rates of packet streams, worked out by hand from the header sizes of the RFCs and IEEE 802.3."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from sfn.stream.packet import Headers, packet_of, rates_bps, serialisation_us
from sfn.stream.payload import (
    Payload,
    compressed,
    digital_composite,
    dvb_t_rate_mbps,
    dynamic_range_db,
    linear,
    transport_stream,
)

SIZES = "RFC 3550, 768, 791, 8200, IEEE 802.3: header sizes (from memory), by hand"
EXACT = 1e-12
MS = Fraction(1, 1000)


def _sampled(rate_khz: int, *, bits: int, channels: int) -> Payload:
    """Plain samples."""
    return linear(rate_khz * 1000, bits=bits, channels=channels)


# Rate in kHz, channels, bits, packet time, then payload bytes, packets/s, Mbit/s of payload, IPv4, IPv6, wire.
TABLE = [
    (192, 1, 24, MS / 8, 72, 8000, 4.608, 7.168, 8.448, 9.600),
    (192, 1, 24, MS / 4, 144, 4000, 4.608, 5.888, 6.528, 7.104),
    (192, 1, 24, MS, 576, 1000, 4.608, 4.928, 5.088, 5.232),
    (192, 1, 24, 2 * MS, 1152, 500, 4.608, 4.768, 4.848, 4.920),
    (192, 1, 16, MS, 384, 1000, 3.072, 3.392, 3.552, 3.696),
    (192, 2, 24, MS, 1152, 1000, 9.216, 9.536, 9.696, 9.840),
    (128, 1, 16, 4 * MS, 1024, 250, 2.048, 2.128, 2.168, 2.204),
    (48, 2, 24, MS / 8, 36, 8000, 2.304, 4.864, 6.144, 7.296),
    (48, 2, 24, MS / 3, 96, 3000, 2.304, 3.264, 3.744, 4.176),
    (48, 2, 24, MS, 288, 1000, 2.304, 2.624, 2.784, 2.928),
    (48, 2, 24, 4 * MS, 1152, 250, 2.304, 2.384, 2.424, 2.460),
    (48, 2, 16, 4 * MS, 768, 250, 1.536, 1.616, 1.656, 1.692),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda r: f"{r[0]}kHz-{r[1]}x{r[2]}-{float(r[3] * 1000):.3f}ms")
def test_rates_of_every_layer(row: tuple[object, ...], published: Callable[..., None]) -> None:
    """Payload bytes, packets a second and the rate at each layer are exact."""
    khz, channels, bits, time_s, size, rate, media, ipv4, ipv6, wire = row
    packet = packet_of(_sampled(khz, bits=bits, channels=channels), time_s=time_s)
    over4, over6 = rates_bps(packet, Headers()), rates_bps(packet, Headers(ip_version=6))
    name = f"{khz} kHz x {channels} x {bits} bit, {packet.time_us:.0f} us"

    assert size == packet.payload_bytes
    assert rate == packet.rate_hz
    for layer, ours, theirs in (
        ("payload", over4["payload"], media),
        ("IPv4", over4["ip"], ipv4),
        ("IPv6", over6["ip"], ipv6),
        ("wire", over4["wire"], wire),
    ):
        published(f"{name}, {layer}", float(ours) / 1e6, theirs, tolerance=EXACT, unit="Mbit/s", source=SIZES)


def test_one_vlan_tag(published: Callable[..., None]) -> None:
    """A tag costs four bytes a packet."""
    packet = packet_of(digital_composite(), time_s=MS)
    ours = float(rates_bps(packet, Headers(vlan_tags=1))["wire"]) / 1e6
    published("192 kHz x 24 bit, 1 ms, wire with tag", ours, 5.264, tolerance=EXACT, unit="Mbit/s", source=SIZES)


def test_third_of_a_millisecond_is_exact() -> None:
    """333 1/3 us hold 16 samples of 48 kHz, 3000 packets a second."""
    packet = packet_of(linear(48_000, bits=24), time_s=Fraction(1, 3000))

    assert (16, 96, 3000) == (packet.grains, packet.payload_bytes, packet.rate_hz)


@pytest.mark.parametrize(
    ("kbps", "frame_ms", "ip_kbps", "wire_kbps"),
    [(256, 20, 272.0, 287.2), (128, 20, 144.0, 159.2), (192, 2.5, 320.0, 441.6)],
)
def test_coded_audio(
    kbps: int, frame_ms: float, ip_kbps: float, wire_kbps: float, published: Callable[..., None]
) -> None:
    """One frame a packet: rates over IPv4 and on the wire."""
    rates = rates_bps(packet_of(compressed(kbps, frame_ms=frame_ms)), Headers())
    name = f"coded {kbps} kbit/s, {frame_ms:g} ms"
    published(f"{name}, IPv4", float(rates["ip"]) / 1e3, ip_kbps, tolerance=EXACT, unit="kbit/s", source=SIZES)
    published(f"{name}, wire", float(rates["wire"]) / 1e3, wire_kbps, tolerance=1e-9, unit="kbit/s", source=SIZES)


def test_aes3_frames_whole(published: Callable[..., None]) -> None:
    """A whole AES3 frame at 192 kHz is 64 bits every 1/192000 s."""
    ours = float(digital_composite(whole_frames=True).rate_bps) / 1e6
    published("AES3 frames at 192 kHz", ours, 12.288, tolerance=EXACT, unit="Mbit/s", source="AES3, 2 x 32 bits")


def test_serialisation(published: Callable[..., None]) -> None:
    """Packets on 10 and 100 Mbit/s."""
    slow, fast = serialisation_us(1500, link_mbps=10), serialisation_us(1538, link_mbps=100)
    published("1500 bytes at 10 Mbit/s", slow, 1200.0, tolerance=1e-9, unit="us", source="by hand")
    published("1538 bytes at 100 Mbit/s", fast, 123.04, tolerance=1e-9, unit="us", source="by hand")


@pytest.mark.parametrize(
    ("bits", "code", "guard", "mbps"),
    [
        (2, Fraction(1, 2), Fraction(1, 4), 4.98),
        (4, Fraction(3, 4), Fraction(1, 4), 14.93),
        (6, Fraction(2, 3), Fraction(1, 32), 24.13),
        (6, Fraction(3, 4), Fraction(1, 4), 22.39),
        (6, Fraction(7, 8), Fraction(1, 32), 31.67),
    ],
)
def test_dvb_t_useful_rates(
    bits: int, code: Fraction, guard: Fraction, mbps: float, published: Callable[..., None]
) -> None:
    """Useful bit rates of DVB-T in 8 MHz, and a stream of that rate carries it exactly."""
    ours = dvb_t_rate_mbps(bits, code_rate=code, guard=guard)
    source = "EN 300 744, table of useful bit rates, 8 MHz (from memory)"
    published(f"DVB-T {bits} bits, {code}, {guard}", float(ours), mbps, tolerance=0.006, unit="Mbit/s", source=source)

    assert ours * 1_000_000 == transport_stream(ours).rate_bps


def test_sample_size_and_noise(published: Callable[..., None]) -> None:
    """6.02 n + 1.76 dB."""
    source = "6.02 n + 1.76 dB, textbook (from memory)"
    published("range of 16 bits", dynamic_range_db(16), 98.08, tolerance=0.02, unit="dB", source=source)
    published("range of 24 bits", dynamic_range_db(24), 146.24, tolerance=0.02, unit="dB", source=source)
