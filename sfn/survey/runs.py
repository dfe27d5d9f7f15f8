"""Runs of one route at several settings, laid side by side over distance, and which setting was best where.

The longest run is the route, in the direction of the first. Every sample of the others is laid on it where it was
next reached, so that a road driven twice within one run, or a crossing, is not mistaken; runs driven the other way
round are turned. A sample speaks for its part of the track, halfway to its neighbours: points farther apart than the
stretches leave no holes between them. Which runs are of one route tells `routes`, by how much of their tracks agree.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.line import inverse
from sfn.geodesy.meridian import Plane, beside, folded, plane_about
from sfn.plan.sheets import content_of
from sfn.survey.drive_log import USUAL, Origin
from sfn.survey.log_about import About, Reading
from sfn.survey.receiver_log import receiver_log
from sfn.survey.track import thinned

Floats = NDArray[np.float64]

# Marks: five-grade impairment scale, Rec. ITU-R BS.1284: 5 imperceptible, 1 very annoying (from memory).
# Less than this between two settings is no difference.
MARK_STEP_RATIO = 0.5
QUALITY_STEP_DB = 1.0
_VERTEX_M = 10.0
_LOOK_AHEAD_M = 400.0
_LOOK_BACK_M = 60.0
_CONTINUITY_RATIO = 0.02
# A step of more than so many usual ones is a gap: nothing is said of its middle.
_GAP_STEPS, _LONGEST_STEP_M = 1.5, 1000.0
_ALONG_M, _SAME_ROUTE_RATIO = 25.0, 0.5


@dataclass(frozen=True, slots=True)
class Run:
    """One drive at one setting. NaN where a level, mark or quality was not noted; remarks may be empty."""

    setting_us: float
    lat_deg: Floats
    lon_deg: Floats
    level_dbuvm: Floats
    mark: Floats
    quality_db: Floats
    remark: tuple[str, ...]
    name: str = "run"
    origin: Origin = field(default_factory=Origin)


@dataclass(frozen=True, slots=True)
class Remark:
    """What somebody said on the way."""

    setting_us: float
    distance_m: float
    text: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the route with one best setting; None where the settings do not differ or too few were driven."""

    from_m: float
    to_m: float
    best_us: float | None


@dataclass(frozen=True, slots=True)
class SideBySide:
    """All runs over the distance of the route.

    Parameters
    ----------
    distance_m, lat_deg, lon_deg : ndarray (B,)
        Middle of each stretch along the route, for the prediction under the runs.
    settings_us : tuple of float (R,)
        One a setting, in rising order; runs at one setting are put together.
    level_dbuvm, mark, quality_db : ndarray (R, B)
        Median level, lowest mark and median quality of each stretch; NaN where nothing was noted.
    best : ndarray (B,)
        Number of the best setting, -1 where none stands out.
    parts : tuple of Part
    best_share_pct : tuple of float (R,)
        Share of the stretches with a decision where each setting was best. [%]
    lowest_mark : tuple of float (R,)
        Worst mark anywhere; NaN without marks.
    """

    distance_m: Floats
    lat_deg: Floats
    lon_deg: Floats
    settings_us: tuple[float, ...]
    level_dbuvm: Floats
    mark: Floats
    quality_db: Floats
    best: NDArray[np.int64]
    parts: tuple[Part, ...]
    best_share_pct: tuple[float, ...]
    lowest_mark: tuple[float, ...]
    remarks: tuple[Remark, ...]
    problems: tuple[Problem, ...]


def read_run(path: Path | str, *, setting_us: float, of: About | None = None, how: Reading = USUAL) -> Run:
    """One run out of a log with any of level, mark, quality_db and remark, as `sfn.survey.receiver_log` reads it.

    Raises
    ------
    PlanError
        If something that moves all lines is open, or no line can be used; every problem names file and line.
    """
    path = Path(path)
    content = content_of(path, expected="a CSV, XLSX or GPX file")
    return run_of_bytes(content, source=path.name, setting_us=setting_us, of=of, how=how)


def run_of(text: str, *, source: str, setting_us: float) -> Run:
    """The same from text that is already here."""
    return run_of_bytes(text.encode(), source=source, setting_us=setting_us)


