"""What stands at the sites by the latest reports: no key of the document, but it goes wherever the record goes.

`sfn.timeline` works it out; `Network.reported` carries it, so that sheets, plans and tables all read one thing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import accumulate
from typing import Literal

from sfn.errors import Problem

Key = tuple[str, str, str]
"""Site, route and field; the route is empty where the device keeps one setting for all."""
Source = Literal["read", "told", "replaced"]
"""Typed at the site; told to the office; the device was replaced, and nobody has read the new one."""


@dataclass(frozen=True, slots=True)
class Stood:
    """What one report says of one field.

    Parameters
    ----------
    value : float or None
        In the field's own unit; None: from then on nobody knows.
    held_at : datetime
        When it stood there, by the server's clock, in UTC.
    earliest, latest : datetime
        Between which it must have been, where clocks leave that open.
    arrived_at : datetime
        When the office had it.
    who : str
    source : {'read', 'told', 'replaced'}
    entry : str
        Which entry of the timeline says so; empty where it has none.
    """

    value: float | None
    held_at: datetime
    earliest: datetime
    latest: datetime
    arrived_at: datetime
    who: str
    source: Source
    entry: str = ""

    @property
    def order(self) -> tuple[datetime, datetime]:
        """By what held; of two at one instant the one that arrived later counts."""
        return (self.held_at, self.arrived_at)


@dataclass(frozen=True, slots=True)
class WayBack:
    """What a field goes back to.

    Parameters
    ----------
    value : float or None
        In the field's own unit; None where nobody knows.
    stood : Stood or None
        The report that says so; None: only the plan does.
    others : tuple of Stood
        What else was reported since the sheet was issued, and is not what it asks for.
    at_issue : float or None
        What stood there at the issue, where `stood` came after it and says otherwise: it may be what was found there,
        or a setting gone wrong.
    """

    value: float | None
    stood: Stood | None = None
    others: tuple[Stood, ...] = ()
    at_issue: float | None = None

    @property
    def before(self) -> float | None:
        """What stood there before anybody set anything by the sheet; a report is not the way back for itself."""
        return self.value if self.at_issue is None else self.at_issue


@dataclass(frozen=True, slots=True)
class Reported:
    """Reports of every field, the oldest first by what held, and what the document says instead."""

    reports: Mapping[Key, tuple[Stood, ...]]
    planned: Mapping[Key, float | None] = field(default_factory=dict)
    """What the document says is set now, of every field whose report says otherwise."""
    problems: tuple[Problem, ...] = ()
    """Where reports contradict each other, or the document."""
    proofs: Mapping[str, datetime] | None = None
    """When lock was last proven at each site, of those where it holds; None where no such record is kept."""
    issued: Mapping[tuple[str, str], Mapping[str, float]] = field(default_factory=dict)
    """What the issued sheets of the revision ask for, by site and route, then by field in its own unit."""

    def at(self, key: Key, moment: datetime) -> Stood | None:
        """The report that held at a moment; None where none reaches back to it."""
        return next((one for one in reversed(self.reports.get(key, ())) if one.held_at <= moment), None)

    def now(self, key: Key) -> Stood | None:
        """The latest report of a field; None where there is none."""
        found: Sequence[Stood] = self.reports.get(key, ())
        return found[-1] if found else None

    def rivals(self, key: Key) -> tuple[tuple[Stood, Stood], ...]:
        """Pairs of reports of a field, the later first, that may have held in either order and say otherwise."""
        stood = self.reports.get(key, ())
        # Of many reports few reach over others: looking back ends where none before can.
        reach = list(accumulate((one.latest for one in stood), max))
        found = []
        for n, later in enumerate(stood):
            first = n
            while first and reach[first - 1] >= later.earliest:
                first -= 1
            found += [
                (later, earlier)
                for earlier in stood[first:n]
                if earlier.latest >= later.earliest and earlier.value != later.value
            ]
        return tuple(found)
