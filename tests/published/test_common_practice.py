"""Rounded reference rates of composite over IP, and what meets them: 2.5 ms packets, RTP/UDP/IPv4.

They come without a stated overhead. Read as 2.5 ms packets over RTP/UDP/IPv4 (40 bytes each), at the sample rates that
stand here as entries, all of them are met within rounding:

    main + RDS, to 59.4 kHz     128 kHz x 16 bit   2.048 -> 2.176   "2.2"
    main + RDS, to 59.4 kHz     128 kHz x 24 bit   3.072 -> 3.200   "3.2"
    67 kHz subcarrier, to 75    160 kHz x 16 bit   2.560 -> 2.688   "from 2.7"
    the entire 100 kHz          216 kHz x 16 bit   3.456 -> 3.584   "from 3.6"
    digital composite           192 kHz x 24 bit   4.608 -> 4.736   "4.7"

Plain assertions, not `published`: these figures belong in no table that is shown.
"""

from fractions import Fraction

import pytest

from sfn.stream.composite import composite
from sfn.stream.link import Link, link_plan
from sfn.stream.packet import Headers, packet_of, rates_bps
from sfn.stream.payload import Payload, compressed, digital_composite, dynamic_range_db
from sfn.stream.protection import Protection
from sfn.systems.fm_answer import fm_answer

PACKET_S = Fraction(5, 2000)


@pytest.mark.parametrize(
    ("payload", "rate_hz", "mbps"),
    [
        (composite(59.4, bits=16, sample_rate_hz=128_000), 128_000, 2.2),
        (composite(59.4, bits=24, sample_rate_hz=128_000), 128_000, 3.2),
        (composite(75, bits=16, sample_rate_hz=160_000), 160_000, 2.7),
        (composite(100, bits=16, sample_rate_hz=216_000), 216_000, 3.6),
        (digital_composite(bits=24), 192_000, 4.7),
    ],
    ids=lambda v: v.what if isinstance(v, Payload) else None,
)
def test_rounded_reference_rates(payload: Payload, rate_hz: int, mbps: float) -> None:
    """With 2.5 ms packets over IPv4 each rounds to its reference rate, and passes 1500 bytes."""
    packet = packet_of(payload, time_s=PACKET_S)
    plan = link_plan(payload, packet, headers=Headers(), protection=Protection(), link=Link())

    assert rate_hz == payload.sample_rate_hz
    assert mbps == round(float(rates_bps(packet, Headers())["ip"]) / 1e6, 1)
    assert () == plan.problems


def test_sixteen_bits_give_about_ninety_decibels() -> None:
    """98.1 dB by word length alone; 93.3 with dither; the common "about 90" needs dither and 3 dB of headroom."""
    assert 98.1 == round(dynamic_range_db(16), 1)
    assert 93.3 == round(dynamic_range_db(16, dithered=True), 1)
    assert 90 == round(dynamic_range_db(16, dithered=True, headroom_db=3))


@pytest.mark.parametrize("frame_ms", [20, 24])
def test_twenty_coded_stereo_channels(frame_ms: int) -> None:
    """Twenty channels of 128 kbit/s fit 3.2 Mbit/s even as occupied on the wire, one frame a packet."""
    payload = compressed(128, frame_ms=frame_ms)
    link = Link(capacity_mbps=3.2, capacity_layer="wire")
    plan = link_plan(payload, packet_of(payload), headers=Headers(), protection=Protection(), link=link)

    assert 20 == plan.streams_that_fit


def test_stereo_bears_five_microseconds_and_mono_more_at_the_typical_phase() -> None:
    """Common practice: in the equal-level zone stereo bears about 5 us and mono about 10.

    At the typical carrier phase (median over phase) stereo keeps 30 dB to 5 us and has lost it at 6; mono still has
    49 dB at 5, 27 at 6 and 15, speech one can follow, at 10. The mean over the local spread of the worst tenth of phases,
    which maps count, bears not quite 2 and 4 us; it is a mean in dB of deciles, not the share of listeners: half of
    these are under 30 dB from 5 us on in stereo and from 8 us in mono (`test_fm_two_path`).
    """
    found = {late: fm_answer([60.0, 60.0], [0.0, late]) for late in (2.0, 4.0, 5.0, 6.0, 7.0, 10.0)}
    assert found[5.0]["stereo"]["snr_median_db"] > 30 > found[6.0]["stereo"]["snr_median_db"]
    assert found[5.0]["mono"]["snr_median_db"] > 45 > 30 > found[6.0]["mono"]["snr_median_db"] > 25
    assert found[10.0]["mono"]["snr_median_db"] > 14 > found[10.0]["stereo"]["snr_median_db"] + 8
    assert found[2.0]["stereo"]["snr_local_db"] > 27 > found[4.0]["stereo"]["snr_local_db"]
    assert found[4.0]["mono"]["snr_local_db"] > 29 > found[6.0]["mono"]["snr_local_db"]
