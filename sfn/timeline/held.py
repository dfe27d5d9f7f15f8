"""When something held, by the server's clock: a telephone's time is corrected by what its clock showed at sending."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

# From the press of a button to the server's own clock: what the way takes, and a clock shown in whole seconds.
_WAY = timedelta(seconds=5)
# A time typed by hand is to the minute.
_MINUTE = timedelta(seconds=59)
# A clock within this of the server's is right: people type what another clock shows, too.
_RIGHT = timedelta(minutes=2)
# A time that is corrected to later than its arrival by more than this was not read off the telephone.
AHEAD = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Held:
    """An instant by the server's clock, in UTC, and between which instants it must lie."""

    at: datetime
    earliest: datetime
    latest: datetime
    words: str = ""
    """What is doubtful about it; empty where nothing is."""
    day_alone: bool = False
    """Only the day is known."""

    def follows(self, moment: datetime) -> bool:
        """Whether what arrived after a moment held after it: one order for any two.

        By the instant, to its fraction of a second. Where only the minute or the second is known and the moment lies
        in it, the arrival decides.
        """
        at = not_sooner(self.at, moment)
        coarse = self.earliest == self.at and self.latest - self.at <= _MINUTE
        return at or (coarse and not_sooner(self.latest, moment))

    def sure_beside(self, moment: datetime) -> bool:
        """Whether clocks leave no doubt on which side of a moment it lies."""
        return not (self.earliest < moment and not_sooner(self.latest, moment))

    @classmethod
    def sure(cls, at: datetime) -> "Held":
        """An instant that the server saw itself."""
        return cls(at, at, at)


def held(
    *, arrived_at: datetime, typed_at: datetime | None, pressed_at: datetime | None, clock_at: datetime | None
) -> Held:
    """When a reading held.

    Parameters
    ----------
    arrived_at : datetime
        The server's clock at its arrival, in UTC.
    typed_at : datetime, optional
        Time typed by hand, to the minute, in UTC as typed.
    pressed_at : datetime, optional
        The telephone's clock when the button was first pressed.
    clock_at : datetime, optional
        The telephone's clock when it was sent.

    Returns
    -------
    Held
        ``pressed + (arrived - clock)``, never later than the arrival. A time typed by hand may be off another clock
        than the telephone's: where that one is wrong both are possible, and the interval holds both.
    """
    offset = None if clock_at is None else arrived_at - clock_at
    if typed_at is None:
        if pressed_at is None:
            return Held(arrived_at, arrived_at - _WAY, arrived_at)
        if offset is None:
            at = min(pressed_at, arrived_at)
            return Held(at, at, arrived_at, "the telephone did not tell its clock: its time may be wrong")
        at = min(pressed_at + offset, arrived_at)
        return Held(at, at - _WAY, min(at + _WAY, arrived_at), _said(offset))
    if offset is None or abs(offset) <= _RIGHT:
        at = min(typed_at, arrived_at)
        return Held(at, at, min(typed_at + _MINUTE, arrived_at))
    possible = [one for one in (typed_at, typed_at + offset) if one <= arrived_at + AHEAD] or [arrived_at]
    at = min(possible[-1], arrived_at)
    doubt = "" if len(possible) == 1 else f"{_said(offset)}; the time was typed by hand, off that clock or another"
    return Held(at, min(*possible, at), min(max(possible) + _MINUTE, arrived_at), doubt)


def not_sooner(at: datetime, moment: datetime) -> bool:
    """Whether an instant lies at a moment or after it; one that is kept to the whole second may lie anywhere in it."""
    return at >= (moment if at.microsecond else moment.replace(microsecond=0))


def instant(text: str) -> datetime | None:
    """A time in ISO 8601, UTC where it names no zone; None where it is none."""
    try:
        at = datetime.fromisoformat(text.strip())
        return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        return None


def _said(offset: timedelta) -> str:
    """By how much a clock was wrong; empty where it was right."""
    if abs(offset) <= _RIGHT:
        return ""
    minutes = round(abs(offset).total_seconds() / 60)
    hours, rest = divmod(minutes, 60)
    size = " ".join(filter(None, (f"{hours} h" if hours else "", f"{rest} min" if rest else "")))
    return f"the telephone's clock was {size} {'slow' if offset > timedelta(0) else 'fast'}: corrected"


def text_to_fraction(at: datetime) -> str:
    """An instant in ISO 8601, UTC, to the microsecond: what is kept, so that two within a second have an order."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def text_of(at: datetime) -> str:
    """An instant in ISO 8601, UTC, to the second."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
