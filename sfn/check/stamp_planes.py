"""Where a section's own reference plane contradicts the plane that the time stamps name."""

from collections.abc import Iterator, Sequence

from sfn.chain import TIME_STAMPED, stage_latency
from sfn.check.stamp_meaning import SAME_US, Stamped
from sfn.errors import Problem
from sfn.plan import Network, Stage, TimeStamps

MODULATOR = "modulator"


def planes_contradict(network: Network, stamps: TimeStamps, one: Stamped) -> Iterator[Problem]:
    """One chain with emission at a plane, whose section says that its release holds at another.

    Parameters
    ----------
    network : Network
    stamps : TimeStamps
        With the meaning emission and a plane.
    one : Stamped

    Returns
    -------
    problems : iterator of Problem
        With ``doubt_us``: what the stages between the two planes take. A plane in words that no stage of the chain
        answers to says nothing.
    """
    named = next((i for i in reversed(range(len(one.own))) if one.own[i].id in (stamps.plane or ())), None)
    if named is None:
        return
    section = next((i for i in reversed(range(named + 1)) if one.own[i].kind == TIME_STAMPED), None)
    if section is None:
        return
    said = one.own[section].reference_plane
    held = _end_of(one.own, section, (said or "").strip().lower())
    if held is None or held == named:
        return
    between = one.own[min(held, named) + 1 : max(held, named) + 1]
    worth_us = abs(float(sum(stage_latency(stage, refractivity_n=network.refractivity_n) for stage in between)))
    if worth_us < SAME_US:
        return
    ids = ", ".join(stage.id for stage in between)
    yield Problem(
        "time_stamps.plane",
        f"{one.who}: section {one.own[section].id} says that its release holds at the {said}, time_stamps.plane that "
        f"stamps hold behind {one.own[named].id}: {worth_us:.10g} us between them ({ids}) are counted by the one and "
        "not by the other",
        f"the same plane in both: {one.own[held].id} in time_stamps.plane, or the section's reference_plane corrected",
        "warning",
        code="stamp-plane-contradicts",
        touches=(one.touch,),
        stages=(one.own[section].id, *(stage.id for stage in between)),
        fields=("reference_plane", "plane"),
        values={"doubt_us": worth_us},
        said={
            "stage": one.own[section].id,
            "plane": said,
            "named": one.own[named].id,
            "held": one.own[held].id,
            "between": ids,
            "worth_full_us": worth_us,
        },
    )


def _end_of(own: Sequence[Stage], section: int, said: str) -> int | None:
    """The last stage that a section's plane in words holds behind; the section itself where it holds before all."""
    if not said:
        return None
    behind = range(section + 1, len(own))
    for i in behind:
        plane = (own[i].reference_plane or "").strip().lower()
        if plane and (plane.startswith(said) or said.startswith(plane)):
            return i
    modulators = [i for i in behind if own[i].kind == MODULATOR]
    if said.startswith("exciter input"):
        return modulators[0] - 1 if modulators else section
    if said.startswith("exciter output"):
        return modulators[-1] if modulators else section
    return len(own) - 1 if said.startswith("antenna") else None
