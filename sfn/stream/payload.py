"""What a link carries: composite, audio or a multiplex, as a rate and a smallest whole piece.

Every payload is described by its *grain*, the piece that is never split between packets (one sample
of every channel, one coded frame, one transport packet), with exact length and size: packet times such
as 1/3 ms must not be rounded.

| symbol | name | unit |
|---|---|---|
| fs | `sample_rate_hz` | Hz |
| | `grain_s`, `grain_bytes` | s, bytes, both exact fractions |
"""

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from math import ceil, log10

from sfn.errors import in_range
from sfn.units import exact

DIGITAL_COMPOSITE_RATE_HZ = 192_000
AES3_SLOT_BITS = 32  # one sub-frame of AES3: 4 preamble, 24 sample, 4 status bits
TIME_SLOT_BPS = 64_000
TS_PACKET_BYTES = 188
EDI_FRAGMENT_BYTES = 1400
EDI_FRAGMENT_HEADER_BYTES = 14


@dataclass(frozen=True, slots=True)
class Subcarrier:
    """A mark beside the highest frequency to be carried."""

    name: str
    centre_khz: float
    top_khz: float


@dataclass(frozen=True, slots=True)
class Payload:
    """What is carried.

    Parameters
    ----------
    kind : str
        ``composite``, ``digital composite``, ``linear``, ``compressed``, ``dab``, ``dvb`` or ``rate``.
    what : str
        The choice in words, for tables.
    grain : str
        Name of the piece that is never split: ``sample``, ``frame``, ``transport packet``.
    grain_s : Fraction
        Time that one grain lasts. [s]
    grain_bytes : Fraction
        Size of one grain; need not be whole (20-bit samples). [bytes]
    usual_grains : int
        Grains in a packet when nobody says otherwise; 0 where the packet time must be chosen.
    sample_bits : int or None
        Bits of a sample, where samples are sent as they are.
    sample_rate_hz : int or None
        Rate of those samples. [Hz]
    look_ahead_us : Fraction
        What coding waits for beyond its own frame. [us]
    uses_rtp : bool
        False where the usual carriage goes straight into UDP (EDI).
    packeted : bool
        False for a constant bit stream on a TDM link (G.703): no header, no packet, no largest packet.
    """

    kind: str
    what: str
    grain: str
    grain_s: Fraction
    grain_bytes: Fraction
    usual_grains: int = 0
    sample_bits: int | None = None
    sample_rate_hz: int | None = None
    look_ahead_us: Fraction = Fraction(0)
    uses_rtp: bool = True
    packeted: bool = True

    @property
    def rate_bps(self) -> Fraction:
        """Rate before any header. [bit/s]"""
        return 8 * self.grain_bytes / self.grain_s


def subcarriers() -> tuple[Subcarrier, ...]:
    """The standard subcarriers of an FM composite, lowest first."""
    table = tomllib.loads(files("sfn.stream").joinpath("subcarriers.toml").read_text(encoding="utf-8"))
    return tuple(Subcarrier(**row) for row in table["subcarrier"])


def digital_composite(*, bits: int = 24, channels: int = 1, whole_frames: bool = False) -> Payload:
    """Composite at 192 kHz as it comes over AES3.

    Parameters
    ----------
    bits : int, default 24
        Bits kept of each sample; AES3 carries 24. [bits]
    channels : {1, 2}
        Sub-frames sent: 1 takes one of the two.
    whole_frames : bool
        Send the AES3 frame as it is, status bits and both sub-frames: 64 bits every 1/192000 s.

    Raises
    ------
    ValueError
        If `bits` is outside 16 to 24, or `channels` is neither 1 nor 2.

    Examples
    --------
    >>> float(digital_composite().rate_bps), float(digital_composite(whole_frames=True).rate_bps)
    (4608000.0, 12288000.0)
    """
    in_range("bits", bits, least=16, greatest=24, unit="bits")
    in_range("channels", channels, least=1, greatest=2, unit="channels")
    if whole_frames:
        what = "digital composite, whole AES3 frames at 192 kHz"
        return Payload(
            "digital composite",
            what,
            "AES3 frame",
            Fraction(1, DIGITAL_COMPOSITE_RATE_HZ),
            Fraction(2 * AES3_SLOT_BITS, 8),
            sample_bits=24,
            sample_rate_hz=DIGITAL_COMPOSITE_RATE_HZ,
        )
    what = f"digital composite, 192 kHz x {channels} x {bits} bit"
    return samples("digital composite", what, sample_rate_hz=DIGITAL_COMPOSITE_RATE_HZ, bits=bits, channels=channels)


