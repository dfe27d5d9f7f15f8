"""What a key of a stream plan may be, and what holds where it is left out: in forms, commands and documents alike."""

from typing import get_args

from sfn.plan.stream_plan import Parity, PayloadKind, StreamPlan

PAYLOADS: tuple[str, ...] = get_args(PayloadKind)
PARITIES: tuple[str, ...] = get_args(Parity)
OWN_PACKETS = ("compressed audio", "DAB ensemble", "transport stream")  # their packet time is usual where none is given
USUAL = StreamPlan(
    payload="digital composite",
    highest_khz=60,
    bits=24,
    sample_rate_khz=48,
    coded_kbps=256,
    frame_ms=20,
    look_ahead_ms=0,
    subchannels_kbps=(96.0,) * 6,
    g703=False,
    transport_mbps=22.39,
    rate_kbps=64,
    packet_ms=1,
    ip=4,
    vlan_tags=0,
    tunnel_bytes=0,
    mtu_bytes=1500,
    parity="none",
    columns=5,
    rows=10,
    parity_spread=False,
    repeat_after=0,
    second_path=False,
    link_layer="wire",
    hops=1,
    network_ms=0,
    variation_ms=0,
    differential_ms=0,
    sender_ms=0,
    receiver_ms=0,
    time_stamped=True,
    adapting=False,
    loss_pct=0.01,
)
LATE_PROBABILITY = 1e-4
"""Share of packets that may come too late, where nothing else is said."""
PAYLOAD_KEYS: dict[str, tuple[str, ...]] = {
    "analogue composite": ("highest_khz", "composite_rate_khz", "transition_khz", "bits"),
    "digital composite": ("bits", "channels"),
    "left and right, linear": ("sample_rate_khz", "bits", "channels"),
    "compressed audio": ("coded_kbps", "frame_ms", "look_ahead_ms"),
    "DAB ensemble": ("subchannels_kbps", "g703"),
    "transport stream": ("transport_mbps",),
    "other": ("rate_kbps",),
}
"""Keys that count for each payload."""
HEADER_KEYS = ("ip", "vlan_tags", "tunnel_bytes")
LINK_KEYS = (
    "link_mbps", "link_layer", "hops", "network_ms", "variation_ms", "differential_ms", "sender_ms", "receiver_ms",
    "mtu_bytes", "time_stamped", "adapting",
)  # fmt: skip
LOSS_KEYS = (
    "loss_pct", "burst_packets", "second_loss_pct", "second_burst_packets", "joint_loss_pct", "joint_burst_packets",
    "joint_low_pct", "joint_high_pct",
)  # fmt: skip
