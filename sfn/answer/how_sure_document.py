"""What drawn worlds say of plans, for commands, pages and scripts."""

from typing import Any

from sfn.study.how_sure import SHOWN_N, HowSure
from sfn.study.sure_figures import Sure
from sfn.study.sure_measured import Measured


def sure_document(found: HowSure, *, people: bool) -> dict[str, Any]:
    """What the worlds are: figures of the model, and in words what they leave out."""
    return {
        "worlds": found.worlds_n,
        "worlds_seed": found.asked.seed,
        "worlds_ended": found.ended,
        "worlds_model": {
            "sigma_db": found.doubt.sigma_db,
            "sigma_says": found.sigma_says,
            "whole_db": found.doubt.whole_db,
            "decorrelation_m": found.doubt.distance_m,
            "site_correlation": found.doubt.site_correlation_ratio,
            "cosited_correlation": found.doubt.cosited_correlation_ratio,
        },
        "worlds_say": list(found.says),
        "measured": measured_document(found.measured),
        "today_sure": plan_sure(found.plans[0], people=people),
    }


def measured_document(measured: Measured | None) -> dict[str, Any] | None:
    """What worlds were made to agree with; None where nothing was measured."""
    if measured is None:
        return None
    return {
        "stretches_n": measured.stretches_n,
        "used_n": measured.used_n,
        "outside_n": measured.outside_n,
        "untold_n": measured.untold_n,
        "values_n": measured.values_n,
        "values_before_thinning_n": measured.pixels_n,
        "sites": list(measured.sites),
        "spread_before_db": measured.before_db,
        "spread_after_db": measured.after_db,
        "shift_db": measured.shift_db,
        "meter_db": measured.meter_db,
        "problems": [one.as_json() for one in measured.problems],
    }


def plan_sure(sure: Sure, *, people: bool) -> dict[str, Any]:
    """One plan; `people_p5` and its like are null where area is counted."""
    served = {"p5": sure.p5, "p20": sure.p20, "p50": sure.p50, "p95": sure.p95, "mean": sure.mean}
    return {
        **{f"people_{name}": value if people else None for name, value in served.items()},
        **{f"served_{name}": value for name, value in served.items()},
        "served_p5_error": sure.p5_error,
        "served_p50_error": sure.p50_error,
        "served_p95_error": sure.p95_error,
        "served_as_predicted": sure.nominal,
        "better_than_today": sure.better,
        "better_than_today_error": sure.better_error,
        "unknowns_looked_at": sure.looked_n,
        "unknowns": [
            {
                "kind": one.kind,
                "of": list(one.of),
                "says": one.says,
                "share_alone": one.alone,
                "share_alone_error": one.alone_error,
                "share_in_all": one.in_all,
                "share_in_all_error": one.in_all_error,
            }
            for one in sure.unknowns[:SHOWN_N]
        ],
    }