def linear(sample_rate_hz: int, *, bits: int, channels: int = 2) -> Payload:
    """Left and right as linear samples.

    Raises
    ------
    ValueError
        If `sample_rate_hz` is outside 8 to 384 kHz, `bits` outside 8 to 32 or `channels` outside 1 to 64.
    """
    what = f"linear {sample_rate_hz / 1000:g} kHz x {channels} x {bits} bit"
    return samples("linear", what, sample_rate_hz=sample_rate_hz, bits=bits, channels=channels)


def compressed(
    coded_kbps: float | Fraction, *, frame_ms: float | Fraction, look_ahead_ms: float | Fraction = 0
) -> Payload:
    """Coded audio at a constant rate; its algorithm waits for one frame and its look-ahead.

    Parameters
    ----------
    coded_kbps : float
        Rate of the coded audio, transport excluded (what the TIAS modifier of RFC 3890 states). [kbit/s]
    frame_ms, look_ahead_ms : float
        From the data sheet of the codec. [ms]

    Raises
    ------
    ValueError
        If the rate is outside 5 to 10 000 kbit/s, the frame outside 0.1 to 250 ms, the look-ahead negative.
    """
    in_range("coded_kbps", float(coded_kbps), least=5, greatest=10_000, unit="kbit/s")
    in_range("frame_ms", float(frame_ms), least=0.1, greatest=250, unit="ms")
    in_range("look_ahead_ms", float(look_ahead_ms), least=0, greatest=1000, unit="ms")
    frame_s = exact(frame_ms) / 1000
    what = f"compressed {float(coded_kbps):g} kbit/s, {float(frame_ms):g} ms frames"
    return Payload(
        "compressed",
        what,
        "frame",
        frame_s,
        exact(coded_kbps) * 1000 * frame_s / 8,
        usual_grains=1,
        look_ahead_us=exact(look_ahead_ms) * 1000,
    )


def dab_ensemble(subchannels_kbps: list[float], *, g703: bool = False) -> Payload:
    """A DAB ensemble in mode I on its way to the transmitters.

    Parameters
    ----------
    subchannels_kbps : list of float
        Net rate of each sub-channel; together at most 1 824 kbit/s (protection 4-B). [kbit/s]
    g703 : bool
        True: the constant 2.048 Mbit/s frame of ETS 300 799 (6144 bytes each 24 ms). False: EDI,
        ETSI TS 102 693 over TS 102 821, in fragments of at most 1400 bytes sent evenly, without Reed-Solomon.

    Raises
    ------
    ValueError
        If there are none or more than 64 sub-channels, one is not a multiple of 8 kbit/s, or they do not fit.

    Notes
    -----
    Bytes of an EDI packet (both documents from memory): AF 10 + 2 CRC; ``*ptr`` 8 + 8; ``deti`` 8 + 2 + 4 + 8 of
    time stamp + 96 of FIC; each ``est`` 8 + 3 + its 24 ms of data; a fragment's header 14.
    """
    in_range("number of sub-channels", len(subchannels_kbps), least=1, greatest=64, unit="sub-channels")
    for rate in subchannels_kbps:
        if rate <= 0 or exact(rate) % 8:
            raise ValueError(f"rates of sub-channels must be multiples of 8 kbit/s, got {rate:g}")
    total_kbps = sum(exact(rate) for rate in subchannels_kbps)
    in_range("sum of all sub-channels", float(total_kbps), least=8, greatest=1824, unit="kbit/s")
    frame_s = Fraction(24, 1000)
    if g703:
        return Payload(
            "dab", "DAB ensemble, 2.048 Mbit/s frames", "frame", frame_s, Fraction(6144), usual_grains=1, packeted=False
        )
    size = 12 + 16 + 118 + 11 * len(subchannels_kbps) + total_kbps * 3  # 24 ms of 1 kbit/s are 3 bytes
    what = f"DAB ensemble over EDI, {len(subchannels_kbps)} sub-channels, {float(total_kbps):g} kbit/s"
    pieces = ceil(size / EDI_FRAGMENT_BYTES)
    if pieces == 1:
        return Payload("dab", what, "frame", frame_s, Fraction(size), usual_grains=1, uses_rtp=False)
    each = Fraction(ceil(Fraction(size) / pieces) + EDI_FRAGMENT_HEADER_BYTES)
    return Payload(
        "dab",
        f"{what}, {pieces} fragments a frame",
        "fragment",
        frame_s / pieces,
        each,
        usual_grains=1,
        look_ahead_us=(frame_s - frame_s / pieces) * 1_000_000,  # the whole frame is there before its first fragment
        uses_rtp=False,
    )


def transport_stream(rate_mbps: float | Fraction) -> Payload:
    """A DVB transport stream (or T2-MI in one), seven packets of 188 bytes to a datagram as usual.

    Raises
    ------
    ValueError
        If the rate is outside 0.1 to 200 Mbit/s.
    """
    in_range("rate_mbps", float(rate_mbps), least=0.1, greatest=200, unit="Mbit/s")
    size = Fraction(TS_PACKET_BYTES)
    what = f"transport stream {float(rate_mbps):g} Mbit/s"
    grain_s = 8 * size / (exact(rate_mbps) * 1_000_000)
    return Payload("dvb", what, "transport packet", grain_s, size, usual_grains=7)


