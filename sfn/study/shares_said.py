"""Which rule made a map's classes and figures, and by how much they may be off, in words."""

from sfn.reception.drawn_quality import QUICK_MARGIN_OFF_DB, QUICK_SHARE_OFF
from sfn.reception.judged import draws_say
from sfn.reception.quality import ACCEPTABLE_PROBABILITY
from sfn.report.numbers import number
from sfn.study.map_listeners import heard_said
from sfn.study.zones import Zones

UPDATING = "Estimate, updating"


def shares_said(found: Zones) -> str:
    """What classes and figures go by, in words; empty for 8-VSB."""
    if found.carried.kind == "vsb":
        return ""
    if not found.drawn:
        return _estimate(found)
    if found.heard is not None:
        return f"{heard_said(found.heard, draws_say(found.carried))} {_against_quick(found)}"
    share = found.quality.probability
    if share is None:
        return ""
    return (
        f"By drawn shares, receivers following: at least {100 * ACCEPTABLE_PROBABILITY:g} % of the places around are "
        f"served where a class says so; {draws_say(found.carried)}. {_against_quick(found)}"
    )


def _estimate(found: Zones) -> str:
    """That figures are the quick estimate, and between what they may lie."""
    off = (
        f"a place's share by up to {QUICK_SHARE_OFF:g}"
        if found.carried.kind == "ofdm"
        else f"its margin over being clear by up to {QUICK_MARGIN_OFF_DB:g} dB"
    )
    between = found.served_between_km2
    km2 = "" if between is None else f": served {number(found.classes.served_km2, 0)} km², between {_two(between)} km²"
    who = found.served_between_people
    people = "" if who is None else f"; {number(found.classes.served_people or 0.0, 0)} people, between {_two(who)}"
    return f"{UPDATING}: classes and figures are the quick estimate, with its uncertainty ({off}){km2}{people}"


def _two(values: tuple[float, float]) -> str:
    """Two whole numbers."""
    return f"{number(values[0], 0)} and {number(values[1], 0)}"


def _against_quick(found: Zones) -> str:
    """What the quick estimate said, which a search goes by and a tried delay shows first."""
    if found.quick is None:
        return ""
    people = found.quick.served_people
    who = "" if people is None or found.classes.served_people is None else (
        f", {number(found.classes.served_people, 0)} people against {number(people, 0)}"
    )  # fmt: skip
    return (
        f"Served {number(found.classes.served_km2, 0)} km², the quick estimate {number(found.quick.served_km2, 0)} km²"
        f"{who}: a tried delay shows that estimate first, and searches go by it."
    )
