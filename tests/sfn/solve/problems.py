"""Small networks over made-up places, for the search's tests and its benchmark."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.reception.quality import yardstick
from sfn.solve.objective import Objective, objective
from tests.sfn.networks import example

US_PER_KM = 3.3367
FREQUENCIES = {"fm-stereo": 98.3, "dab-mode-1": 223.936, "8-vsb": 600.0}


def made(
    sites_km: NDArray[Any],
    points_km: NDArray[Any],
    *,
    service: str = "fm-stereo",
    near_dbuvm: float = 135.0,
    decade_db: float = 50.0,
    weight: NDArray[Any] | None = None,
    spread_db: NDArray[Any] | None = None,
) -> Objective:
    """Objective of sites and points in a plane: levels fall by `decade_db` a decade of distance."""
    apart = np.linalg.norm(sites_km[:, None, :] - points_km[None, :, :], axis=2)
    level = near_dbuvm - decade_db * np.log10(np.maximum(apart, 0.5))
    level = level if spread_db is None else level + spread_db
    frequency = FREQUENCIES[service]
    yard = yardstick(example(lambda tree: tree.update(service=service, frequency_mhz=frequency)))
    return objective(
        [f"s{i}" for i in range(len(sites_km))],
        level,
        level + 1.0,
        apart * US_PER_KM,
        yard,
        frequency_mhz=frequency,
        weight=np.ones(len(points_km)) if weight is None else weight,
        unit="people",
    )


def drawn(rng: np.random.Generator, *, sites: int, points: int, side_km: float = 60.0, **more: Any) -> Objective:
    """Random sites and weighted points in a square, with a local spread of levels."""
    return made(
        rng.uniform(0, side_km, (sites, 2)),
        rng.uniform(0, side_km, (points, 2)),
        weight=np.floor(rng.lognormal(3.0, 1.5, points)),
        spread_db=rng.normal(0, 6, (sites, points)),
        **more,
    )