def dvb_t_rate_mbps(bits_per_cell: int, *, code_rate: Fraction, guard: Fraction, channel_mhz: int = 8) -> Fraction:
    """Net rate of a DVB-T mode, EN 300 744 annex on useful bit rates.

    Parameters
    ----------
    bits_per_cell : {2, 4, 6}
        QPSK, 16-QAM, 64-QAM.
    code_rate, guard : Fraction
        Inner code rate and guard interval as a fraction of the useful symbol.
    channel_mhz : {5, 6, 7, 8}
        Channel width. [MHz]

    Returns
    -------
    rate_mbps : Fraction
        [Mbit/s]

    Raises
    ------
    ValueError
        If any choice is not one of the standard's.

    Notes
    -----
    6 048 data cells in 896 us, both in 2k and 8k: 6.75 million a second in 8 MHz.

    Examples
    --------
    >>> print(f"{float(dvb_t_rate_mbps(6, code_rate=Fraction(2, 3), guard=Fraction(1, 32))):.2f}")
    24.13
    """
    choices = {
        "bits_per_cell": (bits_per_cell, (2, 4, 6)),
        "code_rate": (code_rate, tuple(Fraction(k, k + 1) for k in (1, 2, 3, 5, 7))),
        "guard": (guard, tuple(Fraction(1, k) for k in (4, 8, 16, 32))),
        "channel_mhz": (channel_mhz, (5, 6, 7, 8)),
    }
    for name, (given, allowed) in choices.items():
        if given not in allowed:
            raise ValueError(f"{name} must be one of {', '.join(map(str, allowed))}, got {given}")
    cells_per_s = Fraction(6_750_000 * channel_mhz, 8)
    return cells_per_s * bits_per_cell * code_rate * Fraction(188, 204) / (1 + guard) / 1_000_000


def constant_rate(rate_kbps: float | Fraction) -> Payload:
    """Anything with a known rate that may be cut at any byte.

    Raises
    ------
    ValueError
        If the rate is outside 1 to 1 000 000 kbit/s.
    """
    in_range("rate_kbps", float(rate_kbps), least=1, greatest=1_000_000, unit="kbit/s")
    what = f"{float(rate_kbps):g} kbit/s"
    return Payload("rate", what, "byte", Fraction(8, 1000) / exact(rate_kbps), Fraction(1))


def time_slots(rate_bps: Fraction) -> int:
    """Time slots of 64 kbit/s that a rate fills on a TDM link (31 usable in 2.048 Mbit/s, 24 in 1.544).

    Examples
    --------
    >>> time_slots(Fraction(1_536_000))
    24
    """
    return ceil(rate_bps / TIME_SLOT_BPS)


def dynamic_range_db(bits: int, *, dithered: bool = False, headroom_db: float = 0.0) -> float:
    """Full-scale sine over the quantising noise of the whole band.

    Parameters
    ----------
    bits : int
        Sample size. [bits]
    dithered : bool
        With triangular dither of two steps, which triples the noise power: -4.77 dB.
    headroom_db : float
        Kept free above the greatest programme level. [dB]

    Raises
    ------
    ValueError
        If `bits` is outside 8 to 32 or the headroom is negative.

    Notes
    -----
    ``20 log10(2^n) + 10 log10(3/2)``, that is 6.02 n + 1.76 dB. Oversampled noise outside the composite band
    is not credited, neither are converters worse than their word length.

    Examples
    --------
    >>> print(f"{dynamic_range_db(16):.2f} {dynamic_range_db(16, dithered=True, headroom_db=3):.2f}")
    98.09 90.32
    """
    in_range("bits", bits, least=8, greatest=32, unit="bits")
    in_range("headroom_db", headroom_db, least=0, greatest=40, unit="dB")
    return 20 * bits * log10(2) + 10 * log10(1.5) - (10 * log10(3) if dithered else 0.0) - headroom_db


def samples(kind: str, what: str, *, sample_rate_hz: int, bits: int, channels: int) -> Payload:
    """A payload of plain samples, all channels of one instant together."""
    in_range("sample_rate_hz", sample_rate_hz, least=8000, greatest=384_000, unit="Hz")
    in_range("bits", bits, least=8, greatest=32, unit="bits")
    in_range("channels", channels, least=1, greatest=64, unit="channels")
    return Payload(
        kind,
        what,
        "sample",
        Fraction(1, sample_rate_hz),
        Fraction(bits * channels, 8),
        sample_bits=bits,
        sample_rate_hz=sample_rate_hz,
    )
