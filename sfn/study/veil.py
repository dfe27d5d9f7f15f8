"""Records that keep settings to themselves: what a page withholds, its JSON withholds too, and says why.

A record with a method ``veil(made)`` is given its own plain data (`sfn.answer.plain`) and returns what may be told.
"""

from collections.abc import Iterable
from typing import Any

from sfn.check.verdict import Reason, Verdict
from sfn.errors import Problem

# From what is left of a field's range, or by rounding, a setting could be told that is not to be told.
TELL_THE_SETTING = ("headroom-low", "rounding-left")
_OF_FIELD = ("value", "change", "enter")
_OF_ROW = (
    "fields", "set_us", "added_us", "rounding_us", "launch_us", "change_us", "headroom_us", "coarse_headroom_us",
    "jump_us", "jumps", "alternative",
)  # fmt: skip
_OF_ROUTE = ("planes", "trials", "shift_us")


def why_withheld(reasons: Iterable[Reason]) -> str:
    """The reasons in one line: what stands where a setting would."""
    return "; ".join(dict.fromkeys(reason.problem.what for reason in reasons if reason.consequence == "withheld"))


def field_veiled(made: dict[str, Any], why: str) -> dict[str, Any]:
    """A field's line without what to set; what to go back to stays."""
    return made | dict.fromkeys(_OF_FIELD) | {"withheld": why}


def route_veiled(made: dict[str, Any], why: str) -> dict[str, Any]:
    """A route without its setting and all from which it could be told; `withheld` says why."""
    found = made | {key: None for key in _OF_ROUTE if key in made} | {"withheld": why}
    found["fields"] = [field_veiled(one, why) for one in made["fields"]]
    found["row"] = made["row"] | dict.fromkeys(_OF_ROW)
    return found


def plan_veiled(made: dict[str, Any], problems: Iterable[Problem]) -> dict[str, Any]:
    """A change plan that may not be carried out, without what to set; as it is where no problem stands against it."""
    why = "; ".join(dict.fromkeys(problem.what for problem in problems))
    if not why:
        return made
    changes = [
        change | {"routes": [route_veiled(route, why) for route in change["routes"]]} for change in made["changes"]
    ]
    return made | {"changes": changes, "waiting_us": None, "withheld": why}


def verdict_veiled(made: dict[str, Any], verdict: Verdict) -> dict[str, Any]:
    """A verdict without the remarks that would tell a withheld setting."""
    if verdict.state != "withheld":
        return made
    kept = [one for one in made["reasons"] if one["code"] not in TELL_THE_SETTING]
    return made | {"reasons": kept}
