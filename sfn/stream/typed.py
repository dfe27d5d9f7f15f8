"""A stream plan, a loss model and a target out of typed fields, every problem at its field.

The same names serve forms, saved plans (``stream_plan`` of a stage) and addresses. An empty field takes its default
here; a field that a payload does not need is not looked at.
"""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar
from urllib.parse import parse_qsl, urlencode

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import number_written
from sfn.stream import payload as payloads
from sfn.stream.advise import Target
from sfn.stream.composite import composite
from sfn.stream.fields import DEFAULTS, OWN_PACKETS, PARITIES
from sfn.stream.link import Link, LinkPlan, link_plan
from sfn.stream.packet import Headers, packet_of
from sfn.stream.payload import Payload
from sfn.stream.protection import Protection

Typed = Mapping[str, str]
T = TypeVar("T")


class Reader:
    """Reads fields and gathers what is wrong with them; `finish` refuses when anything was."""

    def __init__(self, typed: Typed) -> None:
        self._typed = typed
        self.problems: list[Problem] = []

    def text(self, name: str) -> str:
        """What was typed, or the default."""
        given = self._typed.get(name, "").strip()
        return given or DEFAULTS.get(name, "")

    def number(self, name: str) -> Fraction:
        """An exact number: 2.5, 2,5 or 1/3."""
        text = self.text(name)
        above, stroke, below = text.partition("/")
        try:
            return number_written(above) / (number_written(below) if stroke else 1)
        except ValueError as error:
            self.refuse(name, str(error), "a number, such as 2.5 or 1/3", code="not-a-number")
        except ZeroDivisionError:
            self.refuse(name, f"{text!r} divides by 0", "a number, such as 2.5 or 1/3", code="divides-by-zero")
        return Fraction(1)

    def whole(self, name: str) -> int:
        """A whole number."""
        value = self.number(name)
        if value.denominator != 1:
            self.refuse(name, f"cannot be {self.text(name)!r}", "a whole number", code="not-a-whole-number")
        return int(value)

    def optional(self, name: str) -> float | None:
        """A number, None when left empty."""
        return float(self.number(name)) if self._typed.get(name, "").strip() else None

    def us(self, name: str) -> float:
        """Milliseconds as microseconds."""
        return float(self.number(name) * 1000)

    def yes(self, name: str) -> bool:
        """A box."""
        return self.text(name) == "yes"

    def attempt(self, make: Callable[[], T], names: Sequence[str]) -> T | None:
        """What `make` gives; what it refuses becomes a problem at the field that its text begins with."""
        try:
            return make()
        except ValueError as error:
            argument = str(error).split(" ", 1)[0]
            self.refuse(_field_of(argument, names), str(error), "", code="stream-plan-refused")
        return None

    def refuse(self, name: str, what: str, expected: str, *, code: str) -> None:
        """Something wrong with one field, kept until all are read."""
        self.problems.append(Problem(name, what, expected, code=code, fields=(name,)))

    def finish(self) -> None:
        """Refuse when anything was wrong."""
        if self.problems:
            raise PlanError(self.problems)


def _field_of(argument: str, names: Sequence[str]) -> str:
    """The field of an argument that was refused: one name holds the other."""
    close = [name for name in names if name.rsplit("_", 1)[0] in argument or argument in name]
    same_unit = [name for name in names if name.rsplit("_", 1)[-1] == argument.rsplit("_", 1)[-1]]
    return (close or same_unit or list(names))[0]


def plan_of(typed: Typed) -> LinkPlan:
    """The stream plan that fields describe.

    Parameters
    ----------
    typed : mapping of field name to text

    Returns
    -------
    plan : LinkPlan

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
    payload = _payload(reader)
    headers = reader.attempt(
        lambda: Headers(
            rtp=payload is None or payload.uses_rtp,
            ip_version=reader.whole("ip"),
            vlan_tags=reader.whole("vlan_tags"),
            tunnel_bytes=reader.whole("tunnel_bytes"),
        ),
        ("ip", "vlan_tags", "tunnel_bytes"),
    )
    protection, link = _protection(reader), _link(reader)
    packet = None
    if payload is not None:
        usual = not typed.get("packet_ms", "").strip() and reader.text("payload") in OWN_PACKETS
        time_s = None if usual else reader.number("packet_ms") / 1000
        packet = reader.attempt(lambda: packet_of(payload, time_s=time_s), ("packet_ms",))
    reader.finish()
    assert payload is not None
    assert packet is not None
    assert headers is not None
    assert protection is not None
    assert link is not None
    return link_plan(payload, packet, headers=headers, protection=protection, link=link)


def target_of(typed: Typed) -> Target:
    """The target and its ceilings.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
    every_h, latency_ms = reader.number("error_every_h"), reader.optional("greatest_latency_ms")
    rate_mbps = reader.optional("greatest_mbps")
    latency_us = None if latency_ms is None else latency_ms * 1000
    names = ("error_every_h", "greatest_latency_ms", "greatest_mbps")
    target = reader.attempt(lambda: Target(float(every_h * 3600), latency_us, rate_mbps), names)
    reader.finish()
    assert target is not None
    return target


