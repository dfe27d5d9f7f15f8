"""What carrying a digital multiplex adds: T2-MI for DVB-T2, EDI with Reed-Solomon for DAB.

Header sizes are from memory of ETSI TS 102 773 (T2-MI) and ETSI TS 102 821 (EDI: AF and PF packets); the tests reckon
them a second time, byte by byte.
"""

from fractions import Fraction
from math import ceil

from sfn.errors import in_range
from sfn.stream.payload import EDI_FRAGMENT_BYTES, Payload, dab_ensemble, transport_stream
from sfn.units import counted, exact

T2_FRAME_MS = 250  # the longest T2 frame; shorter ones cost more
T2_MI_HEADER_BYTES, T2_MI_CRC_BYTES = 6, 4
BB_FRAME_FIELDS_BYTES = 3  # frame_idx, plp_id, intl_frame_start before each baseband frame
BB_HEADER_BYTES = 10
BB_FRAME_BITS = 43_040  # 64k LDPC, code rate 2/3: K_bch (EN 302 755 table 6a)
L1_CURRENT_BYTES, TIME_STAMP_BYTES = 100, 11  # L1 signalling of one PLP, about; the time stamp of a frame
TS_PACKET_BYTES, TS_ROOM_BYTES = 188, 184

RS_DATA_BYTES, RS_PARITY_BYTES = 207, 48
PF_HEADER_BYTES = 16  # 14 and the two fields of Reed-Solomon


def t2_mi(rate_mbps: float | Fraction, *, frame_ms: float | Fraction) -> Payload:
    """A DVB-T2 multiplex on its way to the transmitters as T2-MI in a transport stream.

    Parameters
    ----------
    rate_mbps : float
        Net rate of the multiplex, one PLP. [Mbit/s]
    frame_ms : float
        Length of a T2 frame: each has its L1 signalling and its time stamp. [ms]

    Raises
    ------
    ValueError
        If the rate is outside 0.1 to 100 Mbit/s or the frame outside 10 to 250 ms.

    Notes
    -----
    Baseband frames of 43 040 bits (64k LDPC, 2/3), each with its header of ten bytes inside, three bytes of fields,
    six of T2-MI header and four of CRC; a T2 frame's L1 packet (100 bytes, about) and time stamp (11) with theirs; all
    of it in 184 of every 188 bytes.
    """
    in_range("rate_mbps", float(rate_mbps), least=0.1, greatest=100, unit="Mbit/s")
    in_range("frame_ms", float(frame_ms), least=10, greatest=250, unit="ms")
    around = T2_MI_HEADER_BYTES + T2_MI_CRC_BYTES
    frame_bytes = Fraction(BB_FRAME_BITS, 8)
    bb_frames_per_s = exact(rate_mbps) * 1_000_000 / (8 * (frame_bytes - BB_HEADER_BYTES))
    of_frames = bb_frames_per_s * (frame_bytes + BB_FRAME_FIELDS_BYTES + around)
    of_signalling = (L1_CURRENT_BYTES + TIME_STAMP_BYTES + 2 * around) / (exact(frame_ms) / 1000)
    carried_mbps = (of_frames + of_signalling) * 8 * Fraction(TS_PACKET_BYTES, TS_ROOM_BYTES) / 1_000_000
    made = transport_stream(carried_mbps)
    return Payload(
        made.kind,
        f"T2-MI of {float(rate_mbps):g} Mbit/s in baseband frames of {BB_FRAME_BITS} bits, "
        f"transport stream {float(carried_mbps):.4g} Mbit/s",
        made.grain,
        made.grain_s,
        made.grain_bytes,
        usual_grains=made.usual_grains,
    )


def dab_ensemble_protected(subchannels_kbps: list[float], *, recovers: int) -> Payload:
    """A DAB ensemble over EDI whose fragments carry Reed-Solomon parity.

    Parameters
    ----------
    subchannels_kbps : list of float
        As for `sfn.stream.payload.dab_ensemble`.
    recovers : int
        Lost fragments of a frame that may be restored.

    Raises
    ------
    ValueError
        If `recovers` is outside 1 to 5, or as `dab_ensemble` says.

    Notes
    -----
    The AF packet of l bytes is cut into ``c = ceil(l / 207)`` chunks of ``k = ceil(l / c)``, each with 48 bytes of
    parity, and sent as ``f`` fragments of equal size, none larger than ``48 c / (m + 1)``, so that m of them may go
    missing (TS 102 821 7.2, from memory). 16 bytes of header a fragment. What parity restores is not in the figures of
    loss: they speak of packets.
    """
    in_range("recovers", recovers, least=1, greatest=5, unit="fragments")
    whole = dab_ensemble(subchannels_kbps)
    length = _af_bytes(subchannels_kbps)
    chunks = ceil(Fraction(length, RS_DATA_BYTES))
    data = ceil(Fraction(length, chunks))
    coded = chunks * (data + RS_PARITY_BYTES)
    most = min(chunks * RS_PARITY_BYTES // (recovers + 1), EDI_FRAGMENT_BYTES)
    pieces = ceil(Fraction(coded, most))
    frame_s = Fraction(24, 1000)
    return Payload(
        whole.kind,
        f"DAB ensemble over EDI, Reed-Solomon for {recovers} lost of {counted(pieces, 'fragment')} a frame",
        "fragment",
        frame_s / pieces,
        Fraction(ceil(Fraction(coded, pieces)) + PF_HEADER_BYTES),
        usual_grains=1,
        look_ahead_us=(frame_s - frame_s / pieces) * 1_000_000,
        uses_rtp=False,
    )


def _af_bytes(subchannels_kbps: list[float]) -> int:
    """The AF packet of one frame, as in `dab_ensemble`. [bytes]"""
    return int(12 + 16 + 118 + 11 * len(subchannels_kbps) + sum(exact(rate) for rate in subchannels_kbps) * 3)
