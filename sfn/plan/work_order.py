"""Who allows a change, when, and how it is taken back."""

from typing import Annotated, Literal

from pydantic import Field

from sfn.plan.record import Record, Text


class WorkOrder(Record):
    """Who allows the change, when, and how it is taken back."""

    change_window: Text | None = None
    """When the change may be made."""
    permission_reference: Text | None = None
    """The operator's permission for the work."""
    control_room_contact: Text | None = None
    """Whom to call before and after."""
    mutes: Text | None = None
    """Which site is muted by whom while settings disagree."""
    rollback_deadline: Text | None = None
    """By when the old values go back if the new ones are not proven."""
    tolerated_error_us: Annotated[float, Field(gt=0, le=1000)] | None = None
    """Largest launch error that a technician may leave. [us]"""
    language: Literal["en", "de"] | None = None
    """Language of what reaches the sites: sheets, work packet, technician's page. English where none is given."""
