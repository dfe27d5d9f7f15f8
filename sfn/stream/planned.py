"""A link plan and its losses out of the record that a stage keeps, every problem at its key."""

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from typing import Any, TypeVar

from sfn.errors import PlanError, Problem
from sfn.plan.stream_plan import StreamPlan, exactly
from sfn.stream import payload as payloads
from sfn.stream.composite import composite
from sfn.stream.fields import HEADER_KEYS, LINK_KEYS, LOSS_KEYS, OWN_PACKETS, PAYLOAD_KEYS, USUAL
from sfn.stream.link import Link, LinkPlan, link_plan
from sfn.stream.loss import LossModel, bursts, independent
from sfn.stream.packet import Headers, packet_of
from sfn.stream.paths import Paths, paths_given
from sfn.stream.payload import Payload
from sfn.stream.protection import Protection

T = TypeVar("T")


def plan_of(given: StreamPlan) -> LinkPlan:
    """The link plan that a record describes.

    Parameters
    ----------
    given : StreamPlan
        What it leaves out has its usual value, see `sfn.stream.fields.USUAL`.

    Returns
    -------
    plan : LinkPlan

    Raises
    ------
    PlanError
        With every problem at its key.
    """
    held = _Held(given)
    payload = held.attempt(lambda: _payload(held), PAYLOAD_KEYS[held.value("payload")])
    headers = held.attempt(
        lambda: Headers(
            rtp=payload is None or payload.uses_rtp,
            ip_version=held.value("ip"),
            vlan_tags=held.value("vlan_tags"),
            tunnel_bytes=held.value("tunnel_bytes"),
        ),
        HEADER_KEYS,
    )
    protection = held.attempt(lambda: _protection(held), ("columns", "rows", "repeat_after"))
    link = held.attempt(lambda: _link(held), LINK_KEYS)
    packet = None
    if payload is not None:
        usual = given.packet_ms is None and held.value("payload") in OWN_PACKETS
        time_s = None if usual else held.exact("packet_ms") / 1000
        packet = held.attempt(lambda: packet_of(payload, time_s=time_s), ("packet_ms",))
    held.finish()
    assert payload is not None
    assert packet is not None
    assert headers is not None
    assert protection is not None
    assert link is not None
    return link_plan(payload, packet, headers=headers, protection=protection, link=link)


