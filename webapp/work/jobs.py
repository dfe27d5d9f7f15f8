"""Long computations: truthful progress, cancelling, a bounded number of them, an executor passed in.

A job's work is a function that takes a `Progress` and returns its result. It tells the progress how
much of what is done, in units of its own (sites, radials, points), and by telling learns whether it
was cancelled. Nothing is estimated: `done` counts what is finished.
"""

import logging
import secrets
import threading
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from contextvars import copy_context
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal, cast

from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import PlanError, Problem
from webapp.store.audit import ACTING
from webapp.store.job_records import FINISHED, OPEN, JobRecord, JobRecords
from webapp.work.progress import STOPPED_KEPT, CancelledError as CancelledError, Part as Part, Progress as Progress

State = Literal["waiting", "running", "finished", "cancelled", "failed"]
ENDED: tuple[State, ...] = ("finished", "cancelled", "failed")
LOG = logging.getLogger("webapp.jobs")

Work = Callable[[Progress], Any]
UrlOf = Callable[[str], str]
"""Where the result of a job is shown, by its id."""


@dataclass(frozen=True, slots=True)
class Function:
    """A kind of computation whose answer is plain data and outlives the process."""

    plain: Callable[[Any], Mapping[str, Any]]
    """Its result as JSON has it."""
    revived: Callable[[Mapping[str, Any]], Any]
    """The result of that."""


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as a page or a script sees it."""

    id: str
    title: str
    state: State
    phase: str
    done: int
    total: int
    parts: tuple[Part, ...]
    problems: tuple[Problem, ...]
    result_url: str | None
    again: bool = False
    """Whether it has no answer, and can be started again out of what is kept of it."""
    go_on_url: str | None = None
    """Where it is gone on with from what was kept when somebody stopped it."""


class Job:
    """One computation; its result is there once the state is ``finished``."""

    def __init__(
        self, *, title: str, key: str, result_url: "str | UrlOf | None", short: bool, far: bool = False
    ) -> None:
        self.id = secrets.token_urlsafe(9)
        self.title, self.key, self.short, self.far = title, key, short, far
        self.result_url = result_url(self.id) if callable(result_url) else result_url
        self.started_by = ACTING.get().who
        self.function = ""
        self.asked: Mapping[str, Any] = {}
        self.elsewhere = False
        """Whether another process of the service works at it."""
        self.stopped = False
        """Whether the process that worked at it ended first: it can be started again, from `asked`."""
        self.answer_gone = False
        """Whether it ended well, and its answer is not kept: so can it."""
        self.progress = Progress()
        self.state: State = "waiting"
        self.result: Any = None
        self.problems: tuple[Problem, ...] = ()
        self.ended = threading.Event()

    def run(self, work: Work) -> None:
        """Do the work; whatever happens ends in a state, never in a lost exception."""
        state: State = "finished"
        try:
            if self.progress.cancelled:
                raise CancelledError
            self.state = "running"
            self.result = work(self.progress)
        except CancelledError as stopped:
            state, self.problems = "cancelled", stopped.kept
        except PlanError as refused:
            state, self.problems = "failed", refused.problems
        except Exception:
            LOG.exception("job %s (%s) failed", self.id, self.title)
            what = f"{self.title} stopped because of a fault in this program"
            state, self.problems = (
                "failed",
                (Problem(self.id, what, "the program's log names the place", code="work-failed"),),
            )
        self.state = state
        self.ended.set()

    def view(self) -> JobView:
        """Its present state."""
        phase, done, total, parts = self.progress.told()
        ready = self.state == "finished"
        kept = self.state == "cancelled" and any(problem.code == STOPPED_KEPT for problem in self.problems)
        url = self.result_url if ready else None
        again = (self.stopped or self.answer_gone) and "typed" in self.asked
        on = self.result_url if kept else None
        return JobView(self.id, self.title, self.state, phase, done, total, parts, self.problems, url, again, on)


def kept_typed(job: Job | None) -> dict[str, str]:
    """What was typed for a job, where that is kept with it."""
    return dict(job.asked.get("typed") or {}) if job is not None else {}


ON_DISK = "levels"
"""Function of jobs whose result is a raster in the cache on disk, by the job's key: it is read there."""


