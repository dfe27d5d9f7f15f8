"""As JSON: the answer of ``arrivals``: every path in a recording of I and Q."""

import math
from typing import Any

from sfn.study.arrivals import Arrivals
from sfn.survey.arrivals.paths import RESOLUTION_LEVELS_DB
from sfn.survey.verdict import NORMAL_95


def document(answer: Arrivals) -> dict[str, Any]:
    """The JSON document of ``arrivals --json``."""
    found = answer.found
    given = answer.response.echoes if answer.response is not None else (None,) * len(found.paths)
    top = found.paths[found.strongest]
    return {
        "recording": answer.recording,
        "reference": answer.reference,
        "kind": "iq",
        "arrivals": [
            {
                "delay_us": p.delay_us,
                "low_us": p.delay_us - NORMAL_95 * p.uncertainty_us,
                "high_us": p.delay_us + NORMAL_95 * p.uncertainty_us,
                "uncertainty_us": p.uncertainty_us,
                "hidden_us": p.hidden_us,
                "after_strongest_us": p.delay_us - top.delay_us,
                "level_db": p.level_db,
                "level_uncertainty_db": p.level_uncertainty_db,
                "level_hidden_db": p.level_hidden_db,
                "resolution_us": p.resolution_us,
                "parted": p.parted,
                "site": None if echo is None else echo.site,
                "alternatives": [] if echo is None else list(echo.alternatives),
            }
            for p, echo in zip(found.paths, given, strict=True)
        ],
        "resolution": [
            {"level_db": db, "resolution_us": us if math.isfinite(us) else None}
            for db, us in zip(RESOLUTION_LEVELS_DB, found.resolution_us, strict=True)
        ],
        "carrier_hz": found.carrier_hz,
        "deviation_khz": found.deviation_hz / 1e3,
        "drift_us_per_s": found.drift_us_per_s,
        "snr_db": found.snr_db,
        "misfit_ratio": found.misfit_ratio,
        "duration_s": found.duration_s,
        "at_s": found.at_s,
        "unheard": list(answer.response.unheard) if answer.response is not None else [],
        "measurements_head": ",".join(answer.head),
        "measurements": list(answer.rows),
        "problems": [p.as_json() for p in answer.problems],
    }
