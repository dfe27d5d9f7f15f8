"""Runs of one route at several settings, with what the plan predicts beneath them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.along import line_signals
from sfn.survey.runs import Run, SideBySide, side_by_side
from sfn.terrain.ground import Ground
from sfn.timing import delay_table


@dataclass(frozen=True, slots=True)
class Driven:
    """The runs and the plan along them.

    Parameters
    ----------
    found : SideBySide
    strongest, second : tuple of (str or None)
        Sites of the two strongest signals at each stretch.
    level_difference_db, delay_difference_us : ndarray (B,)
        Second strongest minus strongest, as planned; NaN where there are no two. [dB, us]
    """

    found: SideBySide
    strongest: tuple[str | None, ...]
    second: tuple[str | None, ...]
    level_difference_db: NDArray[np.float64]
    delay_difference_us: NDArray[np.float64]

    def pairs(self, names: Mapping[str, str]) -> tuple[str, ...]:
        """The two strongest at each stretch by their names; empty where there are no two."""
        return tuple(
            f"{names[b]} minus {names[a]}" if a and b else "" for a, b in zip(self.strongest, self.second, strict=True)
        )


def driven(network: Network, runs: Sequence[Run], *, stretch_m: float = 100.0, ground: Ground | None = None) -> Driven:
    """Runs side by side with the plan's level and delay difference of the two strongest signals.

    Parameters
    ----------
    network : Network
    runs : sequence of Run
    stretch_m : float
        [m]
    ground : Ground, optional
        Terrain; a smooth earth without it.

    Raises
    ------
    PlanError
        If the runs cannot be compared, or a position cannot be read.
    """
    try:
        found = side_by_side(runs, stretch_m=stretch_m)
    except ValueError as error:
        raise PlanError([Problem("runs", str(error), "two runs or more of one route at different settings")]) from error
    signals = line_signals(network, found.lat_deg, found.lon_deg, ground=ground)
    level = signals.level_dbuvm
    level = np.where(np.array([site.on_air for site in network.sites])[:, None] & np.isfinite(level), level, -np.inf)
    launches = delay_table(network, placed=place(network)).launches()
    arrival = signals.travel_us + np.array([launches[name] for name in signals.sites])[:, None]
    order = np.argsort(-level, axis=0)
    columns = np.arange(len(found.distance_m))
    first, second = order[0], order[min(1, len(order) - 1)]
    two = np.isfinite(level[second, columns]) & (first != second)
    ids = [site.id for site in network.sites]
    with np.errstate(invalid="ignore"):
        difference = level[second, columns] - level[first, columns]
    return Driven(
        found=found,
        strongest=tuple(ids[k] if np.isfinite(level[k, c]) else None for c, k in enumerate(first)),
        second=tuple(ids[k] if two[c] else None for c, k in enumerate(second)),
        level_difference_db=np.where(two, difference, np.nan),
        delay_difference_us=np.where(two, arrival[second, columns] - arrival[first, columns], np.nan),
    )
