"""Echoes of an impulse response measured at a point, given to a network's sites."""

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.study.point import point_signals
from sfn.survey.impulse import RANGE_DB, Floats, Response, assign, peaks
from sfn.survey.measurements import SHARING, WRITTEN
from sfn.terrain.ground import Ground

HEAD = (*WRITTEN, *SHARING)

_MOST_ECHOES = 40
# The strongest sites of the plan at the point: weaker ones make no echo beside forty others.
_MOST_SITES = 40


@dataclass(frozen=True, slots=True)
class Echoes:
    """The response with its echoes, and the rows that `reconcile` takes, in the order of `HEAD`."""

    response: Response
    rows: tuple[str, ...]
    weak_n: int
    """Lines more than 25 dB below the strongest: counted as noise."""
    beside_n: int
    """Lines within 1 us of a stronger one, which stands for them, and what is beyond the 40 strongest."""


def echoes(
    network: Network,
    delay_us: Floats,
    level_db: Floats,
    *,
    lat_deg: float,
    lon_deg: float,
    launch_uncertainty_us: float,
    uncertainty_us: float,
    as_set: bool = False,
    ground: Ground | None = None,
) -> Echoes:
    """Give the peaks of a response to the sites heard at a point.

    Parameters
    ----------
    network : Network
    delay_us, level_db : ndarray (K,)
        The response, echo by echo or sample by sample. [us, dB]
    lat_deg, lon_deg : float
        Where it was measured. [degrees]
    launch_uncertainty_us : float
        How far launches may be off their plan. [us]
    uncertainty_us : float
        Standard uncertainty of one echo's delay; a row, the difference of two, claims sqrt(2) times as much. [us]
    as_set : bool
        Launches with what is set now.
    ground : Ground, optional
        Terrain; a smooth earth without it.

    Raises
    ------
    PlanError
        If no site is heard there.
    """
    heard = point_signals(network, lat_deg=lat_deg, lon_deg=lon_deg, as_set=as_set, ground=ground).signals[:_MOST_SITES]
    if not heard:
        raise PlanError(
            [Problem("at", "no site of the plan is heard there", "a place that a site covers", code="no-site-heard")]
        )
    kept = peaks(delay_us, level_db=level_db, range_db=RANGE_DB)
    kept = np.sort(kept[np.argsort(-level_db[kept], kind="stable")][:_MOST_ECHOES])
    response = assign(
        delay_us[kept],
        level_db=level_db[kept],
        sites=[s.site for s in heard],
        arrival_us=[s.arrival_us for s in heard],
        level_dbuvm=[s.level_dbuvm for s in heard],
        launch_uncertainty_us=launch_uncertainty_us,
    )
    place = f"{lat_deg:.6f},{lon_deg:.6f}"
    # Every row has the error of the reference's echo in it: named, so that they are adjusted with that correlation.
    name = f"{lat_deg:.5f} {lon_deg:.5f} {_mark(delay_us, level_db)}"
    claimed = f"{math.sqrt(2) * uncertainty_us:.4g},antenna,,{name},{uncertainty_us:.4g}"
    rows = tuple(
        f",echoes,{place},{site},{reference},{difference:.4f},{claimed}"
        for site, reference, difference in response.differences()
    )
    weak_n = int(np.count_nonzero(level_db < np.max(level_db) - RANGE_DB))
    return Echoes(response, rows, weak_n, len(level_db) - weak_n - len(kept))


def _mark(delay_us: Floats, level_db: Floats) -> str:
    """What tells one response from another at the same place."""
    told = np.stack((delay_us, level_db)).astype("<f8").tobytes()
    return hashlib.sha256(told).hexdigest()[:8]
