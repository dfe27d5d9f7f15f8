"""Every setting that the devices of a small network have within its limits, looked at one by one.

An offset is a wish, and a limit on offsets holds for the wish: a setting belongs to the lattice where some wish within
the limits rounds to it, so a launch may lie beyond a limit by up to half a step of its device. With a fixed common
delay each site's settings stand by themselves; an automatic one follows the site that is last ready, which then stands
at the least that its device can do (and the margin), and the others anywhere from there on.
"""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, along_totals, whole

Doubles = NDArray[np.float64]
Launched = Callable[[Doubles], Doubles | None]
"""Launches (S,) that offsets (S,) really come to, in us; None where a device cannot make them."""
MOST_POINTS = 200_000
MOST_EVALUATIONS = 4e8  # signals looked at
MOST_CHECKED_N = 3000  # settings whose wishes are tried, best first
SAME_US = 1e-6
PLACES = (6, 6, 5)  # decimals that a result is told apart by


@dataclass(frozen=True, slots=True)
class Devices:
    """S sites with one route and one delay field each.

    Parameters
    ----------
    latency_us : ndarray, shape (S,)
        Of the chain without the field. [us]
    least_us, greatest_us : ndarray, shape (S,)
        What the field can add. [us]
    step_us : ndarray, shape (S,)
        Above zero. [us]
    on_air : ndarray of bool, shape (S,)
        Who is waited for where the common delay is automatic.
    common_us : float or None
        The common delay; None: automatic. [us]
    margin_us : float
        Of an automatic one. [us]
    """

    latency_us: Doubles
    least_us: Doubles
    greatest_us: Doubles
    step_us: Doubles
    on_air: NDArray[np.bool_]
    common_us: float | None
    margin_us: float = 0.0


@dataclass(frozen=True, slots=True)
class Block:
    """Launches of a part of the lattice, a row a site, and wishes less the common delay's own shift.

    Parameters
    ----------
    axes : tuple of ndarray
        Launches of each site. [us]
    ready_us : float
        What wishes count from: the common delay where it is fixed; else the common delay and the wish of `last`. [us]
    last : int or None
        The site that an automatic common delay waits for.
    """

    axes: tuple[Doubles, ...]
    ready_us: float
    last: int | None

    @property
    def size(self) -> int:
        """How many settings."""
        return int(np.prod([axis.size for axis in self.axes], dtype=np.float64))


def blocks(devices: Devices, limits: Limits) -> tuple[Block, ...]:
    """The lattice of some devices within limits."""
    if devices.common_us is not None:
        at = devices.common_us
        axes = tuple(
            _axis(devices, i, at + float(limits.low_us[i]), at + float(limits.high_us[i]))
            for i in range(devices.latency_us.size)
        )
        return (Block(axes, at, None),)
    found = []
    for last in np.flatnonzero(devices.on_air).tolist():
        ready = float(devices.latency_us[last] + devices.least_us[last] + devices.margin_us)
        axes = tuple(
            _axis(devices, i, *((ready, ready) if i == last else (
                max(
                    ready + float(limits.low_us[i] - limits.high_us[last]),
                    float(devices.latency_us[i] + devices.least_us[i] + devices.margin_us) if devices.on_air[i]
                    else -np.inf,
                ),
                ready + float(limits.high_us[i] - limits.low_us[last]),
            )))
            for i in range(devices.latency_us.size)
        )  # fmt: skip
        found.append(Block(axes, ready, last))
    return tuple(found)


def _axis(devices: Devices, i: int, low_us: float, high_us: float) -> Doubles:
    """Launches of a site that wishes from low to high come to, by rounding; both of two at the same distance. [us]"""
    step, first = float(devices.step_us[i]), float(devices.latency_us[i] + devices.least_us[i])
    most = round(float(devices.greatest_us[i] - devices.least_us[i]) / step)
    least = int(np.ceil((low_us - first) / step - 0.5 - SAME_US))
    last = int(np.floor((high_us - first) / step + 0.5 + SAME_US))
    return np.asarray(first + step * np.arange(max(least, 0), min(last, most) + 1), dtype=np.float64)


def small(what: Objective, made: tuple[Block, ...]) -> bool:
    """Whether every setting can be looked at."""
    points = float(sum(block.size for block in made))
    return 0 < points <= MOST_POINTS and points * max(what.places.site.size, 1) <= MOST_EVALUATIONS