def run_of_bytes(
    content: bytes, *, source: str, setting_us: float, of: About | None = None, how: Reading = USUAL
) -> Run:
    """The same from a file's content."""
    read = receiver_log(content, source=source, of=of or About(), how=how, needs_level=False)
    if len(read.line) < 2:
        what = "holds one place only"
        short = Problem(source, what, "a drive of at least two", code="run-too-short")
        raise PlanError([short, *read.problems])
    return Run(
        setting_us, read.lat_deg, read.lon_deg, read.level_dbuvm, read.mark, read.quality_db, read.remark, source,
        Origin(source, read.lines_n, read.skipped, read.other_channels_n, read.told, read.problems),
    )  # fmt: skip


def side_by_side(runs: Sequence[Run], *, stretch_m: float = 100.0, greatest_off_m: float = 60.0) -> SideBySide:
    """Lay runs over the distance of the longest.

    Parameters
    ----------
    runs : sequence of Run
        At least two, of at least two settings.
    stretch_m : float
        Length of a stretch. [m]
    greatest_off_m : float
        Samples farther than this from the route are not used, and counted. [m]

    Raises
    ------
    ValueError
        If there are fewer than two settings or the route is shorter than a stretch.
    """
    settings = tuple(sorted({run.setting_us for run in runs}))
    if len(settings) < 2:
        raise ValueError(f"runs must be of at least 2 settings, got {len(settings)}")
    if not (stretch_m > 0 and greatest_off_m > 0):
        raise ValueError(
            f"stretch_m and greatest_off_m must be more than 0 m, got {stretch_m!r} and {greatest_off_m!r}"
        )
    longest = max(runs, key=lambda run: _length(run.lat_deg, run.lon_deg))
    route = _route(longest.lat_deg, longest.lon_deg)
    if _turned(runs[0], route, greatest_off_m=greatest_off_m):
        route = _route(longest.lat_deg[::-1], longest.lon_deg[::-1])
    count = int(route.along_m[-1] // stretch_m)
    if count < 1:
        raise ValueError(f"runs must be longer than one stretch of {stretch_m:g} m, got {route.along_m[-1]:.0f} m")
    shape = (len(settings), count)
    cells: dict[str, list[list[list[float]]]] = {
        name: [[[] for _ in range(count)] for _ in settings] for name in ("level_dbuvm", "mark", "quality_db")
    }
    remarks, problems = [], []
    for run in runs:
        at_m = _laid(run, route, greatest_off_m=greatest_off_m)
        row = settings.index(run.setting_us)
        on = np.isfinite(at_m)
        if not on.all():
            what = f"{int(np.count_nonzero(~on))} of {len(on)} samples are off the route"
            problems.append(
                Problem(
                    run.name,
                    what,
                    f"within {greatest_off_m:g} m of the longest run",
                    "warning",
                    code="run-off-the-route",
                )
            )
        for k in np.flatnonzero(on).tolist():
            if run.remark[k]:
                remarks.append(Remark(run.setting_us, float(at_m[k]), run.remark[k]))
        for column, k in _spoken_for(at_m, stretch_m=stretch_m, count=count):
            for name, table in cells.items():
                value = float(getattr(run, name)[k])
                if np.isfinite(value):
                    table[row][column].append(value)
    level, quality = (_summed(cells[name], np.median, shape) for name in ("level_dbuvm", "quality_db"))
    mark = _summed(cells["mark"], np.min, shape)
    best = _best(mark, quality)
    decided = best[best >= 0]
    middle_m = np.asarray((np.arange(count) + 0.5) * stretch_m, dtype=np.float64)
    return SideBySide(
        distance_m=middle_m,
        lat_deg=np.interp(middle_m, route.along_m, route.lat_deg),
        lon_deg=folded(np.interp(middle_m, route.along_m, route.lon_deg)),
        settings_us=settings,
        level_dbuvm=level,
        mark=mark,
        quality_db=quality,
        best=best,
        parts=_parts(best, settings, stretch_m=stretch_m),
        best_share_pct=tuple(
            100.0 * float(np.mean(decided == k)) if len(decided) else 0.0 for k in range(len(settings))
        ),
        lowest_mark=tuple(float(np.nanmin(row)) if np.isfinite(row).any() else float("nan") for row in mark),
        remarks=tuple(sorted(remarks, key=lambda r: (round(r.distance_m, -1), r.setting_us))),
        problems=tuple(problems),
    )


def routes(runs: Sequence[Run], *, greatest_off_m: float = 60.0) -> tuple[tuple[Run, ...], ...]:
    """Runs put together that drove the same road, each group in the order in which its runs were given.

    Two runs are of one route where half of the shorter track lies within `greatest_off_m` of the other.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    # The nearest place of a track with one every so many metres lies at most half of that along from the nearest point.
    furthest_m = float(np.hypot(greatest_off_m, _ALONG_M / 2))
    # Each pair is compared on the plane of the longer track: what a degree is worth there, not in the mean of all.
    planes = [plane_about(run.lat_deg, run.lon_deg) for run in runs]
    tracks = [_evenly(plane.at(run.lat_deg, run.lon_deg)) for plane, run in zip(planes, runs, strict=True)]
    trees = [KDTree(track) for track in tracks]
    same = []
    for i in range(len(runs)):
        for j in range(i):
            short, other = (i, j) if len(tracks[i]) <= len(tracks[j]) else (j, i)
            beside_it = _evenly(planes[other].at(runs[short].lat_deg, runs[short].lon_deg))
            away_m, _ = trees[other].query(beside_it, distance_upper_bound=furthest_m)
            if float(np.mean(np.isfinite(away_m))) >= _SAME_ROUTE_RATIO:
                same.append((i, j))
    pairs = np.array(same, dtype=np.int64).reshape(-1, 2)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(runs), len(runs)))
    number, label = connected_components(links, directed=False)
    return tuple(tuple(run for run, of in zip(runs, label, strict=True) if of == n) for n in range(number))


@dataclass(frozen=True, slots=True)
class _Route:
    """Vertices of the route with their distance along it, and their place on a plane about its middle."""

    lat_deg: Floats
    lon_deg: Floats
    along_m: Floats
    xy_m: Floats
    plane: Plane


def _evenly(xy: Floats) -> Floats:
    """Places at most 25 m apart along a track on the plane, evenly: none counts twice, the end neither."""
    steps = np.hypot(*np.diff(xy, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    at = np.linspace(0.0, along[-1], int(np.ceil(along[-1] / _ALONG_M)) + 1)
    return np.stack([np.interp(at, along, xy[:, k]) for k in (0, 1)], axis=-1)


def _spoken_for(at_m: Floats, *, stretch_m: float, count: int) -> list[tuple[int, int]]:
    """Stretch and sample: each in its own, and in those without any whose middle its part of the track holds."""
    on = np.flatnonzero(np.isfinite(at_m))
    if not len(on):
        return []
    found = [(min(int(at_m[k] // stretch_m), count - 1), int(k)) for k in on]
    along = at_m[on]
    steps = np.abs(np.diff(along))
    moving = steps[steps > 0]
    if not len(moving):
        return found
    most_m = min(_GAP_STEPS * float(np.median(moving)), _LONGEST_STEP_M)
    half = np.where(steps <= most_m, steps / 2, 0.0)
    before, after = np.concatenate(([0.0], half)), np.concatenate((half, [0.0]))
    rising = np.concatenate((np.diff(along) >= 0, [True]))
    low = along - np.where(rising, before, after)
    high = along + np.where(rising, after, before)
    taken = {column for column, _ in found}
    for column in sorted({*range(count)} - taken):
        middle_m = (column + 0.5) * stretch_m
        holding = np.flatnonzero((low <= middle_m) & (middle_m <= high))
        found += [(column, int(on[n])) for n in holding]
    return found


def _length(lat_deg: Floats, lon_deg: Floats) -> float:
    """Length driven. [m]"""
    return float(np.sum(inverse(lat_deg[:-1], lon_deg[:-1], lat_deg[1:], lon_deg[1:])[0]))


def _route(lat_deg: Floats, lon_deg: Floats) -> _Route:
    """The run's places at least 10 m apart, so that standing still adds no distance."""
    keep = thinned(lat_deg, lon_deg, least_m=_VERTEX_M)
    # Across 180 degrees longitudes run on: what lies between two vertices is found between their numbers.
    lat, lon = lat_deg[keep], beside(lon_deg[keep], float(lon_deg[0]))
    steps, _, _ = inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])
    along = np.concatenate(([0.0], np.cumsum(steps)))
    plane = plane_about(lat, lon)
    return _Route(lat, lon, along, plane.at(lat, lon), plane)


