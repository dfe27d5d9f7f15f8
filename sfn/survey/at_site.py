"""What to do at a site after a reading: keep it, repeat it, or roll back, and by when.

| settings | readings | what to do |
|---|---|---|
| as planned, or not typed | none | set it, or read |
| as planned, or not typed | all agree, fewer than three | restart and read again |
| as planned, or not typed | three or more, all agree | keep |
| as planned, or not typed | the only one disagrees | repeat once |
| as planned, or not typed | some agree, fewer than three | repeat |
| as planned, or not typed | none of two, or some of three, agree | roll back |
| one otherwise, not all typed | none, or all agree | type every field: the total is judged with all of them |
| one otherwise, not all typed | some disagree | roll back |
| another than planned | none | set it as planned, or roll back |
| another than planned | all agree | repeat: one of both is a slip |
| another than planned | some disagree | roll back |
| another split of the planned total | none | read the launch |
| another split of the planned total | all agree | keep, and tell the control room |
| another split of the planned total | some disagree | as planned |
| what stood before | any | gone back |

While a change is taken back, "planned" are the old values and "what stood before" is what is taken back: where that
still stands it is to go back now, and a launch that does not agree with the old values is for the control room.

Three readings with a restart between are what a sheet asks for (common practice).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

Settings = Literal["none", "planned", "split", "part", "other", "back"]
Does = Literal["set", "read", "keep", "repeat", "roll back", "gone back", "call"]
ENOUGH_N = 3
MOST_READINGS_N = 5
SLIP = "slip"
"""Key of what is said while a slip is asked about and not answered."""
GAP = "%(deadline)s"
"""Stands for the deadline in a message."""
UNREAD = "unread"
"""Key of what is said while a number cannot be read; the names of the fields follow its word."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, in a word and in a sentence."""

    does: Does
    word: str
    text: str
    sent: str = ""
    """What is left of the sentence once it was sent; empty where all of it is."""
    message: str = ""
    """The sentence with `GAP` where the deadline stands: what a catalogue of another language goes by."""
    deadline: str = ""
    """By when the old values go back; empty where nothing says so."""

    @property
    def after(self) -> str:
        """What still holds once it was sent."""
        return self.sent or self.text

    @property
    def message_after(self) -> str:
        """The same as a message."""
        return self.sent or self.message

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {"does": self.does, "word": self.word, "text": self.text}


def advice(
    settings: Settings, *, readings_n: int, agreeing_n: int, deadline: str, can_go_back: bool = True,
    going_back: bool = False,
) -> Advice:  # fmt: skip
    """What to do with what is typed so far.

    Parameters
    ----------
    settings : {'none', 'planned', 'split', 'part', 'other', 'back'}
        How the fields stand: not all typed, all as planned, another split of the planned total, one of
        them otherwise and others not typed, one otherwise, all at what stood before.
    readings_n, agreeing_n : int
        Launches read since, and how many of them lie within the tolerance.
    deadline : str
        By when the old values go back, as the work order says it; empty where it says nothing.
    can_go_back : bool
        Whether the old values are known.
    going_back : bool
        Whether a change is taken back: 'planned' then are the old values, 'back' is what is taken back.

    Raises
    ------
    ValueError
        If more agree than were read.
    """
    if not 0 <= agreeing_n <= readings_n:
        raise ValueError(f"agreeing_n must be from 0 to readings_n, got {agreeing_n} of {readings_n}")
    made = _case(
        settings, readings_n=readings_n, agreeing_n=agreeing_n, deadline=GAP if deadline else "",
        can_go_back=can_go_back, going_back=going_back,
    )  # fmt: skip
    return replace(made, text=made.text.replace(GAP, deadline), message=made.text, deadline=deadline)


