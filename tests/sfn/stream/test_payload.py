"""What is carried: sample rates, grains, refusals."""

from fractions import Fraction

import pytest
from hypothesis import given, strategies as st

from sfn.stream.composite import composite, composite_sample_rate
from sfn.stream.payload import (
    compressed,
    constant_rate,
    dab_ensemble,
    digital_composite,
    dvb_t_rate_mbps,
    dynamic_range_db,
    linear,
    subcarriers,
    time_slots,
    transport_stream,
)


@given(highest_khz=st.floats(min_value=15, max_value=100), transition_khz=st.floats(min_value=0, max_value=100))
def test_sample_rate_leaves_room_for_the_filter(highest_khz: float, transition_khz: float) -> None:
    """The least of 48, 96, 192 and 384 kHz that keeps what folds back away from f, by the transition or a fifth of f."""
    for given_khz, room_khz in ((None, highest_khz / 5), (transition_khz, transition_khz)):
        rate_khz = composite_sample_rate(highest_khz, transition_khz=given_khz) / 1000
        assert rate_khz in (48, 96, 192, 384)
        assert rate_khz - highest_khz >= highest_khz + room_khz - 1e-9
        assert rate_khz == 48 or rate_khz / 2 <= 2 * highest_khz + room_khz + 1e-9


def test_a_rate_of_ones_own_is_kept_and_checked() -> None:
    """Above twice the highest frequency, and with the room that is asked for."""
    assert 128_000 == composite(59.4, bits=16, sample_rate_hz=128_000).sample_rate_hz
    assert 128_000 == composite_sample_rate(59.4, sample_rate_hz=128_000, transition_khz=9.2)
    with pytest.raises(ValueError, match="must be 128001 Hz or more for that filter"):
        composite_sample_rate(59.4, sample_rate_hz=128_000, transition_khz=9.201)
    with pytest.raises(ValueError, match="must be above 120000 Hz, got 120000"):
        composite_sample_rate(60, sample_rate_hz=120_000)
    with pytest.raises(ValueError, match="transition_khz must be from 0 to 184 kHz, got 190"):
        composite_sample_rate(100, transition_khz=190)


def test_subcarriers_are_ticks_within_the_composite() -> None:
    """The marks rise, carry a name, and each top lies above its carrier and within 100 kHz."""
    marks = subcarriers()

    assert [m.top_khz for m in marks] == sorted(m.top_khz for m in marks)
    assert all(m.centre_khz < m.top_khz <= 100 and m.name for m in marks)


def test_dab_by_hand() -> None:
    """One sub-channel of 96 kbit/s over EDI: 12 + 16 + 118 + 11 + 288 bytes each 24 ms; G.703 is 2.048 Mbit/s."""
    edi = dab_ensemble([96.0])

    assert 12 + 16 + 118 + 11 + 288 == edi.grain_bytes
    assert not edi.uses_rtp
    assert 2_048_000 == dab_ensemble([96.0], g703=True).rate_bps
    assert 32 == time_slots(dab_ensemble([96.0], g703=True).rate_bps)


def test_large_ensembles_go_in_fragments() -> None:
    """1 152 kbit/s are 146 + 66 + 3456 bytes a frame: three fragments of 1223 + 14, 8 ms apart; the frame is awaited."""
    edi = dab_ensemble([192.0] * 6)

    assert Fraction(8, 1000) == edi.grain_s
    assert 1223 + 14 == edi.grain_bytes
    assert 16_000 == edi.look_ahead_us


def test_time_slots_round_up() -> None:
    """A slot is never shared: 64 001 bit/s need two."""
    assert [1, 1, 2] == [time_slots(Fraction(r)) for r in (1, 64_000, 64_001)]


def test_odd_sample_sizes_keep_their_exact_rate() -> None:
    """20-bit mono is 2.5 bytes a sample, never rounded up."""
    assert 48_000 * 20 == linear(48_000, bits=20, channels=1).rate_bps


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: composite(14, bits=16), "highest_khz must be from 15 to 100 kHz, got 14.0"),
        (lambda: composite(60_000, bits=16), "highest_khz must be from 15 to 100 kHz, got 60000.0"),
        (lambda: composite(60, bits=64), "bits must be from 8 to 32 bits, got 64"),
        (lambda: composite_sample_rate(60, transition_khz=-1), "transition_khz must be from 0 to 200"),
        (lambda: digital_composite(bits=32), "bits must be from 16 to 24 bits, got 32"),
        (lambda: linear(48, bits=24), "sample_rate_hz must be from 8000 to 384000 Hz, got 48"),
        (lambda: compressed(128_000, frame_ms=20), "coded_kbps must be from 5 to 10000 kbit/s, got 128000.0"),
        (lambda: compressed(128, frame_ms=0), "frame_ms must be from 0.1 to 250 ms"),
        (lambda: dab_ensemble([]), "number of sub-channels must be from 1 to 64"),
        (lambda: dab_ensemble([97.0]), "multiples of 8 kbit/s, got 97"),
        (lambda: dab_ensemble([1832.0]), "sum of all sub-channels must be from 8 to 1824 kbit/s"),
        (lambda: transport_stream(0), "rate_mbps must be from 0.1 to 200 Mbit/s"),
        (lambda: dvb_t_rate_mbps(5, code_rate=Fraction(1, 2), guard=Fraction(1, 4)), "bits_per_cell must be one of"),
        (lambda: constant_rate(-1), "rate_kbps must be from 1"),
        (lambda: dynamic_range_db(16, headroom_db=-1), "headroom_db must be from 0 to 40 dB, got -1"),
    ],
)
def test_refusals_name_argument_value_and_range(make: object, text: str) -> None:
    """What cannot be carried is refused by name, value, unit and range."""
    with pytest.raises(ValueError, match="must be") as refusal:
        make()  # type: ignore[operator]

    assert text in str(refusal.value)
