"""How far a computation is, and stopping it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.errors import Problem
from webapp.config.addresses import Room, to
from webapp.shell.context import Context
from webapp.shell.dependencies import JobsDep, PersonDep, StoreDep
from webapp.shell.following import as_json, found
from webapp.shell.problems import RefusedError, wants_json
from webapp.shell.render import page
from webapp.store.roles import may
from webapp.work.jobs import JobView

router = Room("jobs")
RELOAD_S = 2


@dataclass(frozen=True, slots=True)
class JobPage(Context):
    """One computation; reloads itself while it runs."""

    TEMPLATE: ClassVar[str] = "front/job.html"
    job: JobView
    """Its present state."""


@router.get("/jobs/{job_id}")
def show(request: Request, jobs: JobsDep, job_id: str) -> Response:
    """The job's state: JSON where it is asked for, else a page that reloads itself and ends at the result."""
    view = found(jobs, job_id).view()
    if wants_json(request):
        return JSONResponse(as_json(view))
    if view.result_url:
        return RedirectResponse(view.result_url, 303)
    answer = page(request, JobPage(job=view))
    if view.state in ("waiting", "running"):
        answer.headers["Refresh"] = str(RELOAD_S)
    return answer


@router.post("/jobs/{job_id}/cancel")
def cancel(request: Request, jobs: JobsDep, store: StoreDep, person: PersonDep, job_id: str) -> Response:
    """Ask the job to stop; it does at its next step. Whoever started it may, and whoever may plan."""
    job = found(jobs, job_id)
    if person.named and person.name != job.started_by and not may(person, "plan"):
        what = f"{person.name} did not start this: it is {job.started_by or 'somebody else'}'s"
        raise RefusedError(403, Problem("job", what, "whoever started it, or who plans", code="job-of-another"))
    store.audit.add("job cancelled", subject=job.title, body={"started_by": job.started_by})
    job.progress.cancel()
    if wants_json(request):
        return JSONResponse(as_json(job.view()))
    return RedirectResponse(to("jobs.show", job_id), 303)
