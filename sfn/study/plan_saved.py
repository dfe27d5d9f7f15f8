"""A plan of change taken up: written into the document as it was typed."""

from collections.abc import Mapping
from typing import Any

from sfn.plan import Network
from sfn.study.lever_saved import with_levers
from sfn.study.lever_try import Lever
from sfn.study.what_if import WhatIf


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
    made = with_levers(document, network, levers_of(plan))
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


def radiates_otherwise(plan: Mapping[str, Any]) -> bool:
    """Whether a plan changes more than delays: what a licence is asked about."""
    return any(name != "offset_us" for one in plan["changes"] for name in one["fields"])


def tried_of(plan: Mapping[str, Any], network: Network) -> WhatIf | None:
    """A plan as a try, for the map; None where it puts a site on air that is not transmitting, which no try does."""
    fields = {one["site"]: one["fields"] for one in plan["changes"]}
    if any(some.get("on_air") for some in fields.values()):
        return None
    off = frozenset(site for site, some in fields.items() if some.get("on_air") is False)
    what = WhatIf(offsets_us=plan["offsets"], off_air=off, levers=levers_of(plan))
    return what.against(network)


def levers_of(plan: Mapping[str, Any]) -> dict[str, Lever]:
    """What a plan radiates otherwise, site by site."""
    made = {
        one["site"]: Lever(**{key: value for key, value in one["fields"].items() if key not in ("on_air", "offset_us")})
        for one in plan["changes"]
    }
    return {site: lever for site, lever in made.items() if lever}


def plan_reason(plan: Mapping[str, Any], *, unit: str, cost_unit: str) -> str:
    """What is proposed as the reason of a revision that takes a plan up."""
    said = "; ".join(one["says"] for one in plan["changes"])
    return (
        f"plan of change, cost {plan['cost']:g} {cost_unit}, {plan['gain']:.0f} {unit} more served as predicted: {said}"
    )
