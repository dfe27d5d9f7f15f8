"""Places along a road with what is received there, for a chart and a map that show the same place."""

from typing import Any

import numpy as np

from sfn.reception.classes import class_words
from sfn.report.numbers import db, number, us
from sfn.study.road import Road


def road_places(of: Road) -> dict[str, Any]:
    """Every sample of a road: distance, place, and what is received there in a line.

    Parameters
    ----------
    of : Road

    Returns
    -------
    document : dict
        ``length_m``, and lists with an entry a sample: ``at_m`` [m], ``lat``, ``lon`` [degrees], ``says``.
    """
    samples = of.samples
    return {
        "length_m": round(float(samples.distance_m[-1]), 1),
        "at_m": np.round(samples.distance_m, 1).tolist(),
        "lat": np.round(samples.lat_deg, 6).tolist(),
        "lon": np.round(samples.lon_deg, 6).tolist(),
        "says": _sentences(of),
    }


def _sentences(of: Road) -> list[str]:
    """A line a sample."""
    names = {site.id: site.name for site in of.network.sites}
    words = class_words(of.yard.carried)
    level_difference, delay_difference = of.level_difference_db, of.of_second(of.delay_difference_us)
    made = []
    for k, at_m in enumerate(of.samples.distance_m):
        kind, margin = of.quality.quality_class[k], of.quality.margin_db[k]
        parts = [f"{number(float(at_m) / 1000, 2)} km: {'not known' if np.isnan(kind) else words[int(kind)]}"]
        if np.isfinite(margin):
            parts.append(f"margin {db(float(margin), 1, signed=True)}")
        if of.strongest[k] >= 0:
            strongest = names[of.sites[of.strongest[k]]]
            parts.append(f"strongest {strongest}")
            if of.second[k] >= 0 and np.isfinite(level_difference[k]):
                second = names[of.sites[of.second[k]]]
                level, delay = (
                    db(float(level_difference[k]), 1, signed=True),
                    us(float(delay_difference[k]), 1, signed=True),
                )
                parts.append(f"{second} minus {strongest} {level}, {delay}")
        if other := of.other_at(k):
            parts.append(f"disturbed by {other}")
        made.append(", ".join(parts))
    return made