class KeptJobs:
    """Jobs as the database has them: what was asked for before this process began, or in another."""

    def __init__(self, records: JobRecords | None, functions: Mapping[str, Function]) -> None:
        self._records, self._functions = records, functions

    def begin(self, job: Job) -> None:
        """Note what was asked for."""
        if self._records is None:
            return
        with _told(job):
            self._records.begin(
                job.id, key=job.key, title=job.title, function=job.function, asked=job.asked, who=job.started_by,
                result_url=job.result_url,
            )  # fmt: skip

    def end(self, job: Job) -> None:
        """Note how it ended; one that was stopped with the process stays as it was asked for."""
        if self._records is None or job.stopped:
            return
        with _told(job):
            function = self._functions.get(job.function) if job.state == "finished" else None
            self._records.end(
                job.id, job.state, asked=job.asked, problems=job.problems, cut_short=job.progress.cancelled,
                answer=None if function is None else function.plain(job.result),
            )  # fmt: skip

    def followed(self, told: Callable[[], Mapping[str, Mapping[str, Any]]], stop: Callable[[str], None]) -> None:
        """From whom the other processes learn how far jobs of this one are, and who stops one for them."""
        if self._records is not None:
            self._records.followed(told, stop)

    def stop_elsewhere(self, job: Job) -> None:
        """Ask the process that works at it to stop it."""
        if self._records is not None:
            self._records.ask_stop(job.id)

    def find(self, job_id: str) -> Job | None:
        """The job of an id, with its answer where that was kept."""
        record = None if self._records is None else self._records.find(job_id)
        return None if record is None else self._job(record)

    def _job(self, record: JobRecord) -> Job:
        """A job that has ended, one way or another."""
        job = Job(title=record.title or "A computation", key=record.key, result_url=record.result_url, short=False)
        job.id, job.started_by, job.function, job.asked = record.id, record.started_by, record.function, record.asked
        function, what = self._functions.get(record.function), ""
        again = "the same asked for once more"
        if record.damaged:
            what = "what the database has of this computation is not what was written: nothing rests on it"
        elif record.elsewhere:
            job.elsewhere, job.state = True, "waiting" if record.told.get("state") == "waiting" else "running"
            job.progress.follow(record.told)
            return job
        elif record.state == OPEN:
            job.stopped = True
            what = "it waited or was being worked at when the service ended, and has no answer"
        elif record.state != FINISHED:
            job.state, job.problems = cast(State, record.state), record.problems
        elif function is not None and record.answer is not None and (made := _revived(function, record)) is not None:
            job.state, job.result = "finished", made
        elif record.function == ON_DISK:
            job.state = "finished"
        else:
            job.answer_gone = True
            what = "it ended, and its answer stayed in the process that worked at it, or was too large to be kept"
            if "typed" not in job.asked:
                again += "; files that were sent for it are to be sent again"
        if what:
            code = "store-damaged" if record.damaged else "job-stopped" if job.stopped else "job-answer-gone"
            job.state, job.problems = "failed", (Problem("job", what, again, code=code),)
        job.ended.set()
        return job


def _revived(function: Function, record: JobRecord) -> Any:
    """The result of a row that holds; None where another version of the program answered otherwise."""
    try:
        return function.revived(record.answer or {})
    except (PlanError, LookupError, TypeError, ValueError) as strange:
        LOG.warning("the answer of job %s cannot be read by this version: %s", record.id, strange)
        return None


@contextmanager
def _told(job: Job) -> Iterator[None]:
    """A database that is away stops no computation: it is only not kept."""
    try:
        yield
    except (SQLAlchemyError, ValueError) as away:
        LOG.warning("job %s (%s) is not kept: %s", job.id, job.title, type(away).__name__)


