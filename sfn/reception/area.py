"""Overlap zones over a grid: which site is strongest, and how far apart signals arrive where they overlap.

Levels come in as rasters that were computed once; a change of delay redraws from them.

| symbol | name | unit |
|---|---|---|
| S, M | sites and pixels | |
"""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.reception.classes import CLASSES, TOO_WEAK, is_served
from sfn.reception.kernels import overlap_loop
from sfn.reception.quality import ServiceQuality
from sfn.reception.significance import Criteria, decides

Rasters = NDArray[np.float32]
Floats = NDArray[np.float64]

# Small enough that a busy core does not stall all, large enough that the call costs nothing.
CHUNK_PIXELS_N = 65_536
SERVED = is_served(np.arange(float(len(CLASSES))))


@dataclass(frozen=True, slots=True)
class Overlap:
    """Layers of the overlap map, float32, shape (M,); NaN where the strongest signal is not usable.

    `strongest` and `second` are places in the list of sites. Level and delay difference are those of the second
    strongest signal minus the strongest; the delay layers are NaN outside the overlap zone too.
    """

    strongest: Rasters
    second: Rasters
    level_difference_db: Rasters
    delay_difference_us: Rasters
    delay_spread_us: Rasters


@dataclass(frozen=True, slots=True)
class OverlapSummary:
    """The overlap zone in numbers; delay spreads are quantiles over its area, None where there is no zone.

    `near_km2`, `near_people` are of its part where the second strongest lies within `near_db` of the strongest: in OFDM
    a signal inside the guard interval counts however weak, so that the zone alone says little of levels.
    """

    area_km2: float
    median_us: float | None
    p90_us: float | None
    max_us: float | None
    people: float | None
    near_db: float = 0.0
    near_km2: float = 0.0
    near_people: float | None = None


def in_chunks(work: Callable[[slice], None], pixels_n: int, *, executor: Executor | None) -> None:
    """Run `work` on slices of the pixels, in the executor's threads where one is given."""
    slices = [slice(start, min(start + CHUNK_PIXELS_N, pixels_n)) for start in range(0, pixels_n, CHUNK_PIXELS_N)]
    if executor is None:
        for part in slices:
            work(part)
    else:
        list(executor.map(work, slices))


def overlap(
    level_dbuvm: Rasters,
    arrival_us: Floats,
    *,
    counts: Criteria,
    quality: ServiceQuality | None = None,
    executor: Executor | None = None,
) -> Overlap:
    """The overlap layers of a grid.

    Parameters
    ----------
    level_dbuvm : ndarray of float32, shape (S, M)
        Median levels; NaN where there is no signal. [dB(uV/m)]
    arrival_us : ndarray, shape (S, M)
        [us]
    counts : Criteria
        What is usable and significant.
    quality : ServiceQuality, optional
        Of the same signals: then usable is what its classes do not call too weak, and a signal that decides a class
        counts there, so that the overlap zone holds every place that is upset.
    executor : concurrent.futures.Executor, optional
        Threads to share the pixels among; the loops hold no GIL.

    Raises
    ------
    ValueError
        If the arrays do not have one shape (S, M).
    """
    if level_dbuvm.ndim != 2 or level_dbuvm.shape != arrival_us.shape:
        raise ValueError(
            f"level_dbuvm and arrival_us must have one shape (S, M), got {level_dbuvm.shape} and {arrival_us.shape}"
        )
    pixels = level_dbuvm.shape[1]
    layers = [np.empty(pixels, dtype=np.float32) for _ in range(5)]
    if quality is None:
        usable, upset_by = (
            np.fmax.reduce(level_dbuvm, axis=0) >= counts.usable_dbuvm,
            np.full(pixels, np.nan, np.float32),
        )
    else:
        usable = np.isfinite(quality.quality_class) & (quality.quality_class != TOO_WEAK)
        upset_by = np.where(decides(quality.quality_class), quality.limiting, np.float32(np.nan)).astype(np.float32)
    guard_us = counts.guard_us if np.isfinite(counts.guard_us) else -1.0

    def work(part: slice) -> None:
        """One slice of the pixels."""
        overlap_loop(
            level_dbuvm[:, part],
            arrival_us[:, part],
            usable[part],
            upset_by[part],
            counts.significant_db,
            guard_us,
            *(layer[part] for layer in layers),
        )

    in_chunks(work, pixels, executor=executor)
    return Overlap(*layers)


def overlap_summary(
    found: Overlap, area_km2: Floats, *, near_db: float, people: Floats | None = None
) -> OverlapSummary:
    """Area of the overlap zone and the delay spreads in it.

    Parameters
    ----------
    found : Overlap
    area_km2 : ndarray, shape (M,)
        Ground area of each pixel. [km2]
    near_db : float
        How far below the strongest the second may lie to be near it. [dB]
    people : ndarray, shape (M,), optional
        People in each pixel.
    """
    zone = np.isfinite(found.delay_spread_us) & (area_km2 > 0)
    if not zone.any():
        return OverlapSummary(0.0, None, None, None, nobody := None if people is None else 0.0, near_db, 0.0, nobody)
    spread, area = found.delay_spread_us[zone].astype(np.float64), area_km2[zone]
    order = np.argsort(spread)
    share = np.cumsum(area[order]) / area.sum()
    median, p90 = (float(spread[order][min(int(np.searchsorted(share, q)), share.size - 1)]) for q in (0.5, 0.9))
    counted = None if people is None else float(people[zone].sum())
    near = zone & (found.level_difference_db >= -near_db)
    return OverlapSummary(
        float(area.sum()), median, p90, float(spread.max()), counted, near_db, float(area_km2[near].sum()),
        None if people is None else float(people[near].sum()),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ClassSummary:
    """How much lies in each of `sfn.reception.classes.CLASSES`, by their codes; people None: not known."""

    area_km2: tuple[float, ...]
    people: tuple[float, ...] | None

    @property
    def served_km2(self) -> float:
        """Area with adequate service."""
        return float(np.array(self.area_km2)[SERVED].sum())

    @property
    def served_people(self) -> float | None:
        """People with adequate service."""
        return None if self.people is None else float(np.array(self.people)[SERVED].sum())


def class_summary(quality_class: Rasters, area_km2: Floats, *, people: Floats | None = None) -> ClassSummary:
    """Area and people in each class.

    Parameters
    ----------
    quality_class : ndarray, shape (M,)
        Place in `sfn.reception.classes.CLASSES`, NaN where nothing is known.
    area_km2 : ndarray, shape (M,)
        [km2]
    people : ndarray, shape (M,), optional
    """
    masks = [quality_class == number for number in range(len(CLASSES))]
    counted = None if people is None else tuple(float(people[mask].sum()) for mask in masks)
    return ClassSummary(tuple(float(area_km2[mask].sum()) for mask in masks), counted)