def written(typed: Typed) -> str:
    """The fields that differ from their defaults as one text, for addresses and saved plans.

    A mean burst is written whatever it is: left out it would mean that packets are lost independently.
    """
    kept = {
        k: v.strip()
        for k, v in typed.items()
        if k in DEFAULTS and v.strip() and (v.strip() != DEFAULTS[k] or k == "burst_packets")
    }
    return urlencode(kept)


def read(text: str) -> dict[str, str]:
    """The fields of such a text; unknown names are left out."""
    return {k: v for k, v in parse_qsl(text) if k in DEFAULTS}


def _payload(reader: Reader) -> Payload | None:
    """The payload, by its kind."""
    kind = reader.text("payload")
    channels = reader.optional("channels")
    makers: dict[str, tuple[Callable[[], Payload], tuple[str, ...]]] = {
        "analogue composite": (
            lambda: _composite(reader),
            ("highest_khz", "composite_rate_khz", "transition_khz", "bits"),
        ),
        "digital composite": (
            lambda: payloads.digital_composite(bits=reader.whole("bits"), channels=int(channels or 1)),
            ("bits", "channels"),
        ),
        "left and right, linear": (
            lambda: payloads.linear(
                int(reader.number("sample_rate_khz") * 1000), bits=reader.whole("bits"), channels=int(channels or 2)
            ),
            ("sample_rate_khz", "bits", "channels"),
        ),
        "compressed audio": (
            lambda: payloads.compressed(
                reader.number("coded_kbps"),
                frame_ms=reader.number("frame_ms"),
                look_ahead_ms=reader.number("look_ahead_ms"),
            ),
            ("coded_kbps", "frame_ms", "look_ahead_ms"),
        ),
        "DAB ensemble": (
            lambda: payloads.dab_ensemble(_list(reader, "subchannels_kbps"), g703=reader.yes("g703")),
            ("subchannels_kbps",),
        ),
        "transport stream": (
            lambda: payloads.transport_stream(reader.number("transport_mbps")),
            ("transport_mbps",),
        ),
        "other": (lambda: payloads.constant_rate(reader.number("rate_kbps")), ("rate_kbps",)),
    }
    if kind not in makers:
        reader.refuse("payload", f"cannot be {kind!r}", f"one of {', '.join(makers)}", code="not-on-offer")
        return None
    return reader.attempt(*makers[kind])


def _composite(reader: Reader) -> Payload:
    """An analogue composite; its rate and its filter's transition are the user's where they are typed."""
    rate_khz = reader.optional("composite_rate_khz")
    return composite(
        reader.number("highest_khz"),
        bits=reader.whole("bits"),
        sample_rate_hz=None if rate_khz is None else round(rate_khz * 1000),
        transition_khz=reader.optional("transition_khz"),
    )


def _list(reader: Reader, name: str) -> list[float]:
    """Numbers with commas or spaces between them."""
    text = reader.text(name)
    try:
        return [float(piece) for piece in text.replace(",", " ").split()]
    except ValueError:
        raise ValueError(f"{name} must be numbers with commas between them, got {text!r}") from None


def _protection(reader: Reader) -> Protection | None:
    """The protection; a matrix counts only with parity."""
    parity = reader.text("parity")
    if parity not in PARITIES:
        reader.refuse("parity", f"cannot be {parity!r}", f"one of {', '.join(PARITIES)}", code="not-on-offer")
        return None
    row, column = parity in ("row", "both"), parity in ("column", "both")
    columns = reader.whole("columns") if row or column else 0
    rows = reader.whole("rows") if column else min(columns, 1)
    return reader.attempt(
        lambda: Protection(
            columns=columns,
            rows=rows,
            row_parity=row,
            column_parity=column,
            parity_spread=reader.yes("parity_spread"),
            repeat_after=reader.whole("repeat_after"),
            second_path=reader.yes("second_path"),
        ),
        ("columns", "rows", "repeat_after"),
    )


def _link(reader: Reader) -> Link | None:
    """The link."""
    names = (
        "link_mbps", "link_layer", "hops", "network_ms", "variation_ms", "differential_ms", "sender_ms", "receiver_ms",
        "mtu_bytes",
    )  # fmt: skip
    capacity = reader.optional("link_mbps")
    return reader.attempt(
        lambda: Link(
            capacity_mbps=capacity,
            capacity_layer=reader.text("link_layer"),
            hops=reader.whole("hops"),
            network_us=reader.us("network_ms"),
            variation_us=reader.us("variation_ms"),
            differential_us=reader.us("differential_ms"),
            sender_us=reader.us("sender_ms"),
            receiver_us=reader.us("receiver_ms"),
            mtu_bytes=reader.whole("mtu_bytes"),
            time_stamped=reader.yes("time_stamped"),
            adapting=reader.yes("adapting"),
        ),
        names,
    )


def with_protection(typed: Typed, protection: Protection) -> dict[str, str]:
    """The fields with another protection in them."""
    row, column = protection.row_parity, protection.column_parity
    parity = PARITIES[row + 2 * column] if not (row and column) else "both"
    return dict(typed) | {
        "parity": parity,
        "columns": str(protection.columns) if row or column else "",
        "rows": str(protection.rows) if column else "",
        "parity_spread": "yes" if protection.parity_spread else "no",
        "repeat_after": str(protection.repeat_after),
        "second_path": "yes" if protection.second_path else "no",
    }
