"""As JSON: runs of one route at several settings, with what the plan predicts beneath them."""

from typing import Any

from sfn.plan import Network
from sfn.plan.left_out import left_out_document
from sfn.study.driven import Driven, DrivenRoutes
from sfn.units import finite_or_none


def document(answer: DrivenRoutes, network: Network) -> dict[str, Any]:
    """The JSON document of ``runs --json``."""
    return {
        "network": network.name,
        "left_out_sites": left_out_document(network.left_out),
        "stretch_m": answer.stretch_m,
        "routes": [_route(one) for one in answer.routes],
        "logs": [run.origin.as_json(len(run.lat_deg)) for one in answer.routes for run in one.runs],
        "problems": [p.as_json() for p in (*answer.problems, *(p for r in answer.routes for p in r.found.problems))],
    }


def _route(one: Driven) -> dict[str, Any]:
    """One road of the document."""
    found = one.found

    def best(k: int) -> float | None:
        """Setting of a number, None where none stands out."""
        return found.settings_us[k] if k >= 0 else None

    return {
        "runs": [{"log": run.name, "setting_us": run.setting_us} for run in one.runs],
        "moved": one.moved,
        "settings_us": list(found.settings_us),
        "best_share_pct": list(found.best_share_pct),
        "lowest_mark": [finite_or_none(m) for m in found.lowest_mark],
        "served_pct": list(one.served_pct),
        "parts": [{"from_m": p.from_m, "to_m": p.to_m, "best_us": p.best_us} for p in found.parts],
        "remarks": [{"distance_m": r.distance_m, "setting_us": r.setting_us, "text": r.text} for r in found.remarks],
        "stretches": [
            {
                "distance_m": float(found.distance_m[k]),
                "lat": float(found.lat_deg[k]),
                "lon": float(found.lon_deg[k]),
                "level_dbuvm": [finite_or_none(v) for v in found.level_dbuvm[:, k]],
                "mark": [finite_or_none(v) for v in found.mark[:, k]],
                "quality_db": [finite_or_none(v) for v in found.quality_db[:, k]],
                "best_us": best(int(found.best[k])),
                "strongest": one.strongest[k],
                "second": one.second[k],
                "level_difference_db": finite_or_none(one.level_difference_db[k]),
                "delay_difference_us": finite_or_none(one.delay_difference_us[k]),
                "predicted_dbuvm": finite_or_none(one.level_dbuvm[k]),
            }
            for k in range(len(found.distance_m))
        ],
    }
