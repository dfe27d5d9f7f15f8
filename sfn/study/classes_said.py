"""What stands beside the classes of a map: what they are an estimate of, and which level divides them."""

from typing import Any

from sfn.plan import Network
from sfn.reception.classes import classes_say
from sfn.reception.quality import ACCEPTABLE_PROBABILITY, too_weak_below_dbuvm, yardstick
from sfn.report.numbers import number


def classes_said(network: Network) -> dict[str, Any]:
    """Parts of ``zones --json``.

    Returns
    -------
    said : dict
        ``classes_say`` (FM; else None), ``too_weak_below_dbuvm``: the level of the strongest signal that divides what
        is too weak from what is upset [dBuV/m], and ``too_weak_says``: why (None for FM, where it is the usable level).
    """
    yard = yardstick(network)
    level_dbuvm = too_weak_below_dbuvm(yard, frequency_mhz=network.frequency_mhz)
    why = (
        f"the strongest signal alone would serve less than {ACCEPTABLE_PROBABILITY:.0%} of the places around"
        if yard.carried.kind == "ofdm"
        else "it lies less than the required C/N over the noise"
    )
    says = (
        f"Too weak is below {number(level_dbuvm, 1)} dBµV/m, where {why}; "
        "the usable level is the median that planning asks for"
    )
    return {
        "classes_say": classes_say(yard.carried) or None,
        "too_weak_below_dbuvm": level_dbuvm,
        "too_weak_says": None if yard.carried.kind == "fm" else says,
    }
