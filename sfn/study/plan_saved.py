"""A plan of change taken up: written into the document as it was typed."""

from collections.abc import Mapping
from typing import Any

from sfn.plan import Network
from sfn.study.lever_saved import with_levers
from sfn.study.lever_try import Lever


def with_plan(document: Mapping[str, Any], network: Network, plan: Mapping[str, Any]) -> dict[str, Any]:
    """A document with a plan as `sfn.answer.plans_document` has it.

    Parameters
    ----------
    document : mapping
        As it was typed; it stays as it is.
    network : Network
        The same, read: that of which the plan was found.
    plan : mapping
        Its `changes`, `offsets` and `common_delay_held_us`.

    Returns
    -------
    document : dict
        Only what the plan changes is written otherwise.
    """
    fields = {one["site"]: one["fields"] for one in plan["changes"]}
    levers = {
        site: Lever(**{key: value for key, value in some.items() if key not in ("on_air", "offset_us")})
        for site, some in fields.items()
    }
    made = with_levers(document, network, levers)
    now = {site.id: site.offset_us for site in network.sites}
    for typed in made["sites"]:
        name = typed["id"]
        if name in now and plan["offsets"][name] != now[name]:
            typed["offset_us"] = plan["offsets"][name]
        if "on_air" in fields.get(name, {}):
            typed["on_air"] = fields[name]["on_air"]
    if plan["common_delay_held_us"] is not None:
        made["common_delay"] = {"mode": "fixed", "value_us": plan["common_delay_held_us"]}
    return made


def plan_reason(plan: Mapping[str, Any], *, unit: str, cost_unit: str) -> str:
    """What is proposed as the reason of a revision that takes a plan up."""
    said = "; ".join(one["says"] for one in plan["changes"])
    return (
        f"plan of change, cost {plan['cost']:g} {cost_unit}, {plan['gain']:.0f} {unit} more served as predicted: {said}"
    )
