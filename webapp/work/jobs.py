"""Long computations: truthful progress, cancelling, a bounded number of them, an executor passed in.

A job's work is a function that takes a `Progress` and returns its result. It tells the progress how
much of what is done, in units of its own (sites, radials, points), and by telling learns whether it
was cancelled. Nothing is estimated: `done` counts what is finished.
"""

import threading
from collections import Counter, OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from contextlib import suppress
from contextvars import copy_context
from functools import partial
from typing import Any, cast

from sfn.errors import PlanError, Problem
from webapp.store.audit import ACTING
from webapp.store.job_records import JobRecords
from webapp.store.roles import NotAllowedError, Person, Via, may
from webapp.work.job import (
    ENDED as ENDED,
    Function as Function,
    Job as Job,
    JobView as JobView,
    State as State,
    UrlOf as UrlOf,
    Work as Work,
    kept_typed as kept_typed,
)
from webapp.work.kept_jobs import ON_DISK as ON_DISK, KeptJobs
from webapp.work.progress import CancelledError as CancelledError, Part as Part, Progress as Progress


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
        self._functions = functions or {}
        self._kept = KeptJobs(records, self._functions)
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
        NotAllowedError
            If whoever asks may not do what such a `function` needs.
        """
        self.allow(function)
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

    def function(self, name: str) -> Function:
        """What is known of a kind of computation; of one that has no line, that it needs what computing needs."""
        return self._functions.get(name, Function())

    def allow(self, function: str) -> None:
        """Refuse a kind of computation to whoever is acting and may not start it; the program itself may.

        Raises
        ------
        NotAllowedError
            If its role does not allow it.
        """
        acting, needs = ACTING.get(), self.function(function).needs
        person = Person(acting.who, acting.role, cast(Via, acting.via), scope=acting.scope)
        if function in self._functions and acting.via != "program" and not may(person, needs):
            raise NotAllowedError(person, needs)

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
