"""Typed fields of link plans, losses and records of packets into what the engine takes, every problem at its field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from urllib.parse import parse_qsl, urlencode

from sfn.errors import Problem
from sfn.plan.stream_plan import StreamPlan
from sfn.stream.advise import Target
from sfn.stream.heard import SOURCE_EXPECTED, source_number
from sfn.stream.link import LinkPlan
from sfn.stream.paths import PRODUCTS, Paths
from sfn.stream.plan_text import losses_of, record_of, typed_of
from sfn.stream.planned import paths_of as paths_of_record, plan_of, with_protection as protected_record
from sfn.stream.protection import Protection
from webapp.forms.reader import Reader, Typed
from webapp.forms.usual import USUAL


def link_plan_of(typed: Typed) -> LinkPlan:
    """The link plan that fields describe.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    given, problems = record_of(typed)
    return _reader(problems).finish_with(lambda: plan_of(given))


def stream_plan_of(typed: Typed) -> StreamPlan:
    """The record that a stage keeps of the plan that fields describe, losses too where any are typed.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    given, problems = record_of(typed, losses=True)
    reader = _reader(problems)
    reader.finish_with(lambda: plan_of(given))
    if given.loss_pct is not None:
        paths_of_record(given)
    return given


def paths_of(typed: Typed) -> Paths:
    """Loss on one path, or on two where the second has a loss ratio or a joint loss is typed.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    given, problems = losses_of(typed)
    return _reader(problems).finish_with(lambda: paths_of_record(given))


def target_of(typed: Typed) -> Target:
    """The target and its ceilings.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed, USUAL)
    every_h, latency_ms = reader.number("error_every_h"), reader.optional("greatest_latency_ms")
    rate_mbps = reader.optional("greatest_mbps")
    latency_us = None if latency_ms is None else latency_ms * 1000
    names = ("error_every_h", "greatest_latency_ms", "greatest_mbps")
    target = reader.attempt(lambda: Target(float(every_h * 3600), latency_us, rate_mbps), names)
    reader.finish()
    assert target is not None
    return target


@dataclass(frozen=True, slots=True)
class AskedRecord:
    """How a record of packets is to be read."""

    late_probability: float
    packet_time_s: float | None
    port: int | None
    remove_drift: bool
    source: int | None = None
    """RTP source of the stream to follow; None: that with most packets."""
    joint_loss_ratio: float | None = None
    """Share of all packets that a second path, not recorded, loses together with this one, as typed."""
    joint_burst_packets: float | None = None


def asked_record_of(typed: Typed) -> AskedRecord:
    """How a record of packets is to be read.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed, USUAL)
    late, packet_ms = float(reader.number("late_probability")), reader.optional("record_packet_ms")
    port = reader.whole("port") if typed.get("port", "").strip() else None
    source = _source(reader, typed.get("source", "").strip())
    if not 0 < late <= 0.5:
        reader.refuse("late_probability", f"cannot be {late:g}", "above 0 to 0.5", code="out-of-range")
    if packet_ms is not None and not 0 < packet_ms <= 1000:
        reader.refuse("record_packet_ms", f"cannot be {packet_ms:g}", "above 0 to 1000 ms", code="out-of-range")
    joint_pct, burst = reader.optional("record_joint_pct"), reader.optional("record_joint_burst")
    if joint_pct is not None and not 0 <= joint_pct <= 100:
        reader.refuse("record_joint_pct", f"cannot be {joint_pct:g}", "0 to 100 %", code="out-of-range")
    if joint_pct is None and burst is not None:
        reader.refuse("record_joint_burst", "counts only with a share", "the share of common losses", code="idle-field")
    reader.finish()
    return AskedRecord(
        late, None if packet_ms is None else packet_ms / 1000, port, reader.yes("remove_drift"), source,
        None if joint_pct is None else joint_pct / 100, burst,
    )  # fmt: skip


def packet_time_of(typed: Typed) -> float:
    """The packet time in seconds.

    Raises
    ------
    PlanError
        If it is none.
    """
    reader = Reader(typed, USUAL)
    packet_ms = reader.number("packet_ms")
    if not 0 < packet_ms <= 1000:
        reader.refuse("packet_ms", f"cannot be {float(packet_ms):g}", "above 0 to 1000 ms", code="out-of-range")
    reader.finish()
    return float(packet_ms) / 1000


