"""What ``optimise --json`` and the Offsets page show of an answer."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from sfn.answer.delays import document as delays_document
from sfn.answer.losers import losers_document
from sfn.answer.served import score_document, state_document
from sfn.plan.left_out import left_out_document
from sfn.reception.classes import shown_classes
from sfn.reception.others import others_says
from sfn.study.optimise_devices import changed_says
from sfn.study.optimised import Optimised

AS_PROMISED_RATIO = 0.01  # of what is served: a plan that loses more through tolerances does not meet its target


def document(found: Optimised) -> dict[str, Any]:
    """The JSON document of ``optimise --json``."""
    settings = delays_document(found.delays)
    after = found.after.score.without_service
    counted = float(found.what.weight.sum())
    promised = after + AS_PROMISED_RATIO * max(counted - after, 0.0)
    quantiles = np.quantile(found.drawn, [0.5, 0.9]).tolist()
    weights = found.asked.weights
    shown = shown_classes(found.what.yard.carried)
    return {
        "network": found.network.name,
        "objective": "area" if found.what.unit == "km2" else "people",
        "unit": found.what.unit,
        "weights": [] if weights is None else list(weights.said),
        "counted": counted,
        "left_out_sites": left_out_document(found.network.left_out),
        "left_out_km2": found.left_out_km2,
        "left_out_people": found.left_out_people,
        "other_transmitters_say": others_says(found.network, found.what.yard.carried),
        "before": state_document(found.before, shown),
        "after": state_document(found.after, shown),
        "served_gain_pct": _served_gain_pct(found, counted),
        "offsets": found.offsets_us,
        "changed": [device.site for device in found.devices if device.changes],
        "devices": [
            {"site": x.site, "changes": x.changes, "by_offsets": x.by_offsets, "against": x.against}
            for x in found.devices
        ],
        "changed_says": list(changed_says(found.devices, {site.id: site.name for site in found.network.sites})),
        "relays": [problem.as_json() for problem in found.relays],
        "nothing_to_find": found.nothing_to_find,
        "common_delay_held_us": found.common_held_us,
        "settled_on_devices": found.settled,
        "settled_says": found.settled_says,
        "at_limits": [
            {"site": x.site, "side": x.side, "offset_us": x.offset_us, "room_us": x.room_us, "by": x.by, "says": x.says}
            for x in found.at_limits
        ],
        "search_step_us": found.limits.step_us,
        "seed_spread": {
            "without_service": list(found.spread.without_service),
            "width": found.spread.width,
            "ended": list(found.spread.ended),
            "more_time": found.spread.more_time,
            "night": found.spread.night,
        },
        "settings": settings["sites"],
        "gained": found.moved(found.what.weight, gained=True),
        "gained_people": found.moved(found.asked.people, gained=True),
        "gained_km2": found.moved(found.area_km2, gained=True),
        "lost": found.moved(found.what.weight, gained=False),
        "lost_people": found.moved(found.asked.people, gained=False),
        "lost_km2": found.moved(found.area_km2, gained=False),
        **losers_document(found.places, found.areas),
        "sensitivity": {
            name: {"earlier_1_us": score_document(early), "later_1_us": score_document(late)}
            for name, (early, late) in found.sensitivity.items()
        },
        "tolerances": {
            "draws": int(found.drawn.size),
            "without_service": {"median": quantiles[0], "p90": quantiles[1], "max": float(found.drawn.max())},
            "target_without_service": promised,
            "probability_target_met": float(np.mean(found.drawn <= promised)),
            "probability_better_than_before": found.no_worse_ratio,
        },
        "loops": [_loop(entry, found) for entry in settings["triangles"]],
        "levers": [
            {"site": x.site, "change": x.change, "gain": x.gain, "target_gain": x.target_gain} for x in found.levers
        ],
        "levers_withheld": found.network.unjudged or None,
        "lower_bound": found.bound,
        "bound": found.bound,
        "ended": found.found.ended,
        "tried": found.found.tried,
        "starts": [{"start": name} | score_document(s) for name, s in found.found.starts],
        "rests_on": list(found.rests_on),
        "classes_by": found.beside.by,
        "problems": settings["problems"],
        "seconds": found.found.seconds_s,
    }


def _served_gain_pct(found: Optimised, counted: float) -> float | None:
    """How much more is served than before, in per cent of what was; None where nothing was. [%]"""
    before, after = (counted - one.score.without_service for one in (found.before, found.after))
    return 100.0 * (after - before) / before if before > 0 else None


def _loop(entry: Mapping[str, Any], found: Optimised) -> dict[str, Any]:
    """A loop's misclosure and what the plan leaves of it at each of its points."""
    a, b, c = entry["sites"]
    launches = found.table.launches()
    left = [
        launches[q] - launches[p] - wish
        for (p, q), wish in zip(((a, b), (b, c), (c, a)), entry["wishes_us"], strict=True)
    ]
    kept = {key: entry[key] for key in ("misclosure_us", "point_kinds", "point_over")}
    return {"sites": [a, b, c], **kept, "left_us": left}
