"""Packing: whole grains, layers, padding, refusals."""

from fractions import Fraction

import pytest
from hypothesis import given, strategies as st

from sfn.stream.composite import composite
from sfn.stream.packet import LAYERS, Headers, largest_packet_time_s, layer_bytes, packet_of, rates_bps
from sfn.stream.payload import digital_composite, linear, transport_stream

MS = Fraction(1, 1000)


def test_uneven_packet_time_names_the_nearest() -> None:
    """A third of a millisecond does not hold whole samples of 128 kHz; the two nearest times are named."""
    with pytest.raises(ValueError, match="whole number of samples") as refusal:
        packet_of(composite(60, bits=16, sample_rate_hz=128_000), time_s=MS / 3)

    assert "0.333333 ms holds 42.6667; nearest are 0.328125 ms (42) or 0.335938 ms (43)" in str(refusal.value)


def test_packet_shorter_than_a_grain_is_refused() -> None:
    """Less than one sample is no packet; the nearest is one sample."""
    with pytest.raises(ValueError, match=r"nearest are 0\.0208333 ms \(1\)"):
        packet_of(linear(48_000, bits=24), time_s=Fraction(1, 1_000_000))


def test_packet_time_must_be_chosen_for_samples() -> None:
    """No silent packet time for plain samples; a transport stream has its usual seven."""
    with pytest.raises(ValueError, match="a packet time must be chosen"):
        packet_of(digital_composite())

    assert 7 * 188 == packet_of(transport_stream(20)).payload_bytes


def test_short_packets_are_padded_on_ethernet_only() -> None:
    """Four bytes of payload are 44 as IP, 46 + 18 as Ethernet, 84 on the wire."""
    sizes = layer_bytes(4, Headers())

    assert (44, 44, 64, 84) == tuple(sizes[layer] for layer in ("ip", "tunnel", "ethernet", "wire"))


def test_every_header_counts_once() -> None:
    """RTP extension, IPv6, two tags and a tunnel, each in its layer."""
    sizes = layer_bytes(100, Headers(rtp_extension_bytes=8, ip_version=6, vlan_tags=2, tunnel_bytes=57))

    assert (100, 120, 128, 168, 225, 251, 271) == tuple(sizes[layer] for layer in LAYERS)


@given(st.integers(1, 1400), st.integers(1, 20), st.integers(4, 20), st.integers(1, 2))
def test_rates_grow_towards_the_wire(size: int, row: int, column: int, copies: int) -> None:
    """Each layer takes at least the rate of the one inside; parity and copies only add."""
    payload = linear(8000, bits=8, channels=1)
    packet = packet_of(payload, grains=size)
    bare = rates_bps(packet, Headers())
    full = rates_bps(packet, Headers(), row_length=row, column_length=column, copies=copies)

    assert list(bare.values()) == sorted(bare.values())
    assert bare["payload"] == full["payload"] == payload.rate_bps
    assert all(full[layer] > bare[layer] for layer in LAYERS[1:])


def test_longest_packet_time_is_the_last_that_fits() -> None:
    """192 kHz x 24 bit at 1500 bytes: 486 samples fit without parity, 481 with it; nothing fits 40 bytes."""
    payload = digital_composite()

    assert Fraction(486, 192_000) == largest_packet_time_s(payload, Headers(), mtu_bytes=1500, with_parity=False)
    assert Fraction(481, 192_000) == largest_packet_time_s(payload, Headers(), mtu_bytes=1500, with_parity=True)
    assert largest_packet_time_s(payload, Headers(), mtu_bytes=40, with_parity=False) is None


@pytest.mark.parametrize(
    ("bad", "text"),
    [
        ({"ip_version": 5}, "ip_version must be 4 or 6, got 5"),
        ({"vlan_tags": -1}, "vlan_tags must be from 0 to 4 tags, got -1"),
        ({"tunnel_bytes": 9000}, "tunnel_bytes must be from 0 to 500 bytes, got 9000"),
        ({"rtp_extension_bytes": 6}, "rtp_extension_bytes must be a multiple of 4 bytes, got 6"),
    ],
)
def test_headers_that_cannot_be_are_refused(bad: dict[str, int], text: str) -> None:
    """Refused by name and value."""
    with pytest.raises(ValueError, match="must be") as refusal:
        Headers(**bad)  # type: ignore[arg-type]

    assert text == str(refusal.value)
