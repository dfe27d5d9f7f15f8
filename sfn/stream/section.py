"""A planned stream as the transport section of a site's chain: stages of the network document.

With time stamps it is one section with its release delay and, inside, what that must cover; without, a stage with the
whole latency whose tolerance is the delay variation, new at every restart.
"""

from collections.abc import Mapping
from hashlib import sha256

from sfn.stream.link import LinkPlan

KINDS = {
    "conversion and coding": "encoder",
    "look-ahead of the coding": "encoder",
    "gathering a frame": "packetising",
    "filling a packet": "packetising",
    "serialisation": "network",
    "network, least": "network",
    "waiting for the repeat": "loss protection",
    "waiting for parity": "loss protection",
    "second path is longer": "network",
}
# Covered by the section's own fields, not by stages inside it.
OWN = ("delay variation", "decoding and conversion")


def source_note(plan: LinkPlan, *, revision: int) -> str:
    """Where the figures come from: ``computed from stream plan, revision n``, with the plan's mark."""
    return f"computed from stream plan, revision {revision} ({mark(plan)})"


def mark(plan: LinkPlan) -> str:
    """Eight letters that change when anything changes that the latency rests on.

    A stage whose note carries another mark than the plan of today is stale, and so is every delay that rests on it.
    """
    parts = (plan.payload, plan.packet, plan.headers, plan.protection, plan.link)
    return sha256(repr(parts).encode()).hexdigest()[:8]


def is_stale(note: str, plan: LinkPlan) -> bool:
    """Whether a stage's note was written for another plan than this."""
    return f"({mark(plan)})" not in note


def stages(
    plan: LinkPlan,
    *,
    prefix: str,
    revision: int,
    release_us: float | None = None,
    stream_plan: Mapping[str, object] | None = None,
) -> list[dict[str, object]]:
    """The plan as stages of the network document, to be checked by it like typed ones.

    Parameters
    ----------
    plan : LinkPlan
    prefix : str
        Beginning of the stages' ids.
    revision : int
        Of the plan, named in each note.
    release_us : float, optional
        Release delay in force; the least that covers the plan, rounded up to whole milliseconds, when not given. [us]
    stream_plan : mapping, optional
        The plan's record (`sfn.plan.stream_plan.StreamPlan.in_document`), kept in the stage so that it can be opened
        again.

    Returns
    -------
    stages : list of dict
        Those inside a time-stamped section first, the one for the chain last.

    Raises
    ------
    ValueError
        If the release delay does not cover the plan.
    """
    note = source_note(plan, revision=revision)
    kept: dict[str, object] = {} if stream_plan is None else {"stream_plan": dict(stream_plan)}
    if not plan.link.time_stamped:
        whole: dict[str, object] = {
            "id": prefix, "kind": "other", "latency_us": plan.latency_us, "tolerance_us": plan.tolerance_us,
            "tolerance_kind": "restart", "source": "computed", "adapts": plan.link.adapting, "note": note, **kept,
        }  # fmt: skip
        return [whole]
    least_us = plan.latency_us
    chosen_us = float(-(-least_us // 1000) * 1000) if release_us is None else release_us
    if chosen_us < least_us:
        raise ValueError(f"release_us must be at least {least_us:.1f} us to cover the plan, got {chosen_us:g}")
    inside: list[dict[str, object]] = [
        {
            "id": f"{prefix}-{n}", "kind": KINDS[e.name], "latency_us": e.latency_us, "tolerance_us": 0,
            "tolerance_kind": "model", "source": "computed", "note": f"{e.name}: {e.how}; {note}",
        }
        for n, e in enumerate((e for e in plan.elements if e.name not in OWN and e.latency_us > 0), start=1)
    ]  # fmt: skip
    section: dict[str, object] = {
        "id": prefix, "kind": "time-stamped section", "release_delay_us": chosen_us,
        "inside": [stage["id"] for stage in inside], "jitter_margin_us": plan.link.variation_us,
        "least_processing_us": plan.link.receiver_us, "tolerance_us": 0, "tolerance_kind": "unit",
        "source": "computed", "note": note, **kept,
    }  # fmt: skip
    return [*inside, section]
