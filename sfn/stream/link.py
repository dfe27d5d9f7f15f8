"""One stream planned as a whole: rates at every layer, latency of every element, and what does not fit.

Latency of a time-stamped link is its release delay, which must cover every element listed here; without time
stamps their sum is the latency and their variation goes straight into the launch time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Any

from sfn.errors import Problem, in_range
from sfn.stream.packet import (
    ETHERNET_MTU_BYTES,
    FEC_HEADER_BYTES,
    LAYERS,
    Headers,
    Packet,
    largest_packet_time_s,
    layer_bytes,
    rates_bps,
    serialisation_us,
)
from sfn.stream.payload import TIME_SLOT_BPS, Payload, time_slots
from sfn.stream.protection import (
    Protection,
    longest_burst_recovered,
    packet_overhead,
    skew_class,
    st2022_1_problems as matrix_problems,
    waits,
)
from sfn.units import counted

# Time slots for the payload: of 32 in 2.048 Mbit/s slot 0 carries the frame (ITU-T G.704), of 24 in 1.544 all do.
E1_SLOTS, T1_SLOTS = 31, 24
MONTH_S = 30.4375 * 86_400  # a twelfth of 365.25 days
# Packet times in use, 125 us to 20 ms; a third of a millisecond is exact.
COMPARED_S = tuple(Fraction(n, 24_000) for n in (3, 6, 8, 12, 24, 48, 60, 96, 120, 240, 480))

LOOK_AHEAD = "look-ahead of the coding"


@dataclass(frozen=True, slots=True)
class Link:
    """The way from the studio to one transmitter, as far as it is known.

    Parameters
    ----------
    capacity_mbps : float or None
        Rate of its narrowest part; None when unknown. [Mbit/s]
    capacity_layer : str
        Layer at which that rate is meant, one of `sfn.stream.packet.LAYERS`.
    hops : int
        Times that a whole packet is stored and sent on.
    network_us : float
        Least transit time of the distribution network, without serialisation. [us]
    variation_us : float
        Delay variation to be covered, from a measured quantile. [us]
    differential_us : float
        How much longer the second path takes. [us]
    sender_us, receiver_us : float
        Conversion, coding and processing at either end, from data sheet or measurement. [us]
    mtu_bytes : int
        Largest IP packet, tunnel included. [bytes]
    time_stamped : bool
        The receiver releases at an instant of a clock common to all sites.
    adapting : bool
        The receiver changes its buffer by itself.
    """

    capacity_mbps: float | None = None
    capacity_layer: str = "wire"
    hops: int = 1
    network_us: float = 0.0
    variation_us: float = 0.0
    differential_us: float = 0.0
    sender_us: float = 0.0
    receiver_us: float = 0.0
    mtu_bytes: int = ETHERNET_MTU_BYTES
    time_stamped: bool = True
    adapting: bool = False

    def __post_init__(self) -> None:
        """Refuse what is not a link."""
        if self.capacity_layer not in LAYERS:
            raise ValueError(f"capacity_layer must be one of {', '.join(LAYERS)}, got {self.capacity_layer!r}")
        if self.capacity_mbps is not None and not 0 < self.capacity_mbps <= 1e6:
            raise ValueError(f"capacity_mbps must be above 0 to 1e6 Mbit/s, got {self.capacity_mbps!r}")
        in_range("hops", self.hops, least=1, greatest=100, unit="hops")
        in_range("mtu_bytes", self.mtu_bytes, least=68, greatest=65_535, unit="bytes")
        for name in ("network_us", "variation_us", "differential_us", "sender_us", "receiver_us"):
            in_range(name, getattr(self, name), least=0, greatest=60e6, unit="us")


@dataclass(frozen=True, slots=True)
class Element:
    """One contribution to the latency of a stream, and how it was reckoned."""

    name: str
    latency_us: float
    how: str


@dataclass(frozen=True, slots=True)
class LinkPlan:
    """A planned stream; what `link_plan` answers."""

    payload: Payload
    packet: Packet
    headers: Headers
    protection: Protection
    link: Link
    sizes: dict[str, int]
    rates: dict[str, Fraction]
    elements: tuple[Element, ...]
    problems: tuple[Problem, ...]

    @property
    def latency_us(self) -> float:
        """Sum of all elements: the least release delay of a time-stamped receiver. [us]"""
        return sum(e.latency_us for e in self.elements)

    @property
    def tolerance_us(self) -> float:
        """What a restart can change: nothing with time stamps, else the delay variation. [us]"""
        return 0.0 if self.link.time_stamped else self.link.variation_us

    @property
    def paths(self) -> int:
        """Paths that carry the stream."""
        return 2 if self.protection.second_path else 1

    @property
    def share_ratio(self) -> float | None:
        """Part of one path's capacity that the stream takes."""
        if self.link.capacity_mbps is None:
            return None
        layer = self.link.capacity_layer if self.payload.packeted else "payload"  # a bit stream has no other
        return float(self.rates[layer] / 1_000_000) / self.link.capacity_mbps

    @property
    def line(self) -> str | None:
        """What a constant bit stream takes, in words; None of packets.

        ITU-T G.703 carries 2.048 Mbit/s with or without the frame of G.704, whose slot 0 is no payload's.
        """
        if self.payload.packeted:
            return None
        return (
            f"one whole line of {float(self.rates['payload']) / 1e6:g} Mbit/s (G.703) to itself, without the frame of "
            "G.704; a framed E1 has 31 of 32 time slots left and a T1 24 of 64 kbit/s, so neither carries it"
        )

    @property
    def streams_that_fit(self) -> int | None:
        """How many such streams one path carries."""
        return None if self.share_ratio is None else floor(1 / self.share_ratio + 1e-9)

    @property
    def month_bytes(self) -> float:
        """IP data of a month on all paths, when it runs all the time. [bytes]"""
        return float(self.rates["ip"]) / 8 * MONTH_S * self.paths

    @property
    def overhead_ratio(self) -> float:
        """Headers of the IP packet over its payload: H / P."""
        return (self.sizes["ip"] - self.sizes["payload"]) / self.sizes["payload"]


