"""Searches within a job: by workers where there are any, else by this process; the same function either way."""

from collections.abc import Callable
from typing import Any

from sfn.plan import Network
from sfn.propagation.link import SweepCancelled
from sfn.terrain.named import named
from sfn.work.searches import SEARCHES, Scene, SearchAsked
from webapp.work.jobs import CancelledError, Progress
from webapp.work.maps import Maps, Wanted
from webapp.work.workers import JobWorkers, Workers


def searched(name: str, maps: Maps, network: Network, wanted: Wanted, asked: Any, progress: Progress) -> dict[str, Any]:
    """What a search answers; one that is cancelled, the best it had.

    Parameters
    ----------
    name : str
        Of `sfn.work.searches.SEARCHES`.
    maps : Maps
    network : Network
    wanted : Wanted
        The map whose levels it goes by; computed first where they are not there.
    asked : record
        As that search takes it, without people.
    progress : Progress
        Of the job that this is within.

    Raises
    ------
    PlanError
        If it says no.
    """
    computed = maps.computed(network, wanted, progress)

    def told(phase: str, done: int, total: int) -> None:
        if not progress.cancelled:  # telling would end the job without its best
            progress.tell(phase, done=done, total=total)

    there = None if maps.workers is None else named(wanted.ground, folder=maps.terrain_folder)
    if maps.workers is None or there is None:
        known = maps.counted(network, wanted.grid)
        scene = Scene(network, computed, known, wanted.ground, maps.executor, maps.rasters)
        return SEARCHES[name](scene, asked, told, lambda: progress.cancelled)
    order = SearchAsked(network, wanted.grid, there, asked, maps.rasters.most_bytes)
    return dict(by_workers(maps.workers, name, order, progress, told=told))


def by_workers(
    workers: Workers, name: str, asked: Any, progress: Progress, *, told: Callable[[str, int, int], None]
) -> Any:
    """What workers answer, within a job.

    Raises
    ------
    PlanError
        If they say no, or are away for too long.
    CancelledError
        If the job was stopped before there was an answer.
    """
    try:
        return JobWorkers.of(workers, progress).answered(name, asked, told=told)
    except SweepCancelled:
        raise CancelledError from None
