"""Planned states of a network: how it is to stand from a day on, beside how it stands today."""

from datetime import date
from typing import Annotated

from pydantic import Field, model_validator

from sfn.plan.record import Day, Id, Latency, Name, Record, Text

TODAY = "today"
"""What the plan itself is called among its states; no state may bear this name."""


class PlannedChange(Record):
    """What is otherwise at one site in a planned state; what is not given stays as it is today."""

    site: Id
    """The site that changes."""
    on_air: bool | None = None
    """Whether it radiates then."""
    power_db: Annotated[float, Field(ge=-60, le=30)] | None = None
    """Added to its effective radiated power in both planes; -3 halves it. [dB]"""
    offset_us: Annotated[float, Field(ge=-60_000_000, le=60_000_000)] | None = None
    """Its timing offset then, positive = later. [us]"""
    route: Annotated[str, Field(min_length=1, max_length=60)] | None = None
    """The route that it is fed by then; it must have it."""

    @model_validator(mode="after")
    def _changes_something(self) -> "PlannedChange":
        """A line that changes nothing is a slip."""
        if all(value is None for value in (self.on_air, self.power_db, self.offset_us, self.route)):
            raise ValueError("nothing changes here; give on_air, power_db, offset_us or route")
        return self


class PlannedState(Record):
    """A phase of building, a site out, reduced power: from which day on, until when, and what is otherwise."""

    name: Name
    """What people call it; one state of a name, and none is called today."""
    date: Day
    """From when on it is to hold."""
    until: Day | None = None
    """Its last day; none: it stays."""
    common_delay_us: Latency | None = None
    """The common delay then; none: today's, so that no other site is set anew. [us]"""
    changes: Annotated[tuple[PlannedChange, ...], Field(min_length=1, max_length=500)]
    """What is otherwise, a line a site."""
    note: Text | None = None
    """Why, and who asked for it."""

    @model_validator(mode="after")
    def _days_in_order(self) -> "PlannedState":
        """Days that exist, the last not before the first."""
        for key, text in (("date", self.date), ("until", self.until)):
            try:
                date.fromisoformat(text or self.date)
            except ValueError:
                raise ValueError(f"{key} {text} is no day; as 2026-12-01") from None
        if self.until is not None and self.until < self.date:
            raise ValueError(f"until {self.until} lies before date {self.date}; exchange them or correct one")
        if self.name.strip().casefold() == TODAY:
            raise ValueError("a planned state cannot be called today: that is the plan itself; choose another name")
        return self
