"""What a worker has of the service: its data folder, and in it a folder a job, by which the two talk.

Only keys and small answers pass by whoever hands the work out; rasters and long answers lie in the data folder, and so
do how far a computation is and the wish to stop it. That a worker sees the same folder is asked before every task, by a
mark with a text that nobody guesses.
"""

import json
import os
import secrets
import socket
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sfn import __version__
from sfn.errors import PlanError, Problem
from sfn.in_one_step import in_one_step

FOLDER_SETTING = "SFN_DELAYS_DATA"
DESKS, MARK, STOP = "work", "mark", "stop"
TELL_EVERY_S = 0.25


@dataclass(frozen=True, slots=True)
class Order:
    """Where a task belongs.

    Parameters
    ----------
    data_folder : str
        As the service has it; a worker that has it elsewhere says where in its environment (`FOLDER_SETTING`).
    desk : str
        Name of the job's folder below `work` in it.
    task : str
        Name of the task in the job.
    mark : str
        What the mark in the desk says.
    version : str
        Of the program that asks.
    """

    data_folder: str
    desk: str
    task: str
    mark: str
    version: str = __version__


class Desk:
    """The folder of one job, as the worker of one task has it.

    Raises
    ------
    PlanError
        If the worker has another version of the program, or does not see the folder.
    """

    def __init__(self, order: Order) -> None:
        # A worker is a process that somebody else's program started: its environment is all that can be set there.
        own = os.environ.get(FOLDER_SETTING)
        self.data_folder = Path(own or order.data_folder)
        self._place, self._task = self.data_folder / DESKS / order.desk, order.task
        self._told_s = self._looked_s = 0.0
        self._stopped, self._lock = False, threading.Lock()
        if order.version != __version__:
            what = f"{worker_name()} runs version {__version__} of this program, the service {order.version}"
            raise PlanError([Problem("worker", what, "one version on both", code="worker-version")])
        try:
            seen = (self._place / MARK).read_text(encoding="utf-8")
            (self._place / f"{order.task}.begun.{secrets.token_hex(4)}").write_text(worker_name(), encoding="utf-8")
        except OSError as away:
            raise PlanError([self._not_shared(order, bool(own), away.strerror or "it cannot be read")]) from None
        if seen != order.mark:
            raise PlanError([self._not_shared(order, bool(own), "there is another in its place")])

    def _not_shared(self, order: Order, named: bool, why: str) -> Problem:
        """What is wrong with the folder, and what to set where."""
        by = f"as {FOLDER_SETTING} of the worker says" if named else f"{FOLDER_SETTING} is not set for the worker"
        what = f"{worker_name()} does not see the data folder of the service: {self._place} ({by}): {why}"
        expected = (
            f"the service's {order.data_folder} on a disk that both can write, and {FOLDER_SETTING} of the worker set "
            "to where it is mounted there"
        )
        return Problem("worker", what, expected, code="storage-not-shared")

    @property
    def terrain_folder(self) -> Path:
        """Where terrain and people lie."""
        return self.data_folder / "terrain"

    @property
    def rasters_folder(self) -> Path:
        """Where rasters are kept."""
        return self.data_folder / "rasters"

    def cancelled(self) -> bool:
        """Whether the job is to stop, or is gone; the disk is asked four times a second at most."""
        now_s = time.monotonic()
        with self._lock:
            if not self._stopped and now_s - self._looked_s >= TELL_EVERY_S:
                self._looked_s = now_s
                self._stopped = (self._place / STOP).exists() or not (self._place / MARK).exists()
            return self._stopped

    def tell(self, phase: str, *, done: int, total: int) -> None:
        """Say how far it is, where somebody asked for it may read it."""
        now_s = time.monotonic()
        with self._lock:
            if now_s - self._told_s < TELL_EVERY_S:
                return
            self._told_s = now_s
        with suppress(OSError), in_one_step(self._place / f"{self._task}.told") as fresh:  # the job may be gone
            fresh.write_text(json.dumps([phase, done, total]), encoding="utf-8")

    def answer(self, found: Mapping[str, Any]) -> str:
        """Leave an answer; the name of its file."""
        name = f"{self._task}.answer"
        with in_one_step(self._place / name) as fresh:
            fresh.write_text(json.dumps(dict(found), ensure_ascii=False), encoding="utf-8")
        return name


def worker_name() -> str:
    """Which process of which machine this is, for people."""
    return f"worker {socket.gethostname()}, process {os.getpid()}"