def paths_of(given: StreamPlan) -> Paths:
    """Loss on one path, or on two where the second has a loss ratio or a joint loss is given.

    Raises
    ------
    PlanError
        With every problem at its key.
    """
    held = _Held(given)
    first = _model(held, "")
    second = None if given.second_loss_pct is None else _model(held, "second_")
    joint_pct, burst = held.optional("joint_loss_pct"), held.optional("joint_burst_packets")
    interval = held.optional("joint_low_pct"), held.optional("joint_high_pct")
    if (interval[0] is None) != (interval[1] is None):
        missing = "joint_low_pct" if interval[0] is None else "joint_high_pct"
        held.refuse(missing, "is empty beside the other end", "both ends of the interval", code="half-an-interval")
    most_pct = max((end for end in (joint_pct, interval[1]) if end is not None), default=None)
    if burst is not None and not (most_pct is not None and 0 < most_pct):
        follow = "of independent paths, the bursts of what both lose follow from the bursts of each"
        why = follow if most_pct is None else "nothing is lost on both"
        held.refuse(
            "joint_burst_packets", f"counts for nothing: {why}", "what both paths lose together, or an empty field",
            code="idle-field",
        )  # fmt: skip
    if second is None and (joint_pct is not None or interval[1] is not None):
        second = first  # what both lose speaks of a second path: as good as the first
    held.finish()
    assert first is not None
    found = held.attempt(
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
    held.finish()
    assert found is not None
    return found


def with_protection(given: StreamPlan, protection: Protection) -> StreamPlan:
    """The record with another protection in it."""
    row, column = protection.row_parity, protection.column_parity
    parity = "both" if row and column else "row" if row else "column" if column else "none"
    return given.model_copy(
        update={
            "parity": parity,
            "columns": protection.columns if row or column else None,
            "rows": protection.rows if column else None,
            "parity_spread": protection.parity_spread,
            "repeat_after": protection.repeat_after,
            "second_path": protection.second_path,
        }
    )


class _Held:
    """Values of a record or the usual ones, and what is wrong with them."""

    def __init__(self, given: StreamPlan) -> None:
        self._given = given
        self.problems: list[Problem] = []

    def value(self, key: str) -> Any:
        """What the record has, or the usual value."""
        given = getattr(self._given, key)
        return getattr(USUAL, key) if given is None else given

    def exact(self, key: str) -> Fraction:
        """A number exactly as it was written, or the usual one."""
        return exactly(self.value(key))

    def us(self, key: str) -> float:
        """Milliseconds as microseconds."""
        return float(self.exact(key) * 1000)

    def optional(self, key: str) -> float | None:
        """A number, None where the record leaves it out."""
        given = getattr(self._given, key)
        return None if given is None else float(exactly(given))

    def attempt(self, make: Callable[[], T], keys: Sequence[str]) -> T | None:
        """What `make` gives; what it refuses becomes a problem at the key that its text begins with."""
        try:
            return make()
        except ValueError as error:
            self.refuse(key_of(str(error), keys), str(error), "", code="stream-plan-refused")
        return None

    def refuse(self, key: str, what: str, expected: str, *, code: str) -> None:
        """Something wrong with one key, kept until all are looked at."""
        self.problems.append(Problem(key, what, expected, code=code, fields=(key,)))

    def finish(self) -> None:
        """Refuse when anything was wrong."""
        if self.problems:
            raise PlanError(self.problems)


def key_of(refusal: str, keys: Iterable[str]) -> str:
    """The key of an argument that was refused, the first word of the refusal: one name holds the other.

    Examples
    --------
    >>> key_of("network_us must be from 0 to 6e+07 us, got -1", ("hops", "network_ms"))
    'network_ms'
    """
    argument, names = refusal.split(" ", 1)[0], list(keys)
    close = [name for name in names if name.rsplit("_", 1)[0] in argument or argument in name]
    same_unit = [name for name in names if name.rsplit("_", 1)[-1] == argument.rsplit("_", 1)[-1]]
    return (close or same_unit or names)[0]


def _payload(held: _Held) -> Payload:
    """The payload, by its kind."""
    channels = held.value("channels")
    makers: dict[str, Callable[[], Payload]] = {
        "analogue composite": lambda: _composite(held),
        "digital composite": lambda: payloads.digital_composite(
            bits=held.value("bits"), channels=1 if channels is None else channels
        ),
        "left and right, linear": lambda: payloads.linear(
            int(held.exact("sample_rate_khz") * 1000),
            bits=held.value("bits"),
            channels=2 if channels is None else channels,
        ),
        "compressed audio": lambda: payloads.compressed(
            held.exact("coded_kbps"), frame_ms=held.exact("frame_ms"), look_ahead_ms=held.exact("look_ahead_ms")
        ),
        "DAB ensemble": lambda: payloads.dab_ensemble(list(held.value("subchannels_kbps")), g703=held.value("g703")),
        "transport stream": lambda: payloads.transport_stream(held.exact("transport_mbps")),
        "other": lambda: payloads.constant_rate(held.exact("rate_kbps")),
    }
    return makers[held.value("payload")]()


def _composite(held: _Held) -> Payload:
    """An analogue composite; its rate and its filter's transition are the user's where they are given."""
    rate_khz = held.optional("composite_rate_khz")
    return composite(
        held.exact("highest_khz"),
        bits=held.value("bits"),
        sample_rate_hz=None if rate_khz is None else round(rate_khz * 1000),
        transition_khz=held.optional("transition_khz"),
    )


def _protection(held: _Held) -> Protection:
    """The protection; a matrix counts only with parity."""
    parity = held.value("parity")
    row, column = parity in ("row", "both"), parity in ("column", "both")
    columns = held.value("columns") if row or column else 0
    return Protection(
        columns=columns,
        rows=held.value("rows") if column else min(columns, 1),
        row_parity=row,
        column_parity=column,
        parity_spread=held.value("parity_spread"),
        repeat_after=held.value("repeat_after"),
        second_path=held.value("second_path"),
    )


def _link(held: _Held) -> Link:
    """The link."""
    return Link(
        capacity_mbps=held.optional("link_mbps"),
        capacity_layer=held.value("link_layer"),
        hops=held.value("hops"),
        network_us=held.us("network_ms"),
        variation_us=held.us("variation_ms"),
        differential_us=held.us("differential_ms"),
        sender_us=held.us("sender_ms"),
        receiver_us=held.us("receiver_ms"),
        mtu_bytes=held.value("mtu_bytes"),
        time_stamped=held.value("time_stamped"),
        adapting=held.value("adapting"),
    )


def _model(held: _Held, prefix: str) -> LossModel | None:
    """The loss model of one path; without a mean burst losses are independent."""
    ratio = float(held.exact(f"{prefix}loss_pct")) / 100
    burst = held.optional(f"{prefix}burst_packets")
    keys = tuple(key for key in LOSS_KEYS if key in (f"{prefix}loss_pct", f"{prefix}burst_packets"))
    if burst is None:
        return held.attempt(lambda: independent(ratio), keys)
    return held.attempt(lambda: bursts(ratio, mean_burst_packets=burst), keys[::-1])
