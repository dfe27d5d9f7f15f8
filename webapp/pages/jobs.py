"""How far a computation is, and stopping it."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from webapp import addresses
from webapp.api_pages import PREFIX
from webapp.contexts.job import JobPage
from webapp.dependencies import JobsDep
from webapp.jobs import Job, Jobs, JobView
from webapp.problems import RefusedError, wants_json
from webapp.render import page

router = APIRouter(include_in_schema=False)
RELOAD_S = 2


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
def cancel(request: Request, jobs: JobsDep, job_id: str) -> Response:
    """Ask the job to stop; it does at its next step."""
    job = found(jobs, job_id)
    job.progress.cancel()
    if wants_json(request):
        return JSONResponse(as_json(job.view()))
    return RedirectResponse(addresses.job(job_id), 303)


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
        "url": addresses.job(view.id),
        "cancel_url": addresses.cancel_job(view.id),
    }


def found(jobs: Jobs, job_id: str) -> Job:
    """A remembered job; a page that is not there otherwise."""
    job = jobs.find(job_id)
    if job is None:
        raise RefusedError(404)
    return job
