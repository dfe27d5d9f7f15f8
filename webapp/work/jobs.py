"""Long computations: truthful progress, cancelling, a bounded number of them, an executor passed in.

A job's work is a function that takes a `Progress` and returns its result. It tells the progress how
much of what is done, in units of its own (sites, radials, points), and by telling learns whether it
was cancelled. Nothing is estimated: `done` counts what is finished.
"""

import logging
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Executor
from contextvars import copy_context
from dataclasses import dataclass
from typing import Any, Literal

from sfn.errors import PlanError, Problem
from webapp.store.audit import ACTING

State = Literal["waiting", "running", "finished", "cancelled", "failed"]
ENDED: tuple[State, ...] = ("finished", "cancelled", "failed")
LOG = logging.getLogger("webapp.jobs")


class CancelledError(Exception):
    """Raised inside a job's work, out of `Progress.tell`, after someone cancelled it."""


@dataclass(frozen=True, slots=True)
class Part:
    """How far one part of a job is: a site, mostly."""

    name: str
    done: int
    total: int


class Progress:
    """What a job's work tells of itself; may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._cancelled = threading.Event()
        self._phase, self._done, self._total = "waiting for its turn", 0, 0
        self._parts: tuple[Part, ...] = ()

    @property
    def cancelled(self) -> bool:
        """Whether someone asked the work to stop; for loops that cannot raise."""
        return self._cancelled.is_set()

    def tell(self, phase: str, *, done: int, total: int, parts: "tuple[Part, ...]" = ()) -> None:
        """Say what is being done and how much of it is finished; `parts` say the same of its parts.

        Raises
        ------
        CancelledError
            If someone cancelled the job; let it through.
        """
        if self.cancelled:
            raise CancelledError
        with self._lock:
            self._phase, self._done, self._total, self._parts = phase, done, total, parts

    def told(self) -> "tuple[str, int, int, tuple[Part, ...]]":
        """The last phase, done, total and parts."""
        with self._lock:
            return self._phase, self._done, self._total, self._parts

    def cancel(self) -> None:
        """Ask the work to stop at its next `tell`."""
        self._cancelled.set()


Work = Callable[[Progress], Any]


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


class Job:
    """One computation; its result is there once the state is ``finished``."""

    def __init__(self, *, title: str, key: str, result_url: str | None) -> None:
        self.id = secrets.token_urlsafe(9)
        self.title, self.key, self.result_url = title, key, result_url
        self.started_by = ACTING.get().who
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
        except CancelledError:
            state = "cancelled"
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
        url = self.result_url if ready else None
        return JobView(self.id, self.title, self.state, phase, done, total, parts, self.problems, url)


class Jobs:
    """The jobs of one application: at most `capacity` not yet ended, the last `remembered` ended ones kept.

    `executor` runs them (threads by default: the kernels release the interpreter); a distributed one fits.
    """

    def __init__(self, executor: Executor, *, capacity: int, remembered: int = 32) -> None:
        self._executor, self._capacity, self._remembered = executor, capacity, remembered
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Job] = OrderedDict()

    def start(self, work: Work, *, title: str, key: str, result_url: str | None = None) -> Job:
        """Start `work`, or give back the job that already does or did the same (equal `key`).

        Raises
        ------
        PlanError
            If as many computations as allowed are waiting already.
        """
        with self._lock:
            for job in self._jobs.values():
                if job.key == key and job.state not in ("cancelled", "failed") and not job.progress.cancelled:
                    return job
            open_jobs = sum(job.state not in ENDED for job in self._jobs.values())
            if open_jobs >= self._capacity:
                what = f"{open_jobs} computations are waiting or running"
                raise PlanError(
                    [
                        Problem(
                            "jobs",
                            what,
                            f"fewer than {self._capacity}: cancel one, or wait for one",
                            code="too-many-jobs",
                        )
                    ]
                )
            job = Job(title=title, key=key, result_url=result_url)
            self._jobs[job.id] = job
            self._forget()
        self._executor.submit(copy_context().run, job.run, work)  # what it logs bears the request that asked for it
        return job

    def under_way(self, key: str) -> Job | None:
        """The job of that key which somebody has started and which is not at its end."""
        with self._lock:
            return next(
                (j for j in self._jobs.values() if j.key == key and j.state not in ENDED and not j.progress.cancelled),
                None,
            )

    def find(self, job_id: str) -> Job | None:
        """The job of that id, while it is remembered."""
        with self._lock:
            return self._jobs.get(job_id)

    def states(self) -> tuple[State, ...]:
        """The state of every job that is remembered."""
        with self._lock:
            return tuple(job.state for job in self._jobs.values())

    def cancel_all(self) -> int:
        """Ask every job to stop, for the application is ending; how many had not ended."""
        with self._lock:
            still = [job for job in self._jobs.values() if job.state not in ENDED]
        for job in still:
            job.progress.cancel()
        return len(still)

    def _forget(self) -> None:
        ended = [job.id for job in self._jobs.values() if job.state in ENDED]
        for job_id in ended[: max(0, len(ended) - self._remembered)]:
            del self._jobs[job_id]
