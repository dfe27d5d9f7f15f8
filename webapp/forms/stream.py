"""Forms of stream plans, losses and clocks: fields with label, unit and a sentence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import number_written
from sfn.stream.fields import PARITIES, PAYLOADS
from sfn.stream.payload import subcarriers
from webapp.forms.fields import Field
from webapp.forms.places import Kind
from webapp.forms.usual import USUAL


@dataclass(frozen=True, slots=True)
class Ask:
    """One input as a form declares it. `options` makes it a menu; ``yes or no`` a box."""

    name: str
    label: str
    unit: str = ""
    help: str = ""
    options: tuple[str, ...] = ()
    only_for: tuple[str, ...] = ()
    empty: str = ""
    """What holds when it is left empty."""
    choices: tuple[tuple[str, str], ...] = ()
    """A menu whose values have other words."""


@dataclass(frozen=True, slots=True)
class Part:
    """Inputs under one heading."""

    title: str
    fields: tuple[Field, ...]
    problems: tuple[Problem, ...]


BOXES = ("parity_spread", "second_path", "time_stamped", "adapting", "g703", "remove_drift", "standby_called")
GIVEN = "On the command line it has to be given."
SAMPLED = ("analogue composite", "digital composite", "left and right, linear")
COUNTED = (
    ("payload", "the payload alone"), ("rtp", "RTP packets"), ("udp", "UDP datagrams"), ("ip", "IP packets"),
    ("tunnel", "IP packets in the tunnel"), ("ethernet", "Ethernet frames"), ("wire", "the whole cable, gaps too"),
)  # fmt: skip
TICKS = ", ".join(f"{mark.top_khz:g} {mark.name}" for mark in subcarriers())

PAYLOAD = (
    Ask("payload", "what is carried", options=PAYLOADS),
    Ask("highest_khz", "highest frequency to carry", "kHz", f"Upper edges: {TICKS}.", only_for=("analogue composite",)),
    Ask(
        "composite_rate_khz",
        "its sample rate",
        "kHz",
        "As the converter has it; left empty: 48, 96, 192 or 384, the least that leaves the filter room.",
        only_for=("analogue composite",),
        empty="chosen",
    ),
    Ask(
        "transition_khz",
        "its filter falls within",
        "kHz",
        "At most the sample rate less twice the highest frequency; left empty: a fifth of that frequency.",
        only_for=("analogue composite",),
        empty="usual",
    ),
    Ask("bits", "sample size", "bits", GIVEN, only_for=SAMPLED),
    Ask("channels", "channels", "", "", only_for=SAMPLED[1:], empty="usual"),
    Ask("sample_rate_khz", "sample rate", "kHz", only_for=("left and right, linear",)),
    Ask("coded_kbps", "coded rate", "kbit/s", "Without transport.", only_for=("compressed audio",)),
    Ask(
        "frame_ms",
        "frame of the coding",
        "ms",
        f"From its data sheet. {GIVEN}",
        only_for=("compressed audio",),
    ),
    Ask("look_ahead_ms", "look-ahead of the coding", "ms", "From its data sheet.", only_for=("compressed audio",)),
    Ask("subchannels_kbps", "sub-channels", "kbit/s", "Net rates, commas between.", only_for=("DAB ensemble",)),
    Ask("g703", "constant 2.048 Mbit/s frames instead of EDI", only_for=("DAB ensemble",)),
    Ask("transport_mbps", "transport stream", "Mbit/s", only_for=("transport stream",)),
    Ask("rate_kbps", "rate", "kbit/s", only_for=("other",)),
)
PACKING = (
    Ask(
        "packet_ms",
        "packet time",
        "ms",
        "Exact: 1/3 is a third of a millisecond. Left empty: the coding's usual. On the command line it has to be "
        "given where the coding has none.",
    ),
    Ask("ip", "Internet protocol", options=("4", "6")),
    Ask("vlan_tags", "VLAN tags"),
    Ask("tunnel_bytes", "a tunnel adds", "bytes", "To each packet: VPN, GRE, labels, authentication."),
    Ask("mtu_bytes", "largest IP packet", "bytes"),
)
PROTECTION = (
    Ask("parity", "FEC packets", options=PARITIES, help="Rows follow each other; columns are spread against bursts."),
    Ask("columns", "width L of the matrix", "packets", GIVEN, only_for=("row", "column", "both")),
    Ask("rows", "height D of the matrix", "packets", GIVEN, only_for=("column", "both")),
    Ask(
        "parity_spread",
        "FEC spread over the next matrix",
        "",
        "One every D packets keeps the rate even and nearly doubles the wait; else it follows the matrix at once.",
        only_for=("column", "both"),
    ),
    Ask("repeat_after", "send all again after", "packets", "On the same path; 0 for never."),
    Ask("second_path", "second path carries the same"),
)
LINK = (
    Ask("link_mbps", "rate of its narrowest part", "Mbit/s", empty="not known"),
    Ask(
        "link_layer",
        "that rate counts",
        help="Contracts mostly mean IP packets, a port's rate the whole cable.",
        choices=COUNTED,
    ),
    Ask(
        "hops",
        "links in a row",
        "",
        "One more than the switches and routers between: each takes a packet in whole first.",
    ),
    Ask("network_ms", "least transit of the network", "ms"),
    Ask("variation_ms", "delay variation to cover", "ms", "From a measured quantile: page Packet loss."),
    Ask(
        "differential_ms",
        "second path is longer by",
        "ms",
        "Its latest packets against those of the first; 0 where it is shorter. From two records: page Packet loss.",
    ),
    Ask("sender_ms", "conversion and coding", "ms"),
    Ask("receiver_ms", "decoding and conversion", "ms"),
    Ask("time_stamped", "released at time stamps of a common clock"),
    Ask("adapting", "the receive buffer adapts by itself"),
)
LOSS = (
    Ask("loss_pct", "lost packets", "%", GIVEN),
    Ask(
        "burst_packets",
        "mean burst",
        "packets",
        "From your own record. Left empty: each packet alike, which flatters FEC; the answer says so.",
        empty="none",
    ),
    Ask("second_loss_pct", "lost on the second path", "%", empty="there is none"),
    Ask("second_burst_packets", "its mean burst", "packets", empty="none"),
    Ask(
        "joint_loss_pct",
        "lost on both paths together",
        "%",
        "Of all packets, as measured with two records, or what one shared duct, rack or mains supply would cost.",
        empty="independent",
    ),
    Ask("joint_burst_packets", "mean burst of those", "packets", empty="longer of both"),
    Ask(
        "joint_low_pct",
        "lost on both, surely at least",
        "%",
        "Ends of a measured 99 % interval, both or none.",
        empty="not known",
    ),
    Ask(
        "joint_high_pct",
        "lost on both, surely at most",
        "%",
        "Every figure with a second path is then no surer than that.",
        empty="not known",
    ),
)
PACKET_TIME = (Ask("packet_ms", "packet time", "ms", f"Exact: 1/3 is a third of a millisecond. {GIVEN}"),)
RECORD = (
    Ask("late_probability", "tolerated share of late packets", "", "0.0001 is one in ten thousand."),
    Ask("record_packet_ms", "packet time", "ms", empty="as measured"),
    Ask("port", "UDP port of the stream", "", "Where a capture holds several.", empty="any"),
    Ask(
        "source", "RTP source (SSRC) of the stream", "", "Where a port has several: 0xabcd1234, as the table of "
        "streams in the answer prints it. A second record follows the same source as the first.",
        empty="most packets of the whole file",
    ),
    Ask(
        "remove_drift", "take out clock drift", "",
        "Between sender and receiver. Off where one reference locks both: a true change of delay is then kept.",
    ),
)  # fmt: skip
SECOND_OF_RECORD = (
    Ask(
        "record_joint_pct",
        "lost on both paths together",
        "%",
        "Of all packets, where there is no record of the second path: it is then taken as good as the first.",
        empty="independent, assumed",
    ),
    Ask("record_joint_burst", "mean burst of those", "packets", empty="as on the path"),
)
HOLDOVER = (
    Ask("limit_us", "error to reach", "µs", empty="the service's"),
    Ask("step_degc", "away from where it was disciplined", "°C", "On the command line: none unless given."),
    Ask("swing_degc", "day and night, each way", "°C", "On the command line: none unless given."),
    Ask("reaction_h", "somebody gets there within", "h", "On the command line: none unless given."),
    Ask("locked_us", "error of a site that keeps its reference", "µs"),
)
OWN_CLOCK = (
    Ask(
        "own_frequency_offset",
        "frequency offset",
        "",
        "After disciplining, relative: 1e-10. On the command line: none unless given.",
    ),
    Ask("own_ageing_per_day", "ageing a day", "", "Relative: 5e-10. On the command line: none unless given."),
    Ask(
        "own_temperature_per_degc",
        "temperature, a °C",
        "",
        "Relative: 1e-10. On the command line: none unless given.",
    ),
)
CABLE = (
    Ask("cable_m", "length", "m", empty="not asked"),
    Ask("velocity_factor", "velocity factor"),
    Ask("entered_ns", "entered in the receiver", "ns"),
)
STANDBY = (
    Ask("standby_mbps", "rate of a standby stream", "Mbit/s", "As it is billed."),
    Ask("standby_detect_s", "loss is detected within", "s"),
    Ask("standby_called", "started on failure", "", "Otherwise it runs all the time."),
    Ask("standby_call_s", "start-up time, where started on failure", "s"),
    Ask("standby_hours", "hours a month that it is needed", "h"),
)
TARGET = (
    Ask("error_every_h", "audible errors at most every", "h", "168 h are a week."),
    Ask("greatest_latency_ms", "latency at most", "ms", empty="any"),
    Ask("greatest_mbps", "rate on each path at most", "Mbit/s", empty="any"),
)


def part(
    title: str, asks: Sequence[Ask], typed: Mapping[str, str], problems: Sequence[Problem], *, prefix: str = ""
) -> Part:
    """Inputs with what was typed, or with their defaults, and the problems at their fields."""
    names = {prefix + ask.name for ask in asks}
    fields = tuple(_field(ask, typed, problems, prefix=prefix) for ask in asks)
    return Part(title, fields, tuple(p for p in problems if p.where in names))


def elsewhere(parts: Sequence[Part], problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Problems that belong to no field of a form."""
    shown = [p for one in parts for p in one.problems]
    return tuple(p for p in problems if p not in shown)


def _field(ask: Ask, typed: Mapping[str, str], problems: Sequence[Problem], *, prefix: str) -> Field:
    """One input."""
    name = prefix + ask.name
    choices = ask.choices or tuple((option, option) for option in ask.options)
    kind: Kind = "choice" if choices else "yes or no" if ask.name in BOXES else "number"
    return Field(
        name,
        ask.label,
        kind,
        typed.get(name, USUAL.get(ask.name, "")),
        ask.unit,
        ask.help,
        bool(choices),
        ask.empty,
        choices,
        (),
        tuple(p for p in problems if p.where == name),
        ask.only_for,
    )


def release_us(form: Mapping[str, str]) -> float | None:
    """The release delay typed in milliseconds; None where nothing is.

    Raises
    ------
    PlanError
        If it is no number.
    """
    text = form.get("release_ms", "").strip()
    if not text:
        return None
    try:
        return float(number_written(text)) * 1000
    except ValueError as error:
        raise PlanError(
            [Problem("release_ms", str(error), "a number of milliseconds", code="not-a-number", fields=("release_ms",))]
        ) from None
