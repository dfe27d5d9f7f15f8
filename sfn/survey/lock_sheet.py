"""Lock-sheet readings and the test cable held against the plan: what looks like a slip is questioned in words.

What must agree between FM transmitters besides the delay: pilot phase, deviation, pre-emphasis. Words such as where the
pilot comes from are kept as they are typed.
"""

import re
from fractions import Fraction

from sfn.plan.document import LockSheet
from sfn.plan.number_text import number_written
from sfn.survey.rules import Group, Groups, Rule, Slot, Within, asked, value
from sfn.units import PILOT_DEG_PER_US, exact

# About a kilometre of cable: a test lead is metres, so this is nanoseconds typed as microseconds.
LONGEST_CABLE_US = 5.0
# Velocity factor of a test lead of solid polyethylene (common practice).
_LEAD_KM_PER_US = exact(299.792458e-3) * exact(0.66)
# Deviations match within this where the plan does not say (common practice).
USUAL_MATCH_PCT = 1.0
UNITS = ("kHz", "degrees", "deg", "\u00b0", "\u00b5s", "\u03bcs", "us")
"""What may stand behind a number of the lock sheet."""
_NUMBER = re.compile(rf"([+\-\u2212]?[\d.,]+)\s*(?:{'|'.join(UNITS)})?", re.IGNORECASE | re.ASCII)
_TURN, _HALF = Fraction(360), Fraction(180)


def question_lock(name: str, typed: str, *, lock: LockSheet | None, tolerance_us: float) -> list[str]:
    """What to ask about one line of the lock sheet.

    Parameters
    ----------
    name : str
        ``pilot_phase``, ``deviation``, ``pre_emphasis``; others are words and never questioned.
    typed : str
        As typed; a number with or without its unit, or words.
    lock : LockSheet or None
        What the plan says.
    tolerance_us : float
        Launch error that is tolerated: the pilot may turn by as much. [us]

    Examples
    --------
    >>> question_lock("pilot_phase", "180", lock=LockSheet(pilot_phase_deg=0.0), tolerance_us=1.0)
    ['the plan says 0 degrees, you typed 180: is the pilot or the composite inverted?']
    """
    found = _NUMBER.fullmatch(typed.strip())
    groups = () if lock is None else lock_rules(name, name, lock=lock, tolerance_us=tolerance_us)
    if not groups or found is None:
        return []
    try:
        number = number_written(found[1])
    except ValueError as error:
        return [f"{error}: which is meant?"]
    return list(asked(groups, {name: number}))


def lock_rules(name: str, value_name: str, *, lock: LockSheet, tolerance_us: float) -> Groups:
    """The questions about one line of the lock sheet as rules; none where the plan says nothing of it."""
    typed = Slot(value(value_name))
    if name == "pilot_phase" and lock.pilot_phase_deg is not None:
        return (_pilot(value_name, exact(lock.pilot_phase_deg), exact(tolerance_us)),)
    if name == "deviation" and lock.deviation_khz is not None:
        match_pct = lock.deviation_match_pct or USUAL_MATCH_PCT
        planned, reach = exact(lock.deviation_khz), exact(lock.deviation_khz) * exact(match_pct) / 100
        says = f"the plan says {lock.deviation_khz:g} kHz within {match_pct:g} %, you typed "
        words = (says, typed, ": is that the peak deviation of the whole composite, in kHz?")
        return (Group((Rule((), words),), (Within(value(value_name), planned - reach, planned + reach),)),)
    if name == "pre_emphasis" and lock.pre_emphasis_us is not None:
        us = exact(lock.pre_emphasis_us)
        said = f"the plan says {lock.pre_emphasis_us} us, you typed "
        words = (said, typed, ": is the processor set for another region?")
        return (Group((Rule((), words),), (Within(value(value_name), us, us),)),)
    return ()


def question_cable(test_cable_us: float) -> list[str]:
    """What to ask about the latency of a test cable.

    Examples
    --------
    >>> question_cable(50.0)
    ['50 us are about 10 km of cable: are nanoseconds meant, 0.05 us?']
    """
    return list(asked(cable_rules("cable"), {"cable": exact(test_cable_us)}))


def cable_rules(name: str) -> Groups:
    """The question about the latency of a test cable, as a rule."""
    typed = value(name)
    words = (
        Slot(typed), " us are about ", Slot(typed.times(_LEAD_KM_PER_US), 0, fixed=True),
        " km of cable: are nanoseconds meant, ", Slot(typed.times(Fraction(1, 1000))), " us?",
    )  # fmt: skip
    return (Group((Rule((Within(typed, None, exact(LONGEST_CABLE_US), outside=True),), words),)),)


def _pilot(name: str, planned_deg: Fraction, tolerance_us: Fraction) -> Group:
    """What to ask about the pilot's phase; degrees go round."""
    per_us = exact(PILOT_DEG_PER_US)
    reach, typed = tolerance_us * per_us, value(name)
    off = typed.moved(-planned_deg, turn=_TURN)
    says = (f"the plan says {float(planned_deg):g} degrees, you typed ", Slot(typed))
    inverted = Rule(
        (Within(typed.moved(_HALF - planned_deg, turn=_TURN), -reach, reach),),
        (*says, ": is the pilot or the composite inverted?"),
    )
    sign = Rule(
        (Within(typed.times(Fraction(-1)).moved(-planned_deg, turn=_TURN), -reach, reach),),
        (*says, ": is the sign meant?"),
    )
    size = Slot(off, 6, signed=True)
    # The turn has to be taken before degrees become microseconds: both are of the same sum.
    late = Slot(off.scaled(1 / per_us), 2, fixed=True, signed=True)
    plain = Rule((), (*says, ": ", size, " degrees are as much as ", late, " us of delay; was it measured against the reference of the plan?"), plain=True)  # noqa: E501  # fmt: skip
    return Group((inverted, sign, plain), (Within(off, -reach, reach),))
