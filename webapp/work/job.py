"""One computation: its state, how far it is, what it answered; and what is known of its kind."""

import logging
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from sfn.errors import PlanError, Problem
from webapp.store.audit import ACTING
from webapp.store.roles import Action
from webapp.work.progress import STOPPED_KEPT, CancelledError, Part, Progress

LOG = logging.getLogger("webapp.jobs")
State = Literal["waiting", "running", "finished", "cancelled", "failed"]
ENDED: tuple[State, ...] = ("finished", "cancelled", "failed")

Work = Callable[[Progress], Any]
UrlOf = Callable[[str], str]
"""Where the result of a job is shown, by its id."""


@dataclass(frozen=True, slots=True)
class Function:
    """A kind of computation that can be started again out of plain data; whose answer is such, outlives the process."""

    plain: Callable[[Any], Mapping[str, Any]] | None = None
    """Its result as JSON has it; None where no answer is kept."""
    revived: Callable[[Mapping[str, Any]], Any] | None = None
    """The result of that."""
    needs: Action = "compute"
    """What whoever starts it must be allowed to do, the first time and again."""
    whole: bool = False
    """Whether it takes a network as it stands; else only what can be read of it."""


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