def every(
    what: Objective,
    devices: Devices,
    limits: Limits,
    *,
    now_launches_us: Doubles,
    launched: Launched,
    until_s: float,
    executor: Executor | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[Doubles, Doubles, tuple[float, ...], int] | None:
    """The best of every setting within the limits.

    Parameters
    ----------
    what : Objective
    devices : Devices
    limits : Limits
    now_launches_us : ndarray, shape (S,)
        Of the present offsets: who keeps them keeps the offset. [us]
    launched : callable
        Judges the best ones: what the delay table gives is what counts.
    until_s : float
        By `time.monotonic`. [s]
    executor, cancelled
        As in `sfn.solve.search.search`.

    Returns
    -------
    offsets_us, launches_us : ndarray, shape (S,)
        [us]
    key : tuple of float
        The objective's figures.
    tried : int
    None where the time ended first, there are too many, or no setting keeps the limits.
    """
    made = blocks(devices, limits)
    if not small(what, made):
        return None
    points, keys, ready, last = [], [], [], []
    for block in made:
        for launches, found in _looked_at(what, block, executor):
            if time.monotonic() > until_s or (cancelled is not None and cancelled()):
                return None
            points.append(launches)
            keys.append(found)
            ready.append(np.full(len(launches), block.ready_us))
            last.append(np.full(len(launches), -1 if block.last is None else block.last))
    at, key = np.concatenate(points), np.concatenate(keys)
    base, waits = np.concatenate(ready), np.concatenate(last)
    rounded = np.stack([np.round(key[:, k], places) for k, places in enumerate(PLACES)], axis=1)
    away = np.abs((at - at[:, :1]) - (now_launches_us - now_launches_us[0])).sum(axis=1)
    order = np.lexsort((away, rounded[:, 2], rounded[:, 1], rounded[:, 0]))
    if limits.most_changed is not None and devices.common_us is not None:
        few = (np.abs(at - now_launches_us) > SAME_US).sum(axis=1) <= limits.most_changed
        order = order[few[order]]
    tried = 0
    for k in order.tolist():
        if time.monotonic() > until_s:
            return None
        for offsets in _wishes(devices, limits, at[k], float(base[k]), int(waits[k]), now_launches_us):
            if not limits.kept(offsets):
                continue
            if tried >= MOST_CHECKED_N:
                return None
            tried += 1
            gives = launched(offsets)
            if gives is not None and np.ptp(gives - at[k]) < SAME_US:
                return offsets, gives, tuple(key[k].tolist()), len(at)
    return None


def _looked_at(what: Objective, block: Block, executor: Executor | None) -> Iterator[tuple[Doubles, Doubles]]:
    """Launches (K, S) and their figures (K, 3), line by line of the site with most settings."""
    sizes = [axis.size for axis in block.axes]
    if min(sizes) == 0:
        return
    line = int(np.argmax(sizes))
    others = [i for i in range(len(sizes)) if i != line]
    moved = np.zeros(len(sizes), bool)
    moved[line] = True
    shifts = block.axes[line] - block.axes[line][0]
    for outer in np.ndindex(*(sizes[i] for i in others)):
        at = np.array([axis[0] for axis in block.axes])
        for i, k in zip(others, outer, strict=True):
            at[i] = block.axes[i][k]
        now = whole(what, at, executor=executor)
        totals = along_totals(what, at, moved, shifts, now=now, executor=executor)
        yield at + np.where(moved, shifts[:, None], 0.0), what.scores(totals.copy())


def _wishes(
    devices: Devices, limits: Limits, launches: Doubles, ready_us: float, last: int, now_launches: Doubles
) -> tuple[Doubles, ...]:
    """Wishes within the limits that come to these launches, the roundest first; none where there are none.

    A site that launches as now keeps its wish, others get the nearest whole step of the search.
    """
    half, step = devices.step_us / 2 + SAME_US, limits.step_us
    low, high = launches - ready_us - half, launches - ready_us + half
    shift = 0.0
    if last >= 0:
        awaited = devices.latency_us + devices.least_us + devices.margin_us - ready_us
        low = np.where(devices.on_air, np.maximum(low, awaited), low)
        low[last] = high[last] = 0.0  # its wish is what the others' count from
        least, most = float((limits.low_us - high).max()), float((limits.high_us - low).min())
        if least > most + SAME_US or (low > high + SAME_US).any():
            return ()
        inner = min((most - least) / 2, step / 4)  # off the ends, where a wish would round either way
        shift = min(max(float(limits.now_us[last]), least + inner), most - inner)
    low, high = np.maximum(low + shift, limits.low_us), np.minimum(high + shift, limits.high_us)
    if (low > high + SAME_US).any():
        return ()
    stays = (limits.now_us >= low - SAME_US) & (limits.now_us <= high + SAME_US)
    if last < 0:
        stays &= np.abs(launches - now_launches) < SAME_US
    mid = np.clip(launches - ready_us + shift, low, high)
    nice = np.round(mid / step) * step
    nice = np.where((nice >= low) & (nice <= high), nice, mid)
    return tuple(np.asarray(np.where(stays, limits.now_us, wish)) for wish in (nice, mid))
