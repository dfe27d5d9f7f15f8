"""What a field goes back to once a sheet is issued: not what the sheet itself put there."""

from collections.abc import Collection, Iterable
from datetime import datetime

from sfn.plan.reported import Key, Reported, Stood, WayBack
from sfn.timeline.held import Held


def way_back(
    reported: Reported | None,
    key: Key,
    *,
    planned: float,
    now: float | None,
    issued_at: datetime | None,
    other: float | None = None,
) -> WayBack:
    """The way back of one field.

    Parameters
    ----------
    reported : Reported or None
    key : Key
        The field.
    planned : float
        What the sheet sets it to.
    now : float or None
        What it stands at.
    issued_at : datetime or None
        When the sheet was issued; None where it is not, or its plan does not change the field's site.
    other : float, optional
        What else makes the change with the other fields: another split of the same total, which launches alike.

    Returns
    -------
    WayBack
        What stands there now. Where that is what the sheet asks for, reported since its issue, the change is made:
        then what stood there at the issue. Whatever else was reported in between may be what was found, or a slip:
        it is told, not chosen. Where something else was reported last, what stood at the issue is told beside it.
    """
    reports = () if reported is None else reported.reports.get(key, ())
    made = (planned,) if other is None else (planned, other)
    latest = reports[-1] if reports else None
    if latest is None or issued_at is None or not _since(latest, issued_at, made):
        return WayBack(now, latest)
    before = [one for one in reports if not _since(one, issued_at, made)]
    # Nobody reported it before: what the plan says of it is all there is.
    assert reported is not None
    stood = before[-1].value if before else reported.planned.get(key, now)
    if latest.value not in made:
        return WayBack(now, latest, at_issue=None if stood == now else stood)
    since = _others((one for one in reports if _since(one, issued_at, made)), made)
    return WayBack(stood, before[-1] if before else None, since)


def _since(one: Stood, issued_at: datetime, made: Collection[float]) -> bool:
    """Whether a report held after the issue.

    One that makes the change, is timed to the minute or second of the issue and arrived after it did: nobody sets what
    was not issued, and a way back to the sheet's own value would take nothing back.
    """
    held = Held(one.held_at, one.earliest, one.latest)
    return one.held_at > issued_at or (one.value in made and one.arrived_at > issued_at and held.follows(issued_at))


def _others(reports: Iterable[Stood], made: Collection[float]) -> tuple[Stood, ...]:
    """Reports of anything but what makes the change."""
    return tuple(one for one in reports if one.value is not None and one.value not in made)