def written(typed: Typed) -> str:
    """The fields that differ from what empty ones mean as one text, for addresses."""
    return urlencode({k: v.strip() for k, v in typed.items() if v.strip() and v.strip() != USUAL.get(k, v.strip())})


def read(text: str) -> dict[str, str]:
    """The fields of such a text; unknown names are left out."""
    return {k: v for k, v in parse_qsl(text) if k in USUAL}


def address_of(held: str | StreamPlan) -> str:
    """A stage's kept plan as such a text."""
    return held if isinstance(held, str) else written(typed_of(held))


def with_protection(typed: Typed, protection: Protection) -> dict[str, str]:
    """The fields with another protection in them."""
    chosen = typed_of(protected_record(StreamPlan(), protection))
    return dict(typed) | {"columns": "", "rows": ""} | chosen


def measured_fields(found: Mapping[str, object], *, upper: bool = False) -> dict[str, str]:
    """Fields of forms from what was measured: packet time, loss, delay variation.

    Parameters
    ----------
    found : mapping
        From `sfn.study.losses.records`.
    upper : bool
        Losses and bursts at the upper ends of their 99 % intervals, for a plan that others rely on; else as fitted. The
        delay variation is at its upper end always, where the record is long enough for one. Where nothing was lost, the
        loss is the most that the record leaves room for. Of two records a plan takes the second path too, and how much
        longer it is.
    """
    high = "_high" if upper else ""
    fields = {
        "packet_ms": f"{_float(found['measured_packet_time_us']) / 1000:.6g}",
        "variation_ms": f"{_float(found['variation_high_us'] or found['variation_us']) / 1000:.4g}",
        "loss_pct": _pct(found[f"measured_loss{high}_ratio"] or found["measured_loss_high_ratio"]),
    }
    if _float(found["measured_loss_ratio"]) > 0:
        fields["burst_packets"] = f"{_float(found[f'measured_burst{high}_packets']):.4g}"
    if "second_loss_ratio" not in found:
        return fields
    if upper:
        longer_us = ceil(_float(found["second_longer_us"]))  # to the next microsecond: never short
        fields |= {"second_path": "yes", "differential_ms": f"{longer_us / 1000:.12g}"}
    fields["second_loss_pct"] = _pct(found[f"second_loss{high}_ratio"] or found["second_loss_high_ratio"])
    if found["second_burst_packets"]:
        fields["second_burst_packets"] = f"{_float(found[f'second_burst{high}_packets']):.4g}"
    most = min(float(fields["loss_pct"]), float(fields["second_loss_pct"]))
    low, high_pct = (min(float(_pct(found[f"joint_loss_{end}_ratio"])), most) for end in ("low", "high"))
    fields |= {"joint_low_pct": f"{low:.12g}", "joint_high_pct": f"{high_pct:.12g}"}
    if found["second_path_taken_as"] in PRODUCTS:
        if found["joint_burst_high_packets"]:
            fields["joint_burst_packets"] = f"{_float(found['joint_burst_high_packets']):.4g}"
    else:
        both = float(_pct(found[f"joint_loss{high}_ratio"] or found["joint_loss_high_ratio"]))
        fields["joint_loss_pct"] = f"{min(both, most):.12g}"
        burst = found[f"joint_burst{high}_packets"]
        fields["joint_burst_packets"] = f"{_float(burst):.4g}" if burst else "1"
    return fields


def _pct(ratio: object) -> str:
    """A ratio in per cent."""
    return f"{100 * _float(ratio):.6g}"


def _float(value: object) -> float:
    """A figure of an answer."""
    assert isinstance(value, float | int)
    return float(value)


def _reader(problems: Sequence[Problem]) -> Reader:
    """A reader that already knows what could not be read."""
    reader = Reader({}, {})
    reader.problems.extend(problems)
    return reader


def _source(reader: Reader, text: str) -> int | None:
    """The RTP source to follow; None where it is left empty."""
    if not text:
        return None
    try:
        return source_number(text)
    except ValueError as error:
        reader.refuse("source", str(error), SOURCE_EXPECTED, code="not-a-source")
        return None