class Jobs:
    """The jobs of one application: at most `capacity` not yet ended, the last `remembered` ended ones kept.

    `executor` runs them (threads by default: the kernels release the interpreter). Whoever has fewest running comes
    next, of theirs the short ones first, and nobody who is known by name has more than `quota` open. Of those that are
    worked at in this process, and not by workers, at most `here_n` run at a time; not given: as the executor has room.
    """

    def __init__(
        self,
        executor: Executor,
        *,
        capacity: int,
        quota: int | None = None,
        remembered: int = 32,
        records: JobRecords | None = None,
        functions: Mapping[str, Function] | None = None,
        here_n: int | None = None,
    ) -> None:
        self._here_n, self._at_work_here_n = capacity if here_n is None else here_n, 0
        self._passed_n = 0  # threads that found nothing they might run: whoever ends a job sends one again
        self._executor, self._capacity, self._remembered = executor, capacity, remembered
        self._kept = KeptJobs(records, functions or {})
        self._quota = capacity if quota is None else quota
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._waiting: list[tuple[Job, Callable[[], None]]] = []
        self._running: Counter[str] = Counter()
        self._kept.followed(self._open, self._cancel)

    def start(
        self,
        work: Work,
        *,
        title: str,
        key: str,
        result_url: str | UrlOf | None = None,
        short: bool = False,
        far: bool = False,
        function: str = "",
        asked: Mapping[str, Any] | None = None,
    ) -> Job:
        """Start `work`, or give back the job that already does or did the same (equal `key`).

        Parameters
        ----------
        work : callable
        title : str
            What it is, for people.
        key : str
        result_url : str or callable, optional
            Where its result is shown, or what says that by the job's id.
        short : bool
            A matter of seconds: before the long ones of whoever asked.
        far : bool
            Whether workers do it, and this process only waits.
        function : str, optional
            Name of its kind, where its answer is kept in the database.
        asked : mapping, optional
            Plain data from which it can be started again.

        Raises
        ------
        PlanError
            If as many computations as allowed are waiting already, of all or of who is asking.
        """
        with self._lock:
            for job in self._jobs.values():
                if job.key == key and job.state not in ("cancelled", "failed") and not job.progress.cancelled:
                    return job
            job = Job(title=title, key=key, result_url=result_url, short=short, far=far)
            job.function, job.asked = function, dict(asked or {})
            self._refuse(job.started_by)
            self._kept.begin(job)
            self._jobs[job.id] = job
            self._forget()
            # What it logs bears the request that asked for it.
            self._waiting.append((job, partial(copy_context().run, job.run, work)))
        self._executor.submit(self._next)
        return job

    def _refuse(self, who: str) -> None:
        """Say no where too many are open; names that are typed, not proven, are nobody's."""
        of = [job.started_by for job in self._jobs.values() if job.state not in ENDED]
        mine_n = of.count(who) if who else 0
        if len(of) >= self._capacity:
            what, most, whose = f"{len(of)} computations are waiting or running", self._capacity, "one"
        elif mine_n >= self._quota:
            what, most, whose = f"{mine_n} computations of {who} are waiting or running", self._quota, "one of yours"
        else:
            return
        expected = f"fewer than {most}: cancel {whose}, or wait for one"
        raise PlanError([Problem("jobs", what, expected, code="too-many-jobs")])

    def _next(self) -> None:
        """Do the job whose turn it is."""
        if (turn := self._turn()) is None:
            return
        job, run = turn
        try:
            run()
        finally:
            self._kept.end(job)
            with self._lock:
                self._running[job.started_by] -= 1
                self._at_work_here_n -= not job.far
                again = self._passed_n > 0
                self._passed_n -= again
            if again:
                with suppress(RuntimeError):  # the service is ending
                    self._executor.submit(self._next)

    def _turn(self) -> tuple[Job, Callable[[], None]] | None:
        """Take the next one; None where none may run now: whoever ends one looks again."""
        with self._lock:
            may = [one for one in self._waiting if one[0].far or self._at_work_here_n < self._here_n]
            if not may:
                self._passed_n += 1
                return None
            # The first of equals: of one person in the order in which they were asked for.
            turn = min(may, key=lambda one: (self._running[one[0].started_by], not one[0].short))
            self._waiting.remove(turn)
            self._running[turn[0].started_by] += 1
            self._at_work_here_n += not turn[0].far
            return turn

    def under_way(self, key: str) -> Job | None:
        """The job of that key which somebody has started and which is not at its end."""
        with self._lock:
            return next(
                (j for j in self._jobs.values() if j.key == key and j.state not in ENDED and not j.progress.cancelled),
                None,
            )

    def find(self, job_id: str) -> Job | None:
        """The job of that id, while it is remembered, here or in the database."""
        with self._lock:
            there = self._jobs.get(job_id)
        return self._kept.find(job_id) if there is None else there

    def states(self) -> tuple[State, ...]:
        """The state of every job that is remembered."""
        with self._lock:
            return tuple(job.state for job in self._jobs.values())

    def cancel(self, job: Job) -> None:
        """Ask a job to stop; one of another process stops within a second or two of its next step."""
        if job.elsewhere:
            self._kept.stop_elsewhere(job)
        job.progress.cancel()

    def _cancel(self, job_id: str) -> None:
        """Ask one of this process to stop, by its id."""
        with self._lock:
            job = self._jobs.get(job_id)
        if job is not None:
            job.progress.cancel()

    def _open(self) -> dict[str, dict[str, Any]]:
        """How far each that has not ended is, for the other processes."""
        with self._lock:
            still = [job for job in self._jobs.values() if job.state not in ENDED]
        return {job.id: {"state": job.state, **job.progress.plain()} for job in still}

    def cancel_all(self) -> int:
        """Ask every job to stop, for the application is ending; how many had not ended."""
        with self._lock:
            still = [job for job in self._jobs.values() if job.state not in ENDED]
        for job in still:
            job.stopped = not job.progress.cancelled  # by nobody
            job.progress.cancel()
        return len(still)

    def _forget(self) -> None:
        ended = [job.id for job in self._jobs.values() if job.state in ENDED]
        for job_id in ended[: max(0, len(ended) - self._remembered)]:
            del self._jobs[job_id]
