"""How a new transmitter at one mast would best radiate: its offset on its device's steps, its pattern and direction.

Every offset is looked at with nothing but reception itself: in coarse steps over all that is allowed, then every step
of the device about the best three. Patterns are compared in every direction at the best offset of none at all, and the
best three then looked at with every offset.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.field.gain import bearings_on, level_change
from sfn.field.transmitter import transmitter
from sfn.plan import Antenna, Network
from sfn.reception.coverage import Coverage, received_plane
from sfn.reception.quality import service_quality
from sfn.reception.radiated import as_radiated
from sfn.solve.objective import Objective, along, quality_totals
from sfn.study.lever_try import ALL_ROUND
from sfn.study.mast import Mast, patterns_of, turns, with_pattern
from sfn.study.optimise import network_objective, usual_most_us, usual_step_us
from sfn.study.optimise_devices import with_offsets
from sfn.study.placing_found import AskedPlacing, Way
from sfn.study.plan_scene import heard_by
from sfn.timing import DelayTable, delay_table
from sfn.timing.device import finest_step

Doubles = NDArray[np.float64]
Places = NDArray[np.intp]
Key = tuple[float, float, float]

COMPARED_N = 20_000
"""Places on which patterns and directions are compared before the best of them are judged on all."""
BEST_WAYS_N = 3
"""Patterns and directions that are looked at with every offset, beside none at all."""
BEST_OFFSETS_N = 3
"""Coarse offsets about which every step of the device is looked at."""
REACHED_RATIO = 0.51
"""A launch further from its wish than this of a step is beyond the device."""


@dataclass(frozen=True, slots=True)
class AtMast:
    """A mast whose levels are known.

    Parameters
    ----------
    mast : Mast
    planned : Network
        With its site on air, alike all round, at the end; the common delay held.
    levels : Coverage
        Of that.
    table : DelayTable
        Of the network without it.
    asked : AskedPlacing
    known : mapping of id to Antenna
        Patterns that may be tried.
    executor : Executor
    """

    mast: Mast
    planned: Network
    levels: Coverage
    table: DelayTable
    asked: AskedPlacing
    known: Mapping[str, Antenna]
    executor: Executor

    @property
    def name(self) -> str:
        """Id of its site."""
        return self.planned.sites[-1].id

    def with_way(self, pattern: str, azimuth_deg: float | None) -> Network:
        """The network with a pattern there."""
        antenna = None if pattern == ALL_ROUND else self.known[pattern]
        return with_pattern(self.planned, self.name, antenna, azimuth_deg or 0.0)

    def launches(self, launch_us: float) -> dict[str, float]:
        """Launches of all sites, with that of the new one. [us]"""
        return {**self.table.launches(), self.name: launch_us}


def ways(at: AtMast) -> tuple[tuple[Way, ...], int]:
    """Ways to radiate that were looked at with every offset, the best first; and how many were compared before.

    Raises
    ------
    PlanError
        If its device reaches no launch that is allowed.
    """
    steps = _steps(at)
    wishes = _launched(at, steps.coarse)
    if not wishes:
        site = at.planned.sites[-1]
        far = f"its feed of {at.mast.feed_us or 0.0:g} us" if at.mast.feed_us is not None else "its limits"
        what = f"{site.name}: with {far} its device reaches no launch within {steps.most_us:g} us of the common delay"
        raise PlanError([Problem("masts", what, "a longer common delay, or a wider offset", code="launch-unreachable")])
    patterns = patterns_of(at.mast, at.known)
    first = ALL_ROUND if ALL_ROUND in patterns else next(iter(patterns))
    began = _searched(at, first, _azimuths(at, first)[0], steps, wishes)
    listed = [(name, azimuth) for name in patterns for azimuth in _azimuths(at, name)]
    made = [began]
    others = [one for one in listed if one != (began.pattern, began.azimuth_deg)]
    for name, azimuth in _compared(at, others, began)[:BEST_WAYS_N]:
        made.append(_searched(at, name, azimuth, steps, wishes))
    made.sort(key=lambda one: (one.key, one is not began))
    return tuple(one.way for one in made), len(listed)


@dataclass(frozen=True, slots=True)
class _Steps:
    """Offsets in coarse steps, and the finest step of the device. [us]"""

    coarse: tuple[float, ...]
    coarse_us: float
    finest_us: float
    most_us: float

    def about(self, offset_us: float) -> tuple[float, ...]:
        """Every step of the device within a coarse one of an offset. [us]"""
        if self.finest_us <= 0.0:
            return ()
        count = int(self.coarse_us / self.finest_us + 1e-9)
        found = (offset_us + k * self.finest_us for k in range(-count, count + 1))
        return tuple(one for one in found if abs(one) <= self.most_us + 1e-9)


def _steps(at: AtMast) -> _Steps:
    """Which offsets are looked at."""
    network, counted = at.planned, at.asked.counted
    most_us = usual_most_us(network) if counted.most_us is None else counted.most_us
    search_us = usual_step_us(network)
    finest_us = float(finest_step(network.sites[-1].delay_fields))
    # A whole number of the device's steps, so that each coarse offset is one that it can make.
    coarse_us = max(1, round(search_us / finest_us)) * finest_us if finest_us > 0.0 else search_us
    count = int(most_us / coarse_us + 1e-9)
    return _Steps(tuple(k * coarse_us for k in range(-count, count + 1)), coarse_us, finest_us, most_us)


def _launched(at: AtMast, offsets_us: Sequence[float]) -> dict[float, float]:
    """By offset what the device makes of it, each launch once; without what is beyond the device. [us]"""
    alone = at.planned.of_sites(at.planned.sites[-1:])
    made: dict[float, float] = {}
    seen: set[float] = set()
    for offset_us in sorted(offsets_us, key=lambda one: (abs(one), one)):
        row = delay_table(with_offsets(alone, {at.name: offset_us})).row(at.name)
        launch = round(row.launch_us, 9)
        if abs(row.rounding_us) <= REACHED_RATIO * row.step_us + 1e-6 and launch not in seen:
            seen.add(launch)
            made[offset_us] = row.launch_us
    return made


@dataclass(frozen=True, slots=True)
class _Looked:
    """A way with its score."""

    way: Way
    key: Key

    @property
    def pattern(self) -> str:
        """Of the way."""
        return self.way.pattern

    @property
    def azimuth_deg(self) -> float | None:
        """Of the way."""
        return self.way.azimuth_deg


def _searched(
    at: AtMast, pattern: str, azimuth_deg: float | None, steps: _Steps, wishes: Mapping[float, float]
) -> _Looked:
    """One pattern and direction with every offset: the least left without service, then the least offset."""
    network = at.with_way(pattern, azimuth_deg)
    what = network_objective(network, as_radiated(network, at.levels), at.asked.counted, executor=at.executor)
    found = _scored(at, what, wishes)
    best = sorted(found, key=found.__getitem__)[:BEST_OFFSETS_N]
    finer = {offset for near in best for offset in steps.about(near)} - set(wishes)
    more = _launched(at, sorted(finer))
    found |= _scored(at, what, more)
    offset_us = min(found, key=lambda one: (found[one], abs(one), one))
    launch_us = (dict(wishes) | more)[offset_us]
    return _Looked(Way(pattern, azimuth_deg, offset_us, launch_us, found[offset_us][0]), found[offset_us])


def _scored(at: AtMast, what: Objective, launches_us: Mapping[float, float]) -> dict[float, Key]:
    """Scores of offsets."""
    if not launches_us:
        return {}
    offsets = list(launches_us)
    base = at.launches(launches_us[offsets[0]])
    moved = np.array([name == at.name for name in what.sites])
    shifts = np.array([launches_us[one] for one in offsets]) - base[at.name]
    scores = along(what, np.array([base[name] for name in what.sites]), moved, shifts, executor=at.executor)
    return {one: (float(row[0]), float(row[1]), float(row[2])) for one, row in zip(offsets, scores, strict=True)}


def _azimuths(at: AtMast, pattern: str) -> tuple[float | None, ...]:
    """Directions that a pattern is tried in."""
    if pattern == ALL_ROUND or not turns(at.known[pattern]):
        return (None,)
    if at.mast.azimuth_deg is not None:
        return (at.mast.azimuth_deg,)
    step_deg = at.asked.azimuth_step_deg
    return tuple(k * step_deg for k in range(max(1, int(360.0 / step_deg + 1e-9))))


def compared_places(what_weight: Doubles, covered: NDArray[np.bool_]) -> Places:
    """Places on which directions are compared: every so many of those that count, in the order of the map."""
    counts = np.flatnonzero((what_weight > 0) & covered).astype(np.intp)
    return np.asarray(counts[:: max(1, -(-counts.size // COMPARED_N))])


def _compared(at: AtMast, listed: Sequence[tuple[str, float | None]], began: _Looked) -> list[tuple[str, float | None]]:
    """Patterns and directions at the offset that was best without, the best first."""
    if not listed:
        return []
    network, levels = at.planned, at.levels
    what = network_objective(network, levels, at.asked.counted, executor=at.executor)
    places = compared_places(what.weight, levels.covered)
    on_air = set(levels.on_air(network).tolist())
    silent = [i for i in range(len(levels.sites)) if i not in on_air]
    level, rare = levels.level_dbuvm[:, places].copy(), levels.level_1pct_dbuvm[:, places].copy()
    level[silent], rare[silent] = np.nan, np.nan
    launches = at.launches(began.way.launch_us)
    arrivals = levels.travel_us[:, places] + np.array([launches[name] for name in levels.sites])[:, None]
    before, heard = levels.radiating[-1], heard_by(network, levels)
    bearing, rises = bearings_on(before, levels.grid)[places], levels.tx_elevation_deg[-1][places]
    every = np.ones(places.size, dtype=bool)

    def key(one: tuple[str, float | None]) -> Key:
        """What is left without service on these places."""
        with_it = at.with_way(*one)
        now = transmitter(with_it.sites[-1], with_it, lat_deg=before.lat_deg, lon_deg=before.lon_deg)
        change = level_change(before, now, bearing, rises, plane=received_plane(network))
        loud, seldom, other = level.copy(), rare.copy(), None
        loud[-1] += change
        seldom[-1] += change
        if heard is not None:
            loud, seldom, other = heard(loud, seldom, places)
        quality = service_quality(
            loud, arrivals, what.yard, frequency_mhz=network.frequency_mhz, level_1pct_dbuvm=seldom,
            sites=levels.sites, other=other, executor=at.executor,
        )  # fmt: skip
        totals = quality_totals(quality, what.weight[places], every)
        return float(totals[0]), float(totals[1]), -float(totals[2])

    keys = {one: key(one) for one in listed}
    return sorted(listed, key=keys.__getitem__)
