"""Workers on this or other machines, through `distributed`: connected to, watched, and handed tasks that may be lost.

A job stays a job of this process, with its turn, quota, record and page; what is handed out are tasks by name
(`sfn.work.table`). A worker that dies costs its tasks a second beginning, which `distributed` sees to, a bounded number
of times; a scheduler that is away is waited for, in words.
"""

import contextlib
import json
import logging
import secrets
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from sfn.errors import PlanError, Problem
from sfn.field.elsewhere import RasterAsked
from sfn.propagation.link import SweepCancelled
from sfn.work.desk import DESKS, STOP
from sfn.work.table import Done, run
from webapp.config.settings import is_loopback
from webapp.config.workers_setting import WorkersSetting
from webapp.work.job_desk import JobDesk, swept
from webapp.work.progress import Progress

LOG = logging.getLogger("webapp.workers")
LOOK_S = 0.05
WATCH_S = 2.0
CONNECT_S = 5.0
PATIENCE_S = 300.0
"""How long a job waits for a scheduler that is away, or for a first worker."""
STOPPING_S = 20.0
"""How long a task that was asked to stop may take to do so; it answers with what it has."""
LEAST_PART_PIXELS_N = 120_000
"""A smaller part is not worth its way: a tenth of a second of one core."""
TASKS_A_THREAD = 2
ANY_OF_LOOPBACK = "127.0.0.1:0"
OWN_MEMORY_RATIO = 0.7
"""Of this machine's memory, for workers of our own together: the rest is the service's."""
LOST = ("cancelled", "lost")


@dataclass(frozen=True, slots=True)
class Seen:
    """What was last seen of the scheduler.

    Parameters
    ----------
    there : bool
    workers_n, threads_n : int
    why : str
        Why it is away; empty where it is there.
    """

    there: bool
    workers_n: int = 0
    threads_n: int = 0
    why: str = "nobody has looked yet"


class Workers:
    """The scheduler that the settings name, watched from a thread of its own, so that nobody waits who only looks."""

    def __init__(self, setting: WorkersSetting, data_folder: Path, *, patience_s: float = PATIENCE_S) -> None:
        self._setting, self.data_folder, self.patience_s = setting, data_folder, patience_s
        self.address = setting.says
        if setting.bare and not is_loopback(urlsplit(setting.address).hostname or ""):
            LOG.warning("%s is reached without TLS: whoever is on that net can run what they like here", self.address)
        self._client: Any = None
        self._cluster: Any = None
        self._seen = Seen(False)
        self._changed = threading.Condition()
        self._ended = threading.Event()
        swept(data_folder / DESKS)
        self._watching = threading.Thread(target=self._watch, name="workers", daemon=True)
        self._watching.start()

    @property
    def seen(self) -> Seen:
        """What was last seen; at once."""
        return self._seen

    def close(self) -> None:
        """Let go of the scheduler; workers of our own end."""
        self._ended.set()
        self._watching.join(timeout=2 * CONNECT_S)
        for one in (self._client, self._cluster):
            with contextlib.suppress(Exception):
                if one is not None:
                    one.close(timeout=CONNECT_S)

    def client(self, *, cancelled: Callable[[], bool], say: Callable[[str], None], workers: bool = True) -> Any:
        """The connection, once there is one, and a worker.

        Raises
        ------
        PlanError
            If there is none for longer than a job waits.
        SweepCancelled
            If `cancelled` said so meanwhile.
        """
        ends_s = time.monotonic() + self.patience_s
        while True:
            seen = self._seen
            if seen.there and (seen.workers_n or not workers):
                return self._client
            if cancelled():
                raise SweepCancelled
            what = f"the scheduler {self.address} has no worker" if seen.there else self.away(seen)
            if time.monotonic() > ends_s:
                raise PlanError([self.problem(what)])
            say(f"waiting: {what}")
            with self._changed:
                self._changed.wait(4 * LOOK_S)

    def away(self, seen: Seen) -> str:
        """In words, that the scheduler does not answer."""
        return f"the scheduler {self.address} does not answer ({seen.why})"

    def problem(self, what: str) -> Problem:
        """What is wrong with it, for whoever asked for something."""
        expected = (
            "the scheduler and a worker running where SFN_DELAYS_DASK says, then the same asked for once more; or the "
            "service started without SFN_DELAYS_DASK, which computes on this machine"
        )
        return Problem("workers", what, expected, code="workers-away")

    def parted(self) -> None:
        """Say that the connection is of no use: it is made anew."""
        with self._changed:
            self._seen = Seen(False, why="the connection was lost")
            self._changed.notify_all()

    def _watch(self) -> None:
        """Connect, look, and connect again."""
        while not self._ended.is_set():
            try:
                if self._client is None or not self._seen.there:
                    self._connect()
                held = self._client.scheduler_info(n_workers=-1)["workers"]
                if self._client.status != "running":
                    raise OSError("the connection was lost")
                seen = Seen(True, len(held), sum(int(one["nthreads"]) for one in held.values()), "")
            except Exception as away:  # whatever a network, a certificate or another version of distributed throws
                seen = Seen(False, why=_reason(away))
            with self._changed:
                if (seen.there, seen.why) != (self._seen.there, self._seen.why):
                    LOG.warning("%s", self._says(seen))
                self._seen = seen
                self._changed.notify_all()
            self._ended.wait(WATCH_S if seen.there and seen.workers_n else WATCH_S / 4)

    def _says(self, seen: Seen) -> str:
        """One line of the log."""
        if not seen.there:
            return self.away(seen)
        return f"the scheduler {self.address} answers: {seen.workers_n} workers, {seen.threads_n} threads"

    def _connect(self) -> None:
        """A new connection; what is left of the old one goes."""
        from distributed import Client

        old, self._client = self._client, None
        if old is not None:
            with contextlib.suppress(Exception):
                old.close(timeout=1)
        if self._setting.local_n and self._cluster is None:
            self._cluster = _own_cluster(self._setting.local_n)
        address, more = self._setting.address, {}
        if self._cluster is not None:
            address, more = self._cluster.scheduler_address, {"security": self._cluster.security}
        self._client = Client(  # type: ignore[no-untyped-call]
            address, timeout=CONNECT_S, set_as_default=False, name="sfn-delays", **more
        )