def _laid(run: Run, route: _Route, *, greatest_off_m: float) -> Floats:
    """Distance along the route of every sample; NaN where it is off. Turned round when that fits better."""
    xy = route.plane.at(run.lat_deg, run.lon_deg)
    if _turned(run, route, greatest_off_m=greatest_off_m):
        return _followed(xy[::-1], route, greatest_off_m=greatest_off_m)[::-1]
    return _followed(xy, route, greatest_off_m=greatest_off_m)


def _turned(run: Run, route: _Route, *, greatest_off_m: float) -> bool:
    """Whether a run was driven against the route."""
    xy = route.plane.at(run.lat_deg, run.lon_deg)
    there, back = (_followed(way, route, greatest_off_m=greatest_off_m) for way in (xy, xy[::-1]))
    return _progress(back) > _progress(there)


def _progress(at_m: Floats) -> float:
    """Distance gained along the route less distance lost: the driving direction shows in its sign."""
    known = at_m[np.isfinite(at_m)]
    steps = np.diff(known)
    # A jump of a kilometre is a new search, not driving.
    return float(np.sum(steps[np.abs(steps) < 1000.0])) if len(steps) else 0.0


def _followed(xy: Floats, route: _Route, *, greatest_off_m: float) -> Floats:
    """Distance along the route of samples in driving order: near where the last one was, else anywhere."""
    found = np.full(len(xy), np.nan)
    a, ab = route.xy_m[:-1], np.diff(route.xy_m, axis=0)
    square = np.maximum(np.sum(ab**2, axis=1), 1e-9)
    length = np.diff(route.along_m)
    at: float | None = None
    for k, p in enumerate(xy):
        if at is None:
            low, high = 0, len(a)
        else:
            low = max(int(np.searchsorted(route.along_m, at - _LOOK_BACK_M)) - 1, 0)
            high = min(int(np.searchsorted(route.along_m, at + _LOOK_AHEAD_M)) + 1, len(a))
        share = np.clip(np.sum((p - a[low:high]) * ab[low:high], axis=1) / square[low:high], 0.0, 1.0)
        off = np.hypot(*(a[low:high] + share[:, None] * ab[low:high] - p).T)
        if float(off.min()) > greatest_off_m:
            at = None
            continue
        # A road driven twice is as near on either pass: the one at hand, at first the earlier one, is meant.
        along = route.along_m[low:high] + share * length[low:high]
        nearest = int(np.argmin(off + _CONTINUITY_RATIO * np.abs(along - (0.0 if at is None else at))))
        at = float(along[nearest])
        found[k] = at
    return found


