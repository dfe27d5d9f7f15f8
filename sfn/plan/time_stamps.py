"""What the time stamps of a network mean."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from sfn.plan.record import Id, Record


def _one_or_more(given: object) -> object:
    """One id stands for a list of one; JSON knows no tuples."""
    return (given,) if isinstance(given, str) else tuple(given) if isinstance(given, list) else given


class TimeStamps(Record):
    """What the network's time stamps mean."""

    meaning: Literal["origin", "emission", "unknown"]
    """origin: every stage adds to the stamp; emission: the stamp is the instant at a plane; unknown: not known yet."""
    plane: Annotated[tuple[Id, ...], Field(min_length=1), BeforeValidator(_one_or_more)] | None = None
    """With emission: the stage behind which the stamp holds, or a list, one for each chain with a device of its own."""
    wrap_s: Annotated[float, Field(gt=0, le=1e6)] | None = 1.0
    """Time after which stamps repeat. [s]"""