def _case(
    settings: Settings, *, readings_n: int, agreeing_n: int, deadline: str, can_go_back: bool, going_back: bool
) -> Advice:
    """The same, with a gap for the deadline."""
    if going_back:
        settings = "other" if settings in ("split", "part") else settings
        return _back_advice(settings, readings_n=readings_n, agreeing_n=agreeing_n, deadline=deadline)
    by = f"by {deadline}" if deadline else "at once, no deadline is written down"
    to = (
        "to the old value beside the setting"
        if can_go_back
        else "only with the control room: the old value is not known"
    )
    back = f"{by}, {to}; call the control room"
    disagree_n = readings_n - agreeing_n
    if settings == "back":
        says = "What stood before stands again."
        return Advice("gone back", "Gone back", f"{says} Send it, and tell the control room.", _told(says))
    if settings == "part" and disagree_n == 0:
        does: Does = "repeat" if readings_n else "set"
        return Advice(does, "Type every field", _PART)
    if settings in ("part", "other"):
        if readings_n == 0:
            return Advice("set", "Not as planned", f"Set it as planned, or roll back {back}.")
        if disagree_n == 0:
            says = (
                "The launch agrees, the setting typed is not the plan's: another split of the same total, or a slip."
                " Read the setting off again."
            )
            return Advice("repeat", "Repeat", says)
        return Advice("roll back", "Roll back", f"Neither setting nor launch is the plan's. Roll back {back}.")
    if settings == "split" and disagree_n == 0:
        says = "The total is right, split over the fields in another way than the sheet's."
        if readings_n == 0:
            return Advice("read", "Total as planned", f"{says} Now read the launch.", says)
        more = "Send it" if readings_n >= ENOUGH_N else _MORE.removesuffix(".")
        return Advice("keep", "Total agrees", f"{says} {more}, and tell the control room.", says)
    if readings_n == 0:
        if settings == "planned":
            return Advice("read", "Set as planned", "Now read the launch.", "No launch was sent with it.")
        return Advice("set", "Nothing typed yet", "Set it, type what stands there, read the launch.")
    if disagree_n == 0:
        if readings_n < ENOUGH_N:
            return Advice("keep", "Agrees so far", _MORE, _SO_FAR)
        says = "Every reading agrees with the plan."
        return Advice("keep", "Keep", f"{says} Send it.", says)
    if readings_n == 1:
        return Advice("repeat", "Repeat", _AGAIN)
    if agreeing_n and readings_n < ENOUGH_N:
        return Advice("repeat", "Repeat", _THIRD)
    why = "It does not repeat after restarts." if agreeing_n else "No reading agrees."
    return Advice("roll back", "Roll back", f"{why} Roll back {back}.")


def _back_advice(settings: Settings, *, readings_n: int, agreeing_n: int, deadline: str) -> Advice:
    """What to do while a change is taken back: the old values are wanted, and the launch that they give."""
    by = f" by {deadline}" if deadline else " at once"
    if settings == "back":
        says = f"What is taken back still stands. Set the old value of every field{by}, type it, and send it."
        return Advice("roll back", "Not gone back", says)
    if settings == "other":
        if readings_n and readings_n == agreeing_n:
            says = "The launch is that of the old values, the setting typed is not: one is a slip. Read it off again."
            return Advice("repeat", "Repeat", says)
        return Advice("roll back", "Not as ordered", f"Set the old value of every field{by}, type it, and send it.")
    if readings_n == 0:
        if settings == "planned":
            says = "The old values stand again."
            return Advice("gone back", "Gone back", f"{says} Send it; then read the launch with them.", _told(says))
        return Advice("set", "Go back", f"Set the old value of every field{by}, type what stands there, and send it.")
    if readings_n == agreeing_n:
        if readings_n < ENOUGH_N:
            return Advice("keep", "Agrees so far", _MORE, _SO_FAR)
        says = "Every reading is the launch with the old values."
        return Advice("gone back", "Gone back", f"{says} Send it, and tell the control room.", _told(says))
    if readings_n == 1:
        return Advice("repeat", "Repeat", _AGAIN)
    if agreeing_n and readings_n < ENOUGH_N:
        return Advice("repeat", "Repeat", _THIRD)
    says = "The launch is not that of the old values. Leave them set, and tell the control room what was read."
    return Advice("call", "Call the control room", says)


_MORE = f"Restart the delay device and read again, {ENOUGH_N} in all."
_PART = (
    "One field is not the sheet's, and not all are typed. Type what every field shows: another split of the same total"
    " launches alike, anything else is set as planned or rolled back."
)
_SO_FAR = f"Every reading sent agrees; {ENOUGH_N} with a restart between are wanted."
_AGAIN = "Check plane, cable and unit, restart the delay device, and read once more before anything else."
_THIRD = "One agrees, one does not. Restart the delay device and read a third time."


def _told(says: str) -> str:
    """What is left once it was sent."""
    return f"{says} Tell the control room."


def advice_table(*, deadline: str, can_go_back: bool, going_back: bool = False) -> Mapping[str, Advice]:
    """Every case by its key: settings, readings, agreeing; `SLIP` and `UNREAD`."""
    slip = "Something typed looks like a slip. Answer the question under it before you go by anything here."
    every: tuple[Settings, ...] = ("none", "planned", "split", "part", "other", "back")
    unread = "Correct what is typed there before you go by anything here."
    asked = {
        SLIP: Advice("repeat", "Check what is asked", slip, message=slip),
        UNREAD: Advice("repeat", "Cannot be read", unread, message=unread),
    }
    return asked | {
        key_of(one, n, agreeing): advice(
            one, readings_n=n, agreeing_n=agreeing, deadline=deadline, can_go_back=can_go_back, going_back=going_back
        )
        for one in every
        for n in range(MOST_READINGS_N + 1)
        for agreeing in range(n + 1)
    }


def key_of(settings: Settings, readings_n: int, agreeing_n: int) -> str:
    """By which a case is looked up."""
    return f"{settings} {readings_n} {agreeing_n}"
