"""What happened to a site, and when it held: one record for everything, so that one order tells them apart.

| kind | what it says |
|---|---|
| ``planned`` | a revision changed what a route is to be set to, or its launch |
| ``set-in-plan`` | a revision changed what the document says is set now: a take-over, or typed |
| ``stage-changed`` | a firmware or mode changed on a stage of the site |
| ``stage-measured`` | a stage's latency was measured |
| ``corrected`` | a stage took up a measured launch error |
| ``on-air``, ``off-air`` | the plan has the site on air from then on, or not transmitting |
| ``signed-off``, ``issued`` | its sheet was answered for, or went out |
| ``plan-approved`` | the change plan of a revision was approved, which a later revision voids |
| ``change-begun``, ``change-back``, ``change-ended`` | a change began, was ordered back, is over |
| ``read`` | a technician read settings, launches or locks at the site |
| ``told`` | somebody told the office what is set |
| ``replaced`` | the device was replaced: whatever was known of its settings is over |
| ``muted``, ``unmuted`` | it was muted, or is on air again |
| ``radiates`` | somebody said that its power and antenna are as a revision plans them |
| ``lock`` | carrier, pilot, deviation and polarity were proven, or not |
| ``complaint`` | a listener complained |
| ``difference`` | a delay difference was measured on air, against another site |
| ``planned-state`` | the plan has the network stand otherwise from a day on: a phase, a site out, reduced power |
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from sfn.timeline.held import Held

Kind = Literal[
    "planned", "set-in-plan", "stage-changed", "stage-measured", "corrected", "on-air", "off-air", "signed-off",
    "issued", "plan-approved", "read", "told", "replaced", "muted", "unmuted", "lock", "complaint", "difference",
    "planned-state", "change-begun", "change-back", "change-ended", "radiates",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    Parameters
    ----------
    id : str
        Names it for good: what else speaks of it says so.
    site_id : str
        Empty where it is about no single site.
    kind : str
        From the table above.
    held : Held
        When it held, by the server's clock.
    arrived_at : datetime
        When the office had it, in UTC.
    who : str
    values : mapping
        What it says, plain data; keys of quantities end in their unit.
    others : tuple of str
        Further sites that it is about.
    """

    id: str
    site_id: str
    kind: Kind
    held: Held
    arrived_at: datetime
    who: str
    values: Mapping[str, Any] = field(default_factory=dict)
    others: tuple[str, ...] = ()

    @property
    def order(self) -> tuple[datetime, datetime]:
        """By what held; of two at one instant the one that arrived later is the later."""
        return (self.held.at, self.arrived_at)

    def about(self, site_id: str) -> bool:
        """Whether it is about a site, or about the whole network."""
        return site_id in (self.site_id, *self.others) or not self.site_id


def in_order(events: Sequence[Event]) -> tuple[Event, ...]:
    """The same in the order in which they held; a planned state stands before what was issued of it."""
    return tuple(sorted(events, key=lambda one: one.order))


def silent_at(events: Sequence[Event], moment: datetime) -> frozenset[str]:
    """Sites that were muted at a moment, as far as anybody said so."""
    said = {one.site_id: one.kind for one in in_order(events) if one.kind in _SOUND and one.held.at <= moment}
    return frozenset(site for site, kind in said.items() if kind == "muted")


def proven(events: Sequence[Event]) -> dict[str, datetime]:
    """When lock was last proven at each site; not where it was found to differ, or the device replaced, since."""
    found: dict[str, datetime] = {}
    for one in in_order(events):
        if one.kind == "lock" and one.values.get("proven"):
            found[one.site_id] = one.held.at
        elif one.kind in ("lock", "replaced"):
            found.pop(one.site_id, None)
    return found


_SOUND = ("muted", "unmuted")
