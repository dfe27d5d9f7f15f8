"""Lock-sheet readings and the test cable held against the plan: what looks like a slip is questioned in words.

What must agree between FM transmitters besides the delay: pilot phase, deviation, pre-emphasis. Words such as where the
pilot comes from are kept as they are typed.
"""

import re
from fractions import Fraction

from sfn.plan.document import LockSheet
from sfn.plan.number_text import number_written
from sfn.survey.question_words import SAYS, in_parts
from sfn.survey.rules import Asked, Gap, Group, Groups, Rule, Slot, Within, asked, value
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


def question_lock(name: str, typed: str, *, lock: LockSheet | None, tolerance_us: float) -> list[Asked]:
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
    >>> [asked] = question_lock("pilot_phase", "180", lock=LockSheet(pilot_phase_deg=0.0), tolerance_us=1.0)
    >>> asked.code, asked.text
    ('lock-inverted', 'the plan says 0 degrees, you typed 180: is the pilot or the composite inverted?')
    """
    found = _NUMBER.fullmatch(typed.strip())
    groups = () if lock is None else lock_rules(name, name, lock=lock, tolerance_us=tolerance_us)
    if not groups or found is None:
        return []
    try:
        number = number_written(found[1])
    except ValueError as error:
        gaps = {"why": str(error), "typed": typed.strip()}
        return [Asked("lock-unclear", gaps, "".join(in_parts(SAYS["lock-unclear"], gaps)))]
    return list(asked(groups, {name: number}))


def lock_rules(name: str, value_name: str, *, lock: LockSheet, tolerance_us: float) -> Groups:
    """The questions about one line of the lock sheet as rules; none where the plan says nothing of it."""
    typed = Slot(value(value_name))
    if name == "pilot_phase" and lock.pilot_phase_deg is not None:
        return (_pilot(value_name, exact(lock.pilot_phase_deg), exact(tolerance_us)),)
    if name == "deviation" and lock.deviation_khz is not None:
        match_pct = lock.deviation_match_pct or USUAL_MATCH_PCT
        planned, reach = exact(lock.deviation_khz), exact(lock.deviation_khz) * exact(match_pct) / 100
        gaps: dict[str, Gap] = {"planned": f"{lock.deviation_khz:g}", "match": f"{match_pct:g}", "typed": typed}
        rule = Rule((), "lock-deviation", gaps)
        return (Group((rule,), (Within(value(value_name), planned - reach, planned + reach),)),)
    if name == "pre_emphasis" and lock.pre_emphasis_us is not None:
        us = exact(lock.pre_emphasis_us)
        rule = Rule((), "lock-pre-emphasis", {"planned": f"{lock.pre_emphasis_us}", "typed": typed})
        return (Group((rule,), (Within(value(value_name), us, us),)),)
    return ()


def question_cable(test_cable_us: float) -> list[Asked]:
    """What to ask about the latency of a test cable.

    Examples
    --------
    >>> [one.text for one in question_cable(50.0)]
    ['50 us are about 10 km of cable: are nanoseconds meant, 0.05 us?']
    """
    return list(asked(cable_rules("cable"), {"cable": exact(test_cable_us)}))


def cable_rules(name: str) -> Groups:
    """The question about the latency of a test cable, as a rule."""
    typed = value(name)
    gaps: dict[str, Gap] = {
        "typed": Slot(typed),
        "length": Slot(typed.times(_LEAD_KM_PER_US), 0, fixed=True),
        "meant": Slot(typed.times(Fraction(1, 1000))),
    }
    return (Group((Rule((Within(typed, None, exact(LONGEST_CABLE_US), outside=True),), "cable-long", gaps),)),)


def _pilot(name: str, planned_deg: Fraction, tolerance_us: Fraction) -> Group:
    """What to ask about the pilot's phase; degrees go round."""
    per_us = exact(PILOT_DEG_PER_US)
    reach, typed = tolerance_us * per_us, value(name)
    off = typed.moved(-planned_deg, turn=_TURN)
    said: dict[str, Gap] = {"planned": f"{float(planned_deg):g}", "typed": Slot(typed)}
    turned = Within(typed.moved(_HALF - planned_deg, turn=_TURN), -reach, reach)
    other_sign = Within(typed.times(Fraction(-1)).moved(-planned_deg, turn=_TURN), -reach, reach)
    # The turn has to be taken before degrees become microseconds: both are of the same sum.
    late = Slot(off.scaled(1 / per_us), 2, fixed=True, signed=True)
    rules = (
        Rule((turned,), "lock-inverted", said),
        Rule((other_sign,), "lock-sign", said),
        Rule((), "lock-phase", said | {"off": Slot(off, 6, signed=True), "off_us": late}, plain=True),
    )
    return Group(rules, (Within(off, -reach, reach),))