def link_plan(payload: Payload, packet: Packet, *, headers: Headers, protection: Protection, link: Link) -> LinkPlan:
    """Plan one stream on one link.

    Parameters
    ----------
    payload : Payload
    packet : Packet
        From `sfn.stream.packet.packet_of`.
    headers : Headers
    protection : Protection
    link : Link

    Returns
    -------
    plan : LinkPlan
        With every problem found: too large for the MTU, more than the link carries, a buffer that adapts.
    """
    sizes = layer_bytes(packet.payload_bytes, headers)  # of a constant bit stream: were it carried over IP
    rates = rates_bps(
        packet,
        headers,
        row_length=protection.row_length,
        column_length=protection.column_length,
        copies=protection.copies,
    )
    elements = _elements(payload, packet, headers=headers, protection=protection, link=link)
    plan = LinkPlan(payload, packet, headers, protection, link, sizes, rates, elements, ())
    return LinkPlan(payload, packet, headers, protection, link, sizes, rates, elements, tuple(_problems(plan)))


def _elements(
    payload: Payload, packet: Packet, *, headers: Headers, protection: Protection, link: Link
) -> tuple[Element, ...]:
    """Every contribution to the latency, in the order in which a sample meets them."""
    wait = waits(protection)
    step_us = packet.time_us
    rows = [Element("conversion and coding", link.sender_us, "as entered")]
    if payload.look_ahead_us:
        whole = payload.grain == "fragment"
        name, how = ("gathering a frame", "whole before its first fragment") if whole else (LOOK_AHEAD, "as entered")
        rows.append(Element(name, float(payload.look_ahead_us), how))
    filling = "filling a packet" if payload.packeted else "filling a frame"
    rows.append(Element(filling, step_us, f"{packet.grains} x one {payload.grain}"))
    if link.capacity_mbps is not None and payload.packeted:
        parity = packet_overhead(protection) > 0
        layers = layer_bytes(packet.payload_bytes + (FEC_HEADER_BYTES if parity else 0), headers)
        largest = layers[link.capacity_layer]  # the capacity is that of this layer, so are the bytes that take its time
        each_us = serialisation_us(largest, link_mbps=link.capacity_mbps)
        how = f"{link.hops} x {largest} bytes ({link.capacity_layer}) at {link.capacity_mbps:g} Mbit/s"
        rows.append(Element("serialisation", link.hops * each_us, how))
    rows.append(Element("network, least", link.network_us, "as entered"))
    rows.append(Element("delay variation", link.variation_us, "as entered"))
    if wait.repeat:
        rows.append(Element("waiting for the repeat", wait.repeat * step_us, counted(wait.repeat, "packet")))
    if wait.parity:
        rows.append(Element("waiting for parity", wait.parity * step_us, counted(wait.parity, "packet")))
    if protection.second_path:
        rows.append(Element("second path is longer", link.differential_us, "as entered"))
    rows.append(Element("decoding and conversion", link.receiver_us, "as entered"))
    return tuple(rows)


