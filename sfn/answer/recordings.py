"""As JSON: the answer of ``correlate``: which channels, the delay, and what the pilot makes of it."""

import math
from typing import Any

from sfn.study.recordings import Measured


def document(answer: Measured) -> dict[str, Any]:
    """The JSON document of ``correlate --json``."""
    names = (
        "weighting delay_us uncertainty_us low_us high_us bound_us refused drift_us_per_s drift_uncertainty_us_per_s"
        " dispersion_us misfit_ratio inverted coherence_ratio band_low_hz band_high_hz duration_s"
    ).split()
    tree: dict[str, Any] = {"reference": answer.reference, "off_air": answer.off_air}
    tree |= {name: _finite(getattr(answer.found, name)) for name in names}
    tree |= {"signal_delay_us": answer.signal_us, "marker_delay_us": answer.marker_us}
    fine, phase = answer.refined, answer.phase
    tree |= {
        "pilot_delay_us": None if fine is None else fine.delay_us,
        "pilot_uncertainty_us": None if fine is None else fine.uncertainty_us,
        "pilot_cycles": None if fine is None else fine.cycles,
        "pilot_phase_deg": None if phase is None else phase.phase_deg,
        "pilot_frequency_hz": None if phase is None else phase.frequency_hz,
    }
    tree |= {
        "kind": "demodulated",
        "alone": answer.alone,
        "close_arrival_us": answer.close_us,
        "misfit_limit_ratio": _finite(answer.found.misfit_limit_ratio),
    }
    tree["peaks"] = [{"delay_us": p.delay_us, "height_ratio": p.height_ratio} for p in answer.found.peaks]
    tree["problems"] = [p.as_json() for p in answer.problems]
    return tree


def _finite(value: Any) -> Any:
    """Infinite and missing numbers are null in JSON."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
