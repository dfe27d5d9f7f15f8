"""How far a computation is, and stopping it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from sfn.errors import Problem
from webapp.config.addresses import Room, to
from webapp.shell.context import Context
from webapp.shell.dependencies import (
    JobsDep,
    MapsDep,
    PersonDep,
    SettingsDep,
    StoreDep,
    in_part,
    read_network,
)
from webapp.shell.following import as_json, found, stop
from webapp.shell.problems import RefusedError, wants_json
from webapp.shell.render import page
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
    stop(jobs, job, person, store)
    if wants_json(request):
        return JSONResponse(as_json(job.view()))
    return RedirectResponse(to("jobs.show", job_id), 303)


@router.post("/jobs/{job_id}/again")
def again(
    request: Request, jobs: JobsDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, job_id: str
) -> Response:
    """Start what ended with the service once more, as it was typed, of the newest revision.

    Nothing starts again by itself: what ended a process may have been this very computation. A kind that makes more
    than figures takes the role that its first start took (`webapp.work.job.Function.needs`).
    """
    job = found(jobs, job_id)
    begin = request.app.state.again.get(job.function)
    if begin is None or not job.view().again:
        what = (
            "this cannot be started again from here: it did not end with the service, or what was sent for it is gone"
        )
        raise RefusedError(422, Problem("job", what, "a new one, where it was asked for", code="job-not-again"))
    jobs.allow(job.function)
    network_id = int(job.asked["network"])
    opened = read_network(request, store, network_id)
    if not jobs.function(job.function).whole:
        opened = in_part(opened)
    made = begin(opened, maps, jobs, dict(job.asked["typed"]), settings.limits.grid_points)
    store.audit.add("job started again", subject=job.title, network_id=network_id, body={"job": job_id})
    if wants_json(request):
        return JSONResponse(as_json(made.view()))
    return RedirectResponse(to("jobs.show", made.id), 303)
