"""What ``placing --json`` and the page of new transmitters show of an answer."""

from dataclasses import asdict
from typing import Any

from sfn.answer.how_sure_document import plan_sure, sure_document
from sfn.answer.losers import losers_document
from sfn.answer.served import state_document
from sfn.plan.left_out import left_out_document
from sfn.reception.classes import CLASSES, shown_classes
from sfn.study.placing_found import PLACING_CAUTION, Placed, Placing, settings_of
from sfn.study.plans_found import sampling


def placing_document(found: Placing) -> dict[str, Any]:
    """The JSON document of a search for the place of a new transmitter."""
    weights, people = found.asked.counted.weights, found.what.unit == "people"
    shown = shown_classes(found.what.yard.carried)
    return {
        "network": found.network.name,
        "objective": "people" if people else "area",
        "unit": found.what.unit,
        "weights": [] if weights is None else list(weights.said),
        "counted": found.counted,
        "served_now": found.counted - found.before.score.without_service,
        "left_out_sites": left_out_document(found.network.left_out),
        "before": state_document(found.before, shown),
        "common_delay_us": found.common_us,
        "how_found": list(found.said),
        "masts": [_mast(found, k, shown) for k in range(len(found.masts))],
        "not_looked_at": [asdict(one) for one in found.left],
        "azimuth_step_deg": found.asked.azimuth_step_deg,
        **({} if found.sure is None else sure_document(found.sure, people=people)),
        "caution": PLACING_CAUTION,
        "doubts": list(found.doubts),
        "rests_on": list(found.rests_on),
        "classes_by": found.beside.by,
        "ended": found.ended,
        "places_compared": found.compared_n,
        "places": found.places_n,
    }


def _mast(found: Placing, k: int, shown: tuple[int, ...]) -> dict[str, Any]:
    """One mast, with its place in the list."""
    one, apart = found.masts[k], found.apart(k)
    best = one.best
    drawn = found.sure.plans[k + 1] if found.sure is not None and k + 1 < len(found.sure.plans) else None
    open_by = sampling(found.what.weight, found.before, one.after)
    return {
        "rank": k + 1,
        **_where(one),
        "pattern": best.pattern,
        "azimuth_deg": best.azimuth_deg,
        "offset_us": best.offset_us,
        "launch_us": best.launch_us,
        "feed_us": one.mast.feed_us,
        "added_us": one.added_us,
        "settings": []
        if one.mast.feed_us is None
        else [{"name": name, "value": value, "unit": unit} for name, (value, unit) in settings_of(one.row).items()],
        "served": found.counted - found.before.score.without_service + one.gain,
        "gain": one.gain,
        "gained": one.gained,
        "lost": one.lost,
        "gained_people": one.gained_people,
        "lost_people": one.lost_people,
        "gained_km2": one.gained_km2,
        "lost_km2": one.lost_km2,
        "lost_to": [
            {
                "class": CLASSES[code],
                "code": code,
                "area_km2": one.lost_to.area_km2[code],
                "people": None if one.lost_to.people is None else one.lost_to.people[code],
            }
            for code in sorted(shown)
            if one.lost_to.area_km2[code] > 0.0
        ],
        "not_judged": one.unjudged,
        "sampling": open_by,
        "within_sampling": one.gain <= open_by,
        "more_than_next": None if apart is None else apart[0],
        "more_than_next_sampling": None if apart is None else apart[1],
        "better_than_next": found.better(k),
        "after": state_document(one.after, shown),
        **losers_document(one.places, one.areas),
        "reaches_out_of": [{"licence": name, "outside_km2": km2} for name, km2 in one.beyond],
        "ways": [asdict(way) for way in one.ways],
        "directions_compared": one.directions_n,
        "says": list(found.says(k)),
        **({} if drawn is None else plan_sure(drawn, people=found.what.unit == "people")),
    }


def _where(one: Placed) -> dict[str, Any]:
    """Where it stands and what it is."""
    mast = one.mast
    return {
        "name": mast.name,
        "site": one.site,
        "position": dict(mast.position),
        "lat_deg": mast.at.lat_deg,
        "lon_deg": mast.at.lon_deg,
        "ground_m": mast.ground_m,
        "antenna_m": mast.antenna_m,
        "erp_kw": {"h": mast.erp_kw.h, "v": mast.erp_kw.v},
        "like": one.like,
    }
