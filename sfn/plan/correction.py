"""What measurements have already changed in the document, so that no measurement counts twice."""

from datetime import datetime
from typing import Annotated

from pydantic import Field, model_validator

from sfn.plan.record import Id, Record

Mark = Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
Instant = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z$")]


class Measured(Record):
    """A measurement that a correction rests on, as it came: those of the same settings count together."""

    when: str
    point: str
    lat_deg: float
    lon_deg: float
    site: str
    reference_site: str
    delay_difference_us: float
    uncertainty_us: float
    reference_plane: str
    by: str
    rx_ground_m: float | None = None
    response: str = ""
    shared_uncertainty_us: float | None = None
    instrument: str = ""
    doubt: str = ""
    """What was doubtful of what it was made of, as its row said."""
    settings_us: dict[str, float] | None = None
    """What the fields of its sites contributed when it was measured, where that was known by itself. [us]"""


class Correction(Record):
    """Launch errors that stages took up, and the settings that were in force when they were measured.

    There is one for each set of settings: what is measured later with the same ones refines it, and never adds to it.
    """

    taken_at: Instant
    """When, in UTC: the new settings did not exist before."""
    rows: Annotated[tuple[Mark, ...], Field(max_length=20_000)]
    """Marks of the measurements that it rests on."""
    set_us: dict[str, float]
    """What the delay fields of each site contributed while these measurements were made, by site. [us]"""
    stages: dict[str, Id]
    """Stage that took the error up, by site."""
    amounts_us: dict[str, float]
    """What the latency of that stage grew by, by site. [us]"""
    measured: Annotated[tuple[Measured, ...], Field(max_length=20_000)] | None = None
    """The measurements themselves; documents of before have their marks alone."""

    @model_validator(mode="after")
    def _is_an_instant(self) -> "Correction":
        """Digits of the right form may still be no day."""
        try:
            datetime.fromisoformat(self.taken_at)
        except ValueError:
            raise ValueError(f"taken_at {self.taken_at} is no time; as 2026-09-14T08:30:00Z, in UTC") from None
        return self
