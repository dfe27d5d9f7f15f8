"""As JSON: the answer of ``calibrate``: drive-test logs beside the levels that the plan predicts."""

from typing import Any

from sfn.plan.left_out import left_out_document
from sfn.study.calibrated import Calibrated, shifts_of
from sfn.survey.calibrate import Sector
from sfn.units import finite_or_none


def document(answer: Calibrated) -> dict[str, Any]:
    """The JSON document of ``calibrate --json``."""
    found, road = answer.found, answer.road
    mean, spread, count = found.together_db
    return {
        "network": answer.network.name,
        "left_out_sites": left_out_document(answer.network.left_out),
        "stretch_m": answer.stretch_m,
        "samples_n": answer.samples_n,
        "stretches_n": len(road),
        "shifts_db": {site: list(shifts) for site, shifts in shifts_of(answer).items()},
        "sites": [_sector(row) for row in found.whole],
        "sectors": [_sector(row) for row in found.sectors],
        "together": {"difference_db": finite_or_none(mean), "spread_db": finite_or_none(spread), "stretches_n": count},
        "stretches": [
            {
                "lat": float(road.lat_deg[k]),
                "lon": float(road.lon_deg[k]),
                "measured_dbuvm": float(road.level_dbuvm[k]),
                "site": found.site[k],
                "difference_db": finite_or_none(found.difference_db[k]),
            }
            for k in range(len(road))
        ],
        "logs": [origin.as_json(used_n) for origin, used_n in answer.origins],
        "problems": [p.as_json() for p in answer.problems],
    }


def _sector(row: Sector) -> dict[str, Any]:
    """One line of the answer."""
    return {
        "site": row.site,
        "from_deg": row.from_deg,
        "to_deg": row.to_deg,
        "stretches_n": row.stretches_n,
        "difference_db": finite_or_none(row.difference_db),
        "spread_db": finite_or_none(row.spread_db),
        "uncertainty_db": finite_or_none(row.uncertainty_db),
        "shift_db": finite_or_none(row.shift_db),
        "significant": row.significant,
    }