def _problems(plan: LinkPlan) -> list[Problem]:
    """What makes the stream impossible or doubtful."""
    found = _size_problems(plan)
    link = plan.link
    if plan.share_ratio is not None and plan.share_ratio > 1:
        layer = link.capacity_layer if plan.payload.packeted else "payload"
        found.append(
            Problem(
                "link.capacity_mbps",
                f"the stream takes {float(plan.rates[layer]) / 1e6:.3f} Mbit/s at the {layer} layer, "
                f"the link carries {link.capacity_mbps:g}",
                "longer packets, fewer bits, less protection, or a wider link"
                if plan.payload.packeted
                else "a wider link, or EDI over IP",
                code="link-too-narrow",
                values={
                    "needed_mbps": float(plan.rates[layer]) / 1e6,
                    "capacity_mbps": link.capacity_mbps,
                },
                said={
                    "takes_said": f"{float(plan.rates[layer]) / 1e6:.3f}",
                    "layer": layer,
                    "carries_said": f"{link.capacity_mbps:g}",
                    "packeted": "yes" if plan.payload.packeted else None,
                },
            )
        )
    if link.adapting and not link.time_stamped:
        found.append(
            Problem(
                "link.adapting",
                "the receive buffer changes by itself in a section without time stamps: each change moves this site's "
                "launch time by as much, at an unknown moment, and no delay setting makes up for it",
                "a fixed buffer, or release at time stamps of a clock common to all sites",
                code="buffer-adapts",
                fields=("adapting",),
            )
        )
    found += matrix_problems(plan.protection)
    if plan.protection.second_path and skew_class(link.differential_us / 1000) is None:
        found.append(
            Problem(
                "link.differential_us",
                f"the paths differ by {link.differential_us / 1000:g} ms",
                "at most 450 ms (class C of SMPTE ST 2022-7)",
                "warning",
                code="paths-too-far-apart",
                values={"differential_us": link.differential_us},
                said={"apart_said": f"{link.differential_us / 1000:g}"},
            )
        )
    return found


def _size_problems(plan: LinkPlan) -> list[Problem]:
    """Packets that do not pass the MTU whole; protection where there are no packets."""
    if not plan.payload.packeted:
        if plan.protection == Protection():
            return []
        what = f"{plan.protection.in_words()} protects packets, and a constant bit stream has none"
        said = {"protected": plan.protection.in_words()}
        expected = "no protection here, or EDI over IP"
        return [Problem("protection", what, expected, code="protection-without-packets", said=said)]
    parity = packet_overhead(plan.protection) > 0
    largest = plan.sizes["tunnel"] + (FEC_HEADER_BYTES if parity else 0)
    if largest <= plan.link.mtu_bytes:
        return []
    longest_s = largest_packet_time_s(plan.payload, plan.headers, mtu_bytes=plan.link.mtu_bytes, with_parity=parity)
    fits = f"a packet time of at most {float(longest_s * 1000):g} ms" if longest_s else "a larger MTU"
    which = "an FEC packet" if parity else "a packet"
    what = f"{which} has {largest} bytes with its tunnel, the link passes {plan.link.mtu_bytes}"
    fits_said: dict[str, str | None] = {
        "parity": "yes" if parity else None, "bytes_n": f"{largest}", "mtu_n": f"{plan.link.mtu_bytes}",
        "longest_ms": f"{float(longest_s * 1000):g}" if longest_s else None,
    }  # fmt: skip
    return [Problem("packet_time", what, fits, code="packet-does-not-fit", said=fits_said)]


