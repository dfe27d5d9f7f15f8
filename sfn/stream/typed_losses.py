"""Losses out of typed fields: models of one path and of two, records of packets and how to read them.

The fields are those of `sfn.stream.typed`, and every problem stands at its field.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

from sfn.stream.heard import SOURCE_EXPECTED, source_number
from sfn.stream.loss import LossModel, bursts, independent
from sfn.stream.paths import PRODUCTS, Paths, paths_given
from sfn.stream.typed import Reader, Typed


def paths_of(typed: Typed) -> Paths:
    """Loss on one path, or on two where the second has a loss ratio or a joint loss is typed.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
    first = _model(reader, "")
    second = _model(reader, "second_") if typed.get("second_loss_pct", "").strip() else None
    joint_pct, burst = reader.optional("joint_loss_pct"), reader.optional("joint_burst_packets")
    interval = reader.optional("joint_low_pct"), reader.optional("joint_high_pct")
    if (interval[0] is None) != (interval[1] is None):
        missing = "joint_low_pct" if interval[0] is None else "joint_high_pct"
        reader.refuse(missing, "is empty beside the other end", "both ends of the interval", code="half-an-interval")
    most_pct = max((end for end in (joint_pct, interval[1]) if end is not None), default=None)
    if burst is not None and not (most_pct is not None and 0 < most_pct):
        why = "packets lost on both by chance come one by one" if most_pct is None else "nothing is lost on both"
        reader.refuse(
            "joint_burst_packets", f"counts for nothing: {why}", "what both paths lose together, or an empty field",
            code="idle-field",
        )  # fmt: skip
    if second is None and (joint_pct is not None or interval[1] is not None):
        second = first  # what both lose speaks of a second path: as good as the first
    reader.finish()
    assert first is not None
    found = reader.attempt(
        lambda: paths_given(
            first,
            second,
            joint_loss_ratio=None if joint_pct is None else joint_pct / 100,
            joint_burst_packets=burst,
            joint_interval_ratio=(
                None if interval[0] is None or interval[1] is None else (interval[0] / 100, interval[1] / 100)
            ),
        ),
        ("joint_loss_pct", "joint_burst_packets", "joint_high_pct"),
    )
    reader.finish()
    assert found is not None
    return found


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


def record_of(typed: Typed) -> AskedRecord:
    """How a record of packets is to be read.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
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


def _source(reader: Reader, text: str) -> int | None:
    """The RTP source to follow; None where it is left empty."""
    if not text:
        return None
    try:
        return source_number(text)
    except ValueError as error:
        reader.refuse("source", str(error), SOURCE_EXPECTED, code="not-a-source")
        return None


def packet_time_of(typed: Typed) -> float:
    """The packet time in seconds.

    Raises
    ------
    PlanError
        If it is none.
    """
    reader = Reader(typed)
    packet_ms = reader.number("packet_ms")
    if not 0 < packet_ms <= 1000:
        reader.refuse("packet_ms", f"cannot be {float(packet_ms):g}", "above 0 to 1000 ms", code="out-of-range")
    reader.finish()
    return float(packet_ms) / 1000


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


def _model(reader: Reader, prefix: str) -> LossModel | None:
    """The loss model of one path; an empty mean burst means independent loss."""
    ratio = float(reader.number(f"{prefix}loss_pct")) / 100
    burst = reader.optional(f"{prefix}burst_packets")
    names = (f"{prefix}loss_pct", f"{prefix}burst_packets")
    if burst is None:
        return reader.attempt(lambda: independent(ratio), names)
    return reader.attempt(lambda: bursts(ratio, mean_burst_packets=burst), names[::-1])
