"""Lock-sheet readings and the test cable held against the plan: what looks like a slip is questioned in words.

What must agree between FM transmitters besides the delay: pilot phase, deviation, pre-emphasis. Words such as where the
pilot comes from are kept as they are typed.
"""

import re

from sfn.plan.document import LockSheet
from sfn.plan.number_text import number_written
from sfn.units import PILOT_DEG_PER_US, grouped, written

# About a kilometre of cable: a test lead is metres, so this is nanoseconds typed as microseconds.
LONGEST_CABLE_US = 5.0
# Deviations match within this where the plan does not say (common practice).
USUAL_MATCH_PCT = 1.0
_NUMBER = re.compile(r"([+\-\u2212]?[\d.,]+)\s*(?:kHz|degrees|deg|\u00b0|\u00b5s|\u03bcs|us)?", re.IGNORECASE)


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
    if lock is None or found is None:
        return []
    try:
        value = float(number_written(found[1]))
    except ValueError as error:
        return [f"{error}: which is meant?"]
    if name == "pilot_phase" and lock.pilot_phase_deg is not None:
        return _pilot(value, lock.pilot_phase_deg, tolerance_us)
    if name == "deviation" and lock.deviation_khz is not None:
        match_pct = lock.deviation_match_pct or USUAL_MATCH_PCT
        off_pct = 100.0 * (value / lock.deviation_khz - 1.0)
        if abs(off_pct) > match_pct:
            says = f"the plan says {lock.deviation_khz:g} kHz within {match_pct:g} %, you typed {written(value)}"
            return [f"{says}: is that the peak deviation of the whole composite, in kHz?"]
    if name == "pre_emphasis" and lock.pre_emphasis_us is not None and value != lock.pre_emphasis_us:
        says = f"the plan says {lock.pre_emphasis_us} us, you typed {written(value)}"
        return [f"{says}: is the processor set for another region?"]
    return []


def question_cable(test_cable_us: float) -> list[str]:
    """What to ask about the latency of a test cable.

    Examples
    --------
    >>> question_cable(50.0)
    ['50 us are about 10 km of cable: are nanoseconds meant, 0.05 us?']
    """
    if test_cable_us <= LONGEST_CABLE_US:
        return []
    long_km = test_cable_us * 299.792458e-3 * 0.66
    return [
        f"{written(test_cable_us)} us are about {grouped(long_km, '.0f')} km of cable: "
        f"are nanoseconds meant, {written(test_cable_us / 1000)} us?"
    ]


def _pilot(value_deg: float, planned_deg: float, tolerance_us: float) -> list[str]:
    """What to ask about the pilot's phase."""
    off_deg = (value_deg - planned_deg + 180.0) % 360.0 - 180.0
    tolerated_deg = tolerance_us * PILOT_DEG_PER_US
    if abs(off_deg) <= tolerated_deg:
        return []
    says = f"the plan says {planned_deg:g} degrees, you typed {written(value_deg)}"
    if abs(abs(off_deg) - 180.0) <= tolerated_deg:
        return [f"{says}: is the pilot or the composite inverted?"]
    if abs((-value_deg - planned_deg + 180.0) % 360.0 - 180.0) <= tolerated_deg:
        return [f"{says}: is the sign meant?"]
    return [
        f"{says}: {off_deg:+g} degrees are as much as {off_deg / PILOT_DEG_PER_US:+.2f} us of delay;"
        " was it measured against the reference of the plan?"
    ]
