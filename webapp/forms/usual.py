"""What an empty field of the forms of streams, losses and clocks means: the engine's defaults, as one would type."""

from dataclasses import fields

from sfn.plan.stream_plan import StreamPlan
from sfn.stream.advise import Target
from sfn.stream.fields import LATE_PROBABILITY, USUAL as USUAL_PLAN
from sfn.stream.plan_text import typed_of
from sfn.study.clocks import AskedClocks
from sfn.study.standby_routes import AskedStandby

_OLDER = {"own_frequency_offset_ratio": "own_frequency_offset", "standby_needed_h": "standby_hours"}


def _typed(value: object) -> str:
    """A default as one would type it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.12g}" if isinstance(value, float | int) else str(value)


def field_name(key: str) -> str:
    """The form's name of a key of the engine's records: two names are older than their units, and kept."""
    return _OLDER.get(key, key)


USUAL: dict[str, str] = (
    dict.fromkeys(StreamPlan.model_fields, "")
    | typed_of(USUAL_PLAN)
    | {"error_every_h": _typed(Target().error_every_s / 3600), "greatest_latency_ms": "", "greatest_mbps": ""}
    | {"late_probability": _typed(LATE_PROBABILITY), "remove_drift": "yes"}
    | dict.fromkeys(("record_packet_ms", "port", "source", "record_joint_pct", "record_joint_burst"), "")
    | {field_name(one.name): _typed(one.default) for one in fields(AskedClocks) if one.name != "kinds"}
    | {field_name(one.name): _typed(one.default) for one in fields(AskedStandby)}
)