def as_answer(plan: LinkPlan) -> dict[str, object]:
    """The plan as one flat document: what ``stream --json`` prints and the page shows."""
    wait = waits(plan.protection)
    slots = time_slots(plan.payload.rate_bps)
    packeted = plan.payload.packeted
    answer: dict[str, object] = {
        "payload": plan.payload.what,
        "protection": plan.protection.in_words(),
        "packet_time_us": plan.packet.time_us,
        "grains_per_packet": plan.packet.grains,
        "packets_per_s": float(plan.packet.rate_hz) if packeted else None,
        "line": plan.line,
        "sample_rate_hz": plan.payload.sample_rate_hz,
        "sample_bits": plan.payload.sample_bits,
    }
    known = LAYERS if packeted else ("payload",)
    answer |= {f"{layer}_bytes": plan.sizes[layer] if layer in known else None for layer in LAYERS}
    answer |= {f"{layer}_mbps": float(plan.rates[layer] / 1_000_000) if layer in known else None for layer in LAYERS}
    answer |= {
        "all_paths_wire_mbps": float(plan.paths * plan.rates["wire"] / 1_000_000) if packeted else None,
        "month_bytes": plan.month_bytes if packeted else None,
        "overhead_ratio": plan.overhead_ratio if packeted else None,
        "parity_packets_ratio": float(packet_overhead(plan.protection)),
        "longest_burst_packets": longest_burst_recovered(plan.protection),
        "parity_wait_us": wait.parity * plan.packet.time_us,
        "repeat_wait_us": wait.repeat * plan.packet.time_us,
        "time_slots": slots,
        "time_slots_mbps": slots * TIME_SLOT_BPS / 1e6,
        "e1_links": ceil(slots / E1_SLOTS) if packeted else None,
        "t1_links": ceil(slots / T1_SLOTS) if packeted else None,
        "fits_e1": slots <= E1_SLOTS,
        "fits_t1": slots <= T1_SLOTS,
        "share_ratio": plan.share_ratio,
        "streams_that_fit": plan.streams_that_fit,
        "mtu_bytes": plan.link.mtu_bytes if packeted else None,
        "fits_mtu": not _size_problems(plan) if packeted else None,
        "time_stamped": plan.link.time_stamped,
        "latency_us": plan.latency_us,
        "tolerance_us": plan.tolerance_us,
        "elements": [{"name": e.name, "latency_us": e.latency_us, "how": e.how} for e in plan.elements],
        "problems": [p.as_json() for p in plan.problems],
    }
    return answer


def comparison(
    payload: Payload, *, headers: Headers, protection: Protection, link: Link, times_s: Sequence[Fraction] = ()
) -> list[dict[str, Any]]:
    """The same stream at several packet times (`COMPARED_S`); those that do not hold whole grains are left out.

    A constant bit stream has none.
    """
    if not payload.packeted:
        return []
    keys = ("packet_time_us", "packets_per_s", "ip_mbps", "wire_mbps", "latency_us", "share_ratio", "fits_mtu")
    rows: list[dict[str, Any]] = []
    for time_s in times_s or COMPARED_S:
        held = time_s / payload.grain_s
        if held.denominator != 1 or held < 1:
            continue
        packet = Packet(held.numerator, time_s, ceil(held * payload.grain_bytes))
        answer = as_answer(link_plan(payload, packet, headers=headers, protection=protection, link=link))
        rows.append({key: answer[key] for key in keys})
    return rows
