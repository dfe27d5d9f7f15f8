"""A job that goes on, as scripts and the pages' scripts follow it."""

from fastapi import Response

from sfn.errors import Problem
from webapp.config.addresses import to
from webapp.shell.api_pages import PREFIX
from webapp.shell.problems import RefusedError
from webapp.store.job_records import KEPT_DAYS
from webapp.store.roles import Person, may, roles_for
from webapp.store.store import Store
from webapp.work.jobs import ENDED, Job, Jobs, JobView


def as_json(view: JobView) -> dict[str, object]:
    """A job for scripts."""
    return {
        "id": view.id,
        "title": view.title,
        "state": view.state,
        "phase": view.phase,
        "done": view.done,
        "total": view.total,
        "parts": [{"name": part.name, "done": part.done, "total": part.total} for part in view.parts],
        "problems": [p.as_json() for p in view.problems],
        "result_url": view.result_url,
        "result_api": None if view.result_url is None else f"{PREFIX}{view.result_url}",
        "url": to("jobs.show", view.id),
        "cancel_url": to("jobs.cancel", view.id),
        "again_url": to("jobs.again", view.id) if view.again else None,
    }


def not_yet(job: Job, response: Response) -> dict[str, object]:
    """What a script is told of a job that has no answer: 202 while it is worked on, 422 where that was refused."""
    view = job.view()
    response.status_code = 422 if view.state in ENDED else 202
    return as_json(view)


_WHO = "whoever started it, or somebody whose role plans: " + ", ".join(roles_for("plan"))


def stop(jobs: Jobs, job: Job, person: Person, store: Store) -> None:
    """Ask a job to stop; whoever started it may, and whoever may plan.

    Raises
    ------
    RefusedError
        If somebody else started it.
    """
    if person.named and person.name != job.started_by and not may(person, "plan"):
        what = f"{person.name} did not start this: it is {job.started_by or 'somebody else'}'s"
        raise RefusedError(403, Problem("job", what, _WHO, code="job-of-another"))
    store.audit.add("job cancelled", subject=job.title, body={"started_by": job.started_by})
    jobs.cancel(job)


def found(jobs: Jobs, job_id: str) -> Job:
    """A job that this process remembers or the database has; a page that says so where there is none."""
    job = jobs.find(job_id)
    if job is None:
        what = (
            f"the service knows no such computation: it was asked for over {KEPT_DAYS} days ago, or by a version that"
            " did not keep them"
        )
        expected = "started again; levels that were finished lie on the disk and are read, not computed"
        raise RefusedError(404, Problem("job", what, expected, code="job-unknown"))
    return job
