"""Measured levels laid on a line: where along it each was taken, beside the prediction there."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.line import METRES_PER_DEGREE_M
from sfn.survey.drive_log import DriveLog, stretches
from sfn.survey.track import Samples
from sfn.units import finite_or_none, power_sum_db

Floats = NDArray[np.float64]

GREATEST_OFF_M = 60.0


@dataclass(frozen=True, slots=True)
class Overlaid:
    """Stretches of a log on the line, shape (L,), in driving order.

    Parameters
    ----------
    distance_m : ndarray
        Along the line. [m]
    measured_dbuvm, predicted_dbuvm : ndarray
        Median of the stretch, and what is predicted at the nearest sample: the named site's level, or the power sum
        of all on air; NaN where it is not known. [dB(uV/m)]
    bias_db, spread_db : float
        Mean and standard deviation of prediction minus measurement; NaN with less than two. [dB]
    off_n : int
        Stretches that are not on the line.
    """

    distance_m: Floats
    measured_dbuvm: Floats
    predicted_dbuvm: Floats
    bias_db: float
    spread_db: float
    off_n: int

    @property
    def compared_n(self) -> int:
        """Stretches that both sides know."""
        return int(np.isfinite(self.predicted_dbuvm).sum())

    def as_json(self) -> dict[str, Any]:
        """For the answer of ``road``."""
        return {
            "stretches_n": len(self.distance_m),
            "off_road_n": self.off_n,
            "prediction_minus_measurement_db": finite_or_none(self.bias_db),
            "spread_db": finite_or_none(self.spread_db),
            "stretches": [
                {"distance_m": float(d), "measured_dbuvm": float(m), "predicted_dbuvm": finite_or_none(p)}
                for d, m, p in zip(self.distance_m, self.measured_dbuvm, self.predicted_dbuvm, strict=True)
            ],
        }


def overlaid(
    log: DriveLog, samples: Samples, level_dbuvm: Floats, *, sites: tuple[str, ...], on_air: tuple[str, ...]
) -> Overlaid:
    """A log of levels laid on a line.

    Parameters
    ----------
    log : DriveLog
    samples : Samples
        M of them.
    level_dbuvm : ndarray, shape (S, M)
        Predicted, all sites. [dB(uV/m)]
    sites : tuple of str (S,)
    on_air : tuple of str
        Sites that count where the log names none.

    Raises
    ------
    PlanError
        If no part of the log lies on the line.
    """
    from scipy.spatial import KDTree

    spacing_m = float(np.median(np.diff(samples.distance_m)))
    taken = stretches(log, stretch_m=max(spacing_m, 25.0))
    middle_deg = float(np.mean(samples.lat_deg))

    def plane(lat: Floats, lon: Floats) -> Floats:
        """Metres about the middle of the line: flat enough to find the nearest sample."""
        east = ((lon - samples.lon_deg[0] + 180.0) % 360.0 - 180.0) * np.cos(np.radians(middle_deg))
        return np.stack((east, lat - middle_deg), axis=-1) * METRES_PER_DEGREE_M

    reach_m = float(np.hypot(spacing_m / 2, GREATEST_OFF_M))
    away_m, at = KDTree(plane(samples.lat_deg, samples.lon_deg)).query(
        plane(taken.lat_deg, taken.lon_deg), distance_upper_bound=reach_m
    )
    on = np.isfinite(away_m)
    if not on.any():
        what = "lies nowhere on the road"
        raise PlanError(
            [
                Problem(
                    log.origin.name, what, f"levels taken within {GREATEST_OFF_M:g} m of the line", code="log-off-line"
                )
            ]
        )
    numbers = {name: i for i, name in enumerate(sites)}
    together = [numbers[name] for name in on_air]
    total = power_sum_db(level_dbuvm[together]) if together else np.full(level_dbuvm.shape[1], np.nan)
    predicted = np.array(
        [
            level_dbuvm[numbers[site], k] if site else total[k]
            for site, k, used in zip(taken.site, at, on, strict=True)
            if used
        ]
    )
    predicted = np.where(np.isfinite(predicted), predicted, np.nan)
    measured = taken.level_dbuvm[on]
    off = (predicted - measured)[np.isfinite(predicted)]
    bias, spread = (float(off.mean()), float(off.std(ddof=1))) if len(off) > 1 else (float("nan"), float("nan"))
    return Overlaid(samples.distance_m[at[on]], measured, predicted, bias, spread, int((~on).sum()))
