"""Sizes and bounds, kept before memory is taken; a refusal names the number that would be accepted."""

from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.units import grouped


@dataclass(frozen=True, slots=True)
class Limits:
    """What one request may ask for."""

    body_bytes: int = 8_000_000
    """An ordinary request: a form, or a document of 200 sites with 30 stages each, several times over."""
    upload_bytes: int = 4_500_000_000
    """A request to an address that takes files: an hour of 192 kHz stereo in 24 bits is 4.15e9, as is much terrain."""
    grid_points: int = 4_000_000
    """Receiving points of one map."""
    form_fields: int = 20_000
    """Fields of one form."""
    running_jobs: int = 2
    """Long computations at a time: one a core."""
    waiting_jobs: int = 16
    """Long computations that may wait for their turn."""


def bounded(name: str, value: int, *, greatest: int, unit: str) -> int:
    """Return `value` when it is within its bound.

    Raises
    ------
    PlanError
        If it is not; says the number that would be accepted.
    """
    if value > greatest:
        problem = Problem(
            where=name,
            what=f"{grouped(value)} {unit} are more than one request may ask for",
            expected=f"at most {grouped(greatest)} {unit}",
            code="beyond-a-limit",
            fields=(name,),
            values={"asked": value, "most": greatest},
        )
        raise PlanError([problem])
    return value
