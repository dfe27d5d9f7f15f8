"""When the reference instant passes each reference plane of a site: what a technician should read there."""

from dataclasses import dataclass

from sfn.plan import Stage
from sfn.timing.row import DelayRow

# Planes behind every delay device; before them the reading depends on where the delay is inserted.
MEASURABLE_PLANES = ("exciter output", "coupler", "antenna")
_SECOND_US = 1_000_000.0


@dataclass(frozen=True, slots=True)
class PlaneTime:
    """When the reference instant passes one plane; `after_second_us` against one pulse per second."""

    plane: str
    stage: str
    passes_us: float
    after_second_us: float


def plane_times(row: DelayRow) -> tuple[PlaneTime, ...]:
    """The planes at which the site's launch can be measured, from the exciter to the antenna.

    Parameters
    ----------
    row : DelayRow
        One site and route, with its computed setting in force.

    Returns
    -------
    times : tuple of PlaneTime
        ``passes = launch - latency of the stages behind the plane``, counted from the reference instant, and the
        same modulo one second, for a reference instant that falls on a pulse. [us]
    """
    made: list[PlaneTime] = []
    behind_us = 0.0
    for stage, latency in zip(reversed(row.own.stages), reversed(row.own.device_us), strict=True):
        if _measurable(stage):
            passes = row.launch_us - behind_us
            made.append(PlaneTime(stage.reference_plane or "", stage.id, passes, passes % _SECOND_US))
        behind_us += float(latency)
    if not any(time.plane.startswith("antenna") for time in made):
        made.insert(0, PlaneTime("antenna", row.own.stages[-1].id, row.launch_us, row.launch_us % _SECOND_US))
    return tuple(reversed(made))


def _measurable(stage: Stage) -> bool:
    """Whether a stage ends at a plane behind the delay."""
    return (stage.reference_plane or "").lower().startswith(MEASURABLE_PLANES)