class JobWorkers:
    """The workers as one job uses them: a folder for it, what they say, and how often one was lost."""

    def __init__(
        self, workers: Workers, *, cancelled: Callable[[], bool], say: Callable[[str], None] | None = None
    ) -> None:
        self._workers, self._cancelled = workers, cancelled
        self._say = say or (lambda _said: None)
        self.note = ""
        """What should be said beside how far it is: empty, or that workers were lost."""

    @classmethod
    def of(cls, workers: Workers, progress: Progress) -> "JobWorkers":
        """As the job of a progress uses them."""

        def say(said: str) -> None:
            """Told where nobody has cancelled: telling would end the job at another place than it looks for that."""
            if not progress.cancelled:
                progress.tell(said, done=0, total=0)

        return cls(workers, cancelled=lambda: progress.cancelled, say=say)

    @property
    def terrain_folder(self) -> Path:
        """Within which terrain must lie."""
        return self._workers.data_folder / "terrain"

    def parts_n(self, *, sites_n: int, pixels_n: int) -> int:
        """So many that every thread gets some, and none too small to be worth its way."""
        threads_n = max(self._workers.seen.threads_n, 1)
        wanted = -(-TASKS_A_THREAD * threads_n // max(sites_n, 1))
        return max(1, min(wanted, pixels_n // LEAST_PART_PIXELS_N, 64))

    def computed(self, asked: Sequence[RasterAsked], *, cancelled: Callable[[], bool]) -> Iterator[int]:
        """Rasters, or parts, as their files are there.

        Raises
        ------
        PlanError
            If a worker cannot do its task, or the workers are away for too long.
        SweepCancelled
            If `cancelled` said so.
        """
        with self._desk() as desk:
            for at, done in self._done("rasters", asked, desk, cancelled):
                if done.cancelled:
                    raise SweepCancelled
                yield at

    def answered(self, name: str, asked: Any, *, told: Callable[[str, int, int], None]) -> Any:
        """The answer of one function, a document or a record; cancelled, a search answers with the best it had.

        Parameters
        ----------
        name : str
            Of `sfn.work.table.FUNCTIONS`.
        asked : record
        told : callable(phase, done, total)

        Raises
        ------
        PlanError
            If it says no, or the workers are away for too long.
        SweepCancelled
            If the job was stopped before there was an answer.
        """
        found: Any = None
        with self._desk() as desk:
            for _, done in self._done(name, [asked], desk, self._cancelled, told):
                if done.cancelled:
                    raise SweepCancelled
                answer = desk.place / done.answer
                found = json.loads(answer.read_text(encoding="utf-8")) if done.answer else done.record
        return found

    @contextlib.contextmanager
    def _desk(self) -> Iterator[JobDesk]:
        """A folder of this job, which goes with it."""
        desk = JobDesk(self._workers.data_folder)
        try:
            yield desk
        finally:
            with contextlib.suppress(OSError):
                (desk.place / STOP).touch()  # whoever still works at it
            shutil.rmtree(desk.place, ignore_errors=True)

    def _done(
        self, name: str, asked: Sequence[Any], desk: JobDesk, cancelled: Callable[[], bool],
        told: Callable[[str, int, int], None] | None = None,
    ) -> Iterator[tuple[int, Done]]:  # fmt: skip
        """Tasks as they end, whoever is lost on the way; all of them, or a refusal."""
        left = dict(enumerate(asked))
        stopped_s: float | None = None
        while left:
            client = self._workers.client(cancelled=cancelled, say=self._say)
            pending = {}
            try:
                for at, one in left.items():
                    pending[at] = client.submit(
                        run, name, one, desk.order(at), key=f"sfn-{desk.name}-{at}-{secrets.token_hex(3)}", pure=False,
                        priority=-len(asked),  # who has fewer tasks comes through between those of many
                    )  # fmt: skip
                while pending:
                    if cancelled() and stopped_s is None:
                        (desk.place / STOP).touch()
                        stopped_s = time.monotonic()
                        if told is None:
                            raise SweepCancelled
                    if stopped_s is not None and time.monotonic() - stopped_s > STOPPING_S:
                        raise SweepCancelled
                    ended = [at for at, future in pending.items() if future.status != "pending"]
                    lost = client.status != "running" or any(pending[at].status in LOST for at in ended)
                    if lost:
                        self._workers.parted()
                        break
                    for at in ended:
                        found = self._ended(pending.pop(at))
                        del left[at]
                        if found.problems:
                            raise PlanError(found.problems)
                        yield at, found
                    self._note(desk)
                    if told is not None and (said := desk.told(0)) is not None:
                        phase, done_n, total_n = said
                        told(f"{phase}, {self.note}" if self.note else phase, done_n, total_n)
                    if not ended:
                        time.sleep(LOOK_S)
                self._note(desk, at_once=True)  # a loss in the last second is told too
            finally:
                for future in pending.values():
                    with contextlib.suppress(Exception):
                        future.cancel()

    def _ended(self, future: Any) -> Done:
        """How a task ended.

        Raises
        ------
        PlanError
            If the workers that it was given to ended one after another.
        """
        from distributed import KilledWorker

        if future.status == "error":
            fault = future.exception(timeout=CONNECT_S)
            if isinstance(fault, KilledWorker):
                what = "several workers ended, one after another, while they worked at the same part"
                expected = "workers with more memory, or fewer threads each; what ended them stands in their logs"
                raise PlanError([Problem("workers", what, expected, code="workers-killed")])
            raise fault
        found: Done = future.result(timeout=CONNECT_S)
        return found

    def _note(self, desk: JobDesk, *, at_once: bool = False) -> None:
        """See whether a task was begun twice."""
        again_n = desk.begun_again_n(at_once=at_once)
        if again_n:
            self.note = f"{again_n} begun again after a worker was lost"


def _own_cluster(workers_n: int) -> Any:
    """Workers of our own on this machine; each has its part of the memory, and is ended beyond it.

    They listen on loopback, where everybody with an account of the machine could have them run something: so only who
    has the certificate of this very process is let in.
    """
    from distributed import LocalCluster
    from distributed.security import Security
    from distributed.system import MEMORY_LIMIT

    return LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=workers_n, threads_per_worker=1, processes=True, host="127.0.0.1", security=Security.temporary(),  # type: ignore[no-untyped-call]

        dashboard_address=ANY_OF_LOOPBACK, worker_dashboard_address=ANY_OF_LOOPBACK,
        memory_limit=int(OWN_MEMORY_RATIO * MEMORY_LIMIT / workers_n), silence_logs=logging.ERROR,
    )  # fmt: skip


def _reason(away: Exception) -> str:
    """Why a scheduler is away, in a few words without an address or a trace."""
    if isinstance(away, TimeoutError):
        return "no answer in time"
    if isinstance(away, OSError):
        return away.strerror or "it cannot be reached"
    return f"{type(away).__name__}"