def _summed(table: list[list[list[float]]], how: object, shape: tuple[int, int]) -> Floats:
    """One number a cell, NaN where it is empty."""
    found = np.full(shape, np.nan)
    for i, row in enumerate(table):
        for j, values in enumerate(row):
            if values:
                found[i, j] = how(values)  # type: ignore[operator]
    return found


def _best(mark: Floats, quality: Floats) -> NDArray[np.int64]:
    """Best setting of each stretch: by marks, where these are alike by quality; -1 when nothing stands out."""
    best = np.full(mark.shape[1], -1, dtype=np.int64)
    for column in range(mark.shape[1]):
        for table, step in ((mark[:, column], MARK_STEP_RATIO), (quality[:, column], QUALITY_STEP_DB)):
            noted = np.flatnonzero(np.isfinite(table))
            if len(noted) < 2:
                continue
            order = noted[np.argsort(-table[noted], kind="stable")]
            if table[order[0]] - table[order[1]] >= step:
                best[column] = order[0]
                break
    return best


def _parts(best: NDArray[np.int64], settings: tuple[float, ...], *, stretch_m: float) -> tuple[Part, ...]:
    """Neighbouring stretches with the same best setting, put together."""
    edges = np.flatnonzero(np.concatenate(([True], np.diff(best) != 0, [True])))
    return tuple(
        Part(float(low * stretch_m), float(high * stretch_m), settings[best[low]] if best[low] >= 0 else None)
        for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    )
