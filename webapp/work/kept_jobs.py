"""Jobs as the database has them: what was asked for and how it ended, of this process and of others."""

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, cast

from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import PlanError, Problem
from webapp.store.job_records import FINISHED, OPEN, JobRecord, JobRecords
from webapp.work.job import Function, Job, State

LOG = logging.getLogger("webapp.jobs")
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
                answer=None if function is None or function.plain is None else function.plain(job.result),
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
        return None if function.revived is None else function.revived(record.answer or {})
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
