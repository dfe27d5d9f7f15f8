"""What would help when delay is exhausted: one site's power, pattern or muting, each judged anew over the map."""

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.classes import UPSET
from sfn.reception.coverage import Coverage
from sfn.solve.objective import Objective
from sfn.study.served import Doubles, Singles, State, judged, levels

Weight = float  # people or km2
Flags = NDArray[np.bool_]

POWER_DB = 3.0
PATTERN_DB = 6.0
SECTOR_DEG = 60.0
SECTOR_STEP_DEG = 15.0
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True)
class Lever:
    """What one change besides delay would do: people or km2 more with adequate service, and above target; weighted."""

    site: str
    change: str
    gain: Weight
    target_gain: Weight


def levers(
    network: Network, computed: Coverage, what: Objective, launches: Doubles, after: State, *,
    executor: Executor | None, cancelled: Callable[[], bool] | None = None, told: Callable[[float], None] | None = None,
) -> tuple[Lever, ...]:  # fmt: skip
    """Each site 3 dB stronger, 3 dB weaker, 6 dB weaker where it upsets most, and muted; the best first.

    Parameters
    ----------
    launches : ndarray, shape (S,)
        Of the plan. [us]
    after : State
        Of the plan.
    cancelled : callable, optional
        Says whether to stop; what is known by then is the answer.
    told : callable, optional
        Told of the part that is done.

    Notes
    -----
    Delays stay as they are: with another level the best delays may be others, so each gain is a lower estimate.
    """
    level, rare = levels(network, computed)
    arrivals = computed.travel_us + launches[:, None]
    made: list[Lever] = []
    heard = network.transmitting
    rows = [i for i, site in enumerate(network.sites) if site.id in heard]
    for done, i in enumerate(rows):
        for change, which, where, by_db in _changes(network, computed, what, after, i):
            if cancelled is not None and cancelled():
                return _sorted(made)
            tried = [_changed(one, which, where, by_db) for one in (level, rare)]
            found = judged(network, computed, what, tried[0], tried[1], arrivals, people=None, executor=executor)
            gain = after.score.without_service - found.score.without_service
            target_gain = after.score.below_target - found.score.below_target
            made.append(Lever(network.sites[i].id, change, gain, target_gain))
        if told is not None:
            told((done + 1) / len(rows))
    return _sorted(made)


def _sorted(made: list[Lever]) -> tuple[Lever, ...]:
    """The best first."""
    return tuple(sorted(made, key=lambda lever: (-lever.gain, -lever.target_gain)))


def _changed(level: Singles, rows: list[int], where: Flags | slice, by_db: float) -> Singles:
    """Levels with some rows changed at some places."""
    made = level.copy()
    for row in rows:
        made[row, where] += np.float32(by_db)
    return made


def _changes(
    network: Network, computed: Coverage, what: Objective, after: State, i: int
) -> Iterator[tuple[str, list[int], Flags | slice, float]]:
    """Changes of one site: in words, which rows, where, and by how much."""
    everywhere = slice(None)
    yield f"{POWER_DB:g} dB more", [i], everywhere, POWER_DB
    yield f"{POWER_DB:g} dB less", [i], everywhere, -POWER_DB
    upsets = (after.quality.quality_class == UPSET) & (after.quality.limiting == i)
    if (what.weight * upsets).sum() > 0:
        bearing = _bearings(computed, network, i)
        towards, where = _worst_sector(bearing, what.weight * upsets)
        said = f"{PATTERN_DB:g} dB less over {SECTOR_DEG:g}° towards {compass(towards)} ({towards:.0f}°)"
        yield said, [i], where, -PATTERN_DB
    fed = _with_children(network, i)
    names = [f"{network.sites[k].name}" for k in fed if k != i]
    yield "not transmitting" + (f", and with it {', '.join(names)}" if names else ""), fed, everywhere, np.nan


def compass(bearing_deg: float) -> str:
    """A bearing in words.

    Examples
    --------
    >>> compass(100.0), compass(350.0)
    ('east', 'north')
    """
    return COMPASS[round(bearing_deg / 45.0) % 8]


def _with_children(network: Network, i: int) -> list[int]:
    """A site and those on air that receive it off air, directly or not."""
    silent = {network.sites[i].id}
    for _ in network.sites:
        silent |= {site.id for site in network.sites if site.fed_off_air_from in silent}
    silenced = silent & network.transmitting
    return [k for k, site in enumerate(network.sites) if site.id in silenced]


def _bearings(computed: Coverage, network: Network, i: int) -> Doubles:
    """Bearing from a site to each pixel, on the map, which keeps angles; shape (M,). [degrees]"""
    from sfn.geodesy.sites import place

    at = place(network)[network.sites[i].id]
    (row,), (column,) = computed.grid.line_of([at.lat_deg], [at.lon_deg])
    rows, columns = np.arange(computed.grid.rows_n) + 0.5 - row, np.arange(computed.grid.columns_n) + 0.5 - column
    return np.asarray(np.degrees(np.arctan2(columns[None, :], -rows[:, None])).ravel() % 360.0)


def _worst_sector(bearing_deg: Doubles, weight: Doubles) -> tuple[float, Flags]:
    """The middle of the sector with most weight, and where it lies."""
    middles = np.arange(0.0, 360.0, SECTOR_STEP_DEG)
    away = [np.abs((bearing_deg - middle + 180.0) % 360.0 - 180.0) for middle in middles]
    best = int(np.argmax([weight[one <= SECTOR_DEG / 2].sum() for one in away]))
    return float(middles[best]), np.asarray(away[best] <= SECTOR_DEG / 2)
