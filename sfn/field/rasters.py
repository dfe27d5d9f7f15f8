"""Rasters of all sites: kept ones first, the others through an executor as they finish."""

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path

from sfn.field.around import Bounds, rectangle
from sfn.field.cache import load, raster_key, store
from sfn.field.elsewhere import Far, RasterAsked, from_far
from sfn.field.raster import LevelRaster, level_raster
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.grid import Grid
from sfn.propagation.link import SweepCancelled
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.named import named

SiteProgress = Callable[[str, int, int], None]
# How soon a cancel is heard while no site finishes.
LOOK_S = 0.1


@dataclass(frozen=True, slots=True)
class CacheFolder:
    """Where rasters are kept, and how many bytes of them."""

    folder: Path
    most_bytes: int
    far: Far | None = None
    """Who computes rasters over terrain into it; None: the executor of this process."""


def level_rasters(
    transmitters: Sequence[Transmitter],
    grid: Grid,
    *,
    ground: Ground,
    rx_height_m: float,
    receiver_polarisation: Plane | None = None,
    step_m: float | None = None,
    executor: Executor,
    cache: CacheFolder | None = None,
    progress: SiteProgress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Iterator[tuple[int, LevelRaster]]:
    """Rasters of several transmitters, each as it is ready.

    Parameters
    ----------
    transmitters : sequence of Transmitter
    grid, ground, rx_height_m, receiver_polarisation, step_m
        As in `sfn.field.raster.level_raster`.
    executor : Executor
        Runs one call a site. Threads do (compiled code releases the interpreter); processes and machines get plain
        data. Not the executor in which this function itself is running, unless it has room for one more.
    cache : CacheFolder, optional
        Where rasters are kept; those found there come first.
    progress : callable(site id, done, total), optional
        Pixels of one site. In threads told while computing, from the thread; else when the site is finished.
    cancelled : callable() -> bool, optional
        Asked several times a second.

    Yields
    ------
    index, raster : int, LevelRaster
        The place in `transmitters`, in the order in which they finish. To stop early, close the generator.

    Raises
    ------
    SweepCancelled
        If `cancelled` said so; nothing is computed any more when it is raised, but for what another process has
        begun.
    """
    stop = threading.Event()

    def stopped() -> bool:
        """Whether anybody wants an end."""
        return stop.is_set() or (cancelled is not None and cancelled())

    common = {"rx_height_m": rx_height_m, "receiver_polarisation": receiver_polarisation, "step_m": step_m}
    digest = ground.digest if cache else ""
    keys = [raster_key(t, grid, ground_digest=digest, **common) for t in transmitters]  # type: ignore[arg-type]
    missing = []
    for n, key in enumerate(keys):
        kept = load(cache.folder, key) if cache else None
        if kept is None or kept.level_dbuvm.shape != grid.shape:
            missing.append(n)
        else:
            _tell(progress, transmitters[n].id, grid)
            yield n, kept
    if not missing:
        return
    if cache is not None and cache.far is not None and ground.terrain is not None:
        there = named(ground, folder=cache.far.terrain_folder)
        if there is not None:
            bounds = _union([transmitters[n] for n in missing], grid)
            asked = [
                RasterAsked(
                    keys[n], transmitters[n], grid, there, bounds, rx_height_m, receiver_polarisation, step_m, 0, 1,
                    cache.most_bytes,
                )
                for n in missing
            ]  # fmt: skip

            def told(n: int, ratio: float) -> None:
                """How much of a site is there."""
                if progress is not None:
                    progress(transmitters[missing[n]].id, round(ratio * grid.pixels_n), grid.pixels_n)

            for n, raster in from_far(asked, cache.far, folder=cache.folder, told=told, cancelled=stopped):
                yield missing[n], raster
            return
    threads = isinstance(executor, ThreadPoolExecutor)

    def look() -> None:
        """While the ground is read, which may take longer than a site."""
        if stopped():
            raise SweepCancelled
        if progress is not None:
            progress(transmitters[missing[0]].id, 0, grid.pixels_n)

    shared = _shared([transmitters[n] for n in missing], grid, ground, look) if threads else ground
    pending: dict[Future[LevelRaster], int] = {}
    try:
        for n in missing:
            callbacks = {"progress": _of_site(progress, transmitters[n].id), "cancelled": stopped} if threads else {}
            future = executor.submit(level_raster, transmitters[n], grid, ground=shared, **common, **callbacks)  # type: ignore[arg-type]
            pending[future] = n
        while pending:
            finished, _ = wait(pending, timeout=LOOK_S, return_when=FIRST_COMPLETED)
            if stopped():
                raise SweepCancelled
            for future in finished:
                n = pending.pop(future)
                raster = future.result()
                if cache:
                    store(cache.folder, keys[n], raster, most_bytes=cache.most_bytes)
                if not threads:
                    _tell(progress, transmitters[n].id, grid)
                yield n, raster
    finally:
        stop.set()
        for future in pending:
            future.cancel()
        wait(pending)


def _shared(transmitters: Sequence[Transmitter], grid: Grid, ground: Ground, look: Callable[[], None]) -> GroundWindow:
    """The ground of all sites read once, so that a place has one height for all of them."""
    south, west, north, east = _union(transmitters, grid)
    look()
    return ground_window(ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east, look=look)


def _union(transmitters: Sequence[Transmitter], grid: Grid) -> Bounds:
    """South, west, north and east of all that paths from the sites into a grid touch. [degrees]"""
    rectangles = [rectangle(t, grid.bounds_deg) for t in transmitters]
    south, north = min(r[0] for r in rectangles), max(r[2] for r in rectangles)
    west, east = min(r[1] for r in rectangles), max(r[3] for r in rectangles)
    return south, west, north, east


def _of_site(progress: SiteProgress | None, site: str) -> Callable[[int, int], None] | None:
    """The progress of one site."""
    return None if progress is None else lambda done, total: progress(site, done, total)


def _tell(progress: SiteProgress | None, site: str, grid: Grid) -> None:
    """A site is finished."""
    if progress is not None:
        progress(site, grid.pixels_n, grid.pixels_n)
