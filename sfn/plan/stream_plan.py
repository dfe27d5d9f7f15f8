"""What a link plan is made of, as a record of the document: a stage keeps the plan that its latency follows from.

Numbers are numbers, in the unit that their key ends in. One that no decimal gives exactly (a third of a millisecond) is
written as a fraction, ``"1/3"``: packet times must not be rounded. A key that is left out has its usual
value, listed in `sfn.stream.fields`; the link plan's page writes every key that counts.
"""

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from sfn.plan.record import Record
from sfn.units import exact

PayloadKind = Literal[
    "analogue composite", "digital composite", "left and right, linear", "compressed audio", "DAB ensemble",
    "transport stream", "other",
]  # fmt: skip
Parity = Literal["none", "row", "column", "both"]
Layer = Literal["payload", "rtp", "udp", "ip", "tunnel", "ethernet", "wire"]
Ratio = Annotated[str, StringConstraints(pattern=r"^-?[0-9]{1,400}/0*[1-9][0-9]{0,400}$")]
Quantity = float | Ratio
"""A number, or a fraction such as ``"1/3"``."""

MOST_SUBCHANNELS_N = 64  # of an ensemble (ETSI EN 300 401)


class StreamPlan(Record):
    """One stream planned: what is carried, how it is packed and protected, over what link, and what is lost there."""

    payload: PayloadKind | None = None
    """What is carried."""
    highest_khz: Quantity | None = None
    """Analogue composite: highest frequency to carry. [kHz]"""
    composite_rate_khz: Quantity | None = None
    """Analogue composite: its sample rate; left out: chosen. [kHz]"""
    transition_khz: Quantity | None = None
    """Analogue composite: what its filter falls within; left out: the usual. [kHz]"""
    bits: int | None = None
    """Sample size. [bits]"""
    channels: int | None = None
    """Channels; left out: the payload's usual number."""
    sample_rate_khz: Quantity | None = None
    """Left and right: sample rate. [kHz]"""
    coded_kbps: Quantity | None = None
    """Compressed audio: coded rate, without transport. [kbit/s]"""
    frame_ms: Quantity | None = None
    """Compressed audio: frame of the coding. [ms]"""
    look_ahead_ms: Quantity | None = None
    """Compressed audio: look-ahead of the coding. [ms]"""
    subchannels_kbps: Annotated[tuple[float, ...], Field(min_length=1, max_length=MOST_SUBCHANNELS_N)] | None = None
    """DAB ensemble: net rates of its sub-channels. [kbit/s]"""
    g703: bool | None = None
    """DAB ensemble: constant 2.048 Mbit/s frames instead of EDI."""
    transport_mbps: Quantity | None = None
    """Transport stream: its rate. [Mbit/s]"""
    rate_kbps: Quantity | None = None
    """Anything else: its rate. [kbit/s]"""
    packet_ms: Quantity | None = None
    """Time between packets; left out: the coding's usual where it has one, else 1. [ms]"""
    ip: int | None = None
    """Internet protocol, 4 or 6."""
    vlan_tags: int | None = None
    """802.1Q tags of a frame."""
    tunnel_bytes: int | None = None
    """What a tunnel adds to each packet. [bytes]"""
    mtu_bytes: int | None = None
    """Largest IP packet. [bytes]"""
    parity: Parity | None = None
    """Parity packets."""
    columns: int | None = None
    """Width L of the parity matrix. [packets]"""
    rows: int | None = None
    """Height D of the parity matrix. [packets]"""
    parity_spread: bool | None = None
    """Parity spread over the following matrix."""
    repeat_after: int | None = None
    """Everything is sent again this many packets later on the same path; 0: never. [packets]"""
    second_path: bool | None = None
    """A second path carries the same."""
    link_mbps: Quantity | None = None
    """Rate of the link's narrowest part; left out: not known. [Mbit/s]"""
    link_layer: Layer | None = None
    """Layer at which that rate is meant."""
    hops: int | None = None
    """Links in a row: times that a packet is stored and sent on."""
    network_ms: Quantity | None = None
    """Least transit of the network. [ms]"""
    variation_ms: Quantity | None = None
    """Delay variation to cover. [ms]"""
    differential_ms: Quantity | None = None
    """How much longer the second path takes. [ms]"""
    sender_ms: Quantity | None = None
    """Conversion and coding. [ms]"""
    receiver_ms: Quantity | None = None
    """Decoding and conversion. [ms]"""
    time_stamped: bool | None = None
    """Released at time stamps of a common clock."""
    adapting: bool | None = None
    """The receive buffer adapts by itself."""
    loss_pct: Quantity | None = None
    """Lost packets of all on the first path. [%]"""
    burst_packets: Quantity | None = None
    """Their mean burst; left out: each packet alike. [packets]"""
    second_loss_pct: Quantity | None = None
    """Lost on the second path; left out: not known. [%]"""
    second_burst_packets: Quantity | None = None
    """Mean burst of those; left out: each packet alike. [packets]"""
    joint_loss_pct: Quantity | None = None
    """Lost on both paths together, of all packets; left out: taken as independent. [%]"""
    joint_burst_packets: Quantity | None = None
    """Mean burst of those; left out: the longer of both. [packets]"""
    joint_low_pct: Quantity | None = None
    """Lost on both, surely at least: end of a measured 99 % interval. [%]"""
    joint_high_pct: Quantity | None = None
    """Lost on both, surely at most. [%]"""

    def in_document(self) -> dict[str, object]:
        """The keys that are given, as a document has them."""
        return self.model_dump(mode="json", exclude_none=True)


def exactly(value: Quantity) -> Fraction:
    """The number that was written.

    Examples
    --------
    >>> exactly("1/3"), exactly(0.1)
    (Fraction(1, 3), Fraction(1, 10))
    """
    return Fraction(value) if isinstance(value, str) else exact(value)


def quantity(value: Fraction) -> Quantity:
    """A number as the record has it, so that `exactly` gives it back.

    Examples
    --------
    >>> quantity(Fraction(5, 2)), quantity(Fraction(21)), quantity(Fraction(1, 3))
    (2.5, 21, '1/3')
    """
    if value.denominator == 1 and abs(value) < 10**15:
        return int(value)
    near = float(value)
    return near if exact(near) == value else f"{value.numerator}/{value.denominator}"
