"""Names of the typed fields of stream plans, losses and clocks, what each may be, and what an empty one means."""

PAYLOADS = (
    "analogue composite", "digital composite", "left and right, linear", "compressed audio", "DAB ensemble",
    "transport stream", "other",
)  # fmt: skip
PARITIES = ("none", "row", "column", "both")
DEFAULTS = {
    "payload": "digital composite", "highest_khz": "60", "composite_rate_khz": "", "transition_khz": "", "bits": "24",
    "channels": "", "sample_rate_khz": "48",
    "coded_kbps": "256", "frame_ms": "20", "look_ahead_ms": "0", "subchannels_kbps": "96, 96, 96, 96, 96, 96",
    "g703": "no", "transport_mbps": "22.39", "rate_kbps": "64", "packet_ms": "1", "ip": "4", "vlan_tags": "0",
    "tunnel_bytes": "0", "mtu_bytes": "1500", "parity": "none", "columns": "5", "rows": "10", "parity_spread": "no",
    "repeat_after": "0", "second_path": "no", "link_mbps": "", "link_layer": "wire", "hops": "1", "network_ms": "0",
    "variation_ms": "0", "differential_ms": "0", "sender_ms": "0", "receiver_ms": "0", "time_stamped": "yes",
    "adapting": "no", "loss_pct": "0.01", "burst_packets": "4", "second_loss_pct": "", "second_burst_packets": "",
    "joint_loss_pct": "", "joint_burst_packets": "", "joint_low_pct": "", "joint_high_pct": "",
    "error_every_h": "168", "greatest_latency_ms": "", "greatest_mbps": "", "late_probability": "0.0001",
    "record_packet_ms": "", "port": "", "source": "", "remove_drift": "yes",
    "record_joint_pct": "", "record_joint_burst": "",
    "limit_us": "", "step_degc": "5", "swing_degc": "5", "reaction_h": "2", "locked_us": "0.1",
    "own_frequency_offset": "1e-10", "own_ageing_per_day": "5e-10", "own_temperature_per_degc": "1e-10",
    "cable_m": "", "velocity_factor": "0.83", "entered_ns": "0",
    "standby_mbps": "1.5", "standby_detect_s": "1", "standby_call_s": "5", "standby_hours": "2", "standby_called": "no",
}  # fmt: skip
OWN_PACKETS = ("compressed audio", "DAB ensemble", "transport stream")  # an empty packet time means their usual one
