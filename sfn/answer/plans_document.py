"""What ``optimise --vary --json`` and the page of plans show of an answer."""

from dataclasses import asdict
from typing import Any

from sfn.answer.how_sure_document import plan_sure, sure_document
from sfn.answer.losers import losers_document
from sfn.answer.served import state_document
from sfn.plan.left_out import left_out_document
from sfn.reception.classes import shown_classes
from sfn.study.plan_levers import KINDS
from sfn.study.plans_found import PLANS_CAUTION, Plan, Plans


def plans_document(found: Plans) -> dict[str, Any]:
    """The JSON document of a search for plans."""
    weights, shown = found.asked.counted.weights, shown_classes(found.what.yard.carried)
    return {
        "network": found.network.name,
        "objective": "area" if found.what.unit == "km2" else "people",
        "unit": found.what.unit,
        "weights": [] if weights is None else list(weights.said),
        "counted": found.counted,
        "served_now": found.counted - found.before.score.without_service,
        "left_out_sites": left_out_document(found.network.left_out),
        "vary": [kind for kind in KINDS if kind in found.asked.vary],
        "costs": found.costs.model_dump() | {"assumed": found.costs_assumed},
        "licences": [
            {"name": x.name, "level_dbuvm": x.level_dbuvm, "sites": None if x.sites is None else sorted(x.sites)}
            for x in found.licences
        ],
        "reaching_out_as_planned": [asdict(one) for one in found.overstepped],
        "before": state_document(found.before, shown),
        "robust": found.asked.robust,
        "plans": [_plan(found, one, shown) | _sure_of(found, k) for k, one in enumerate(found.plans, start=1)],
        **({} if found.sure is None else sure_document(found.sure, people=found.what.unit == "people")),
        "plans_left_off": found.left_off,
        "all_served": found.all_served,
        "silent_behind_parent": list(found.silent_behind),
        "plans_left_out_for_relays": [
            {"cost": one.cost, "gain": one.gain, "problem": one.problem.as_json()} for one in found.relay_lost
        ],
        "not_varied": [asdict(one) for one in found.not_varied],
        "caution": PLANS_CAUTION,
        "doubts": list(found.doubts),
        "rests_on": list(found.rests_on),
        "classes_by": found.beside.by,
        "ended": found.found.ended,
        "looked": found.found.looked,
        "places_searched": found.found.places_n,
        "places": found.places_n,
        "seed": found.asked.counted.seed,
        "seconds": found.found.seconds_s,
    }


def _sure_of(found: Plans, k: int) -> dict[str, Any]:
    """A plan in drawn worlds, where they were drawn."""
    return {} if found.sure is None else plan_sure(found.sure.plans[k], people=found.what.unit == "people")


def _plan(found: Plans, plan: Plan, shown: tuple[int, ...]) -> dict[str, Any]:
    """One plan."""
    return {
        "cost": plan.cost,
        "served": found.counted - plan.after.score.without_service,
        "gain": plan.gain,
        "gained": plan.gained,
        "lost": plan.lost,
        "sampling": plan.sampling,
        "within_sampling": plan.within_sampling,
        "changes": [
            {
                "site": one.site,
                "cost": one.cost,
                "fields": dict(one.fields),
                "says": one.says,
                "settings": [
                    {"name": name, "before": before, "after": after, "unit": unit}
                    for name, before, after, unit in one.settings
                ],
            }
            for one in plan.changes
        ],
        "offsets": {site.id: site.offset_us for site in plan.planned.sites},
        "common_delay_held_us": plan.common_held_us,
        "after": state_document(plan.after, shown),
        **losers_document(plan.places, plan.areas),
        "cautions": [problem.as_json() for problem in plan.cautions],
        "says": list(found.says(plan)),
    }
