"""A recording of I and Q in which several sites arrive."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.arrivals import Arrivals, document
from webapp import addresses
from webapp.arrivals import looking_for_arrivals
from webapp.contexts.arrivals import ArrivalsPage
from webapp.dependencies import FormDep, JobsDep, MapsDep, ReadableDep, SettingsDep, UploadsDep
from webapp.problems import RefusedError
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.post("/networks/{network_id}/measurements/arrivals/upload")
def take(
    opened: ReadableDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Keep recording and reference, and start looking."""
    job = looking_for_arrivals(
        jobs, files, form, opened.network, ground=maps.ground(opened.network),
        folder=settings.data_folder / "recordings",
    )  # fmt: skip
    job.result_url = addresses.iq_arrivals(opened.head.id, job.id)
    return RedirectResponse(addresses.job(job.id), 303)


@router.get("/networks/{network_id}/measurements/arrivals/{job_id}")
def show(request: Request, opened: ReadableDep, jobs: JobsDep, job_id: str) -> Response:
    """What a job found."""
    job = jobs.find(job_id)
    if job is None or not isinstance(job.result, Arrivals):
        raise RefusedError(404)
    return page(
        request,
        ArrivalsPage(
            network=opened.head,
            answer=document(job.result),
            names={site.id: site.name for site in opened.network.sites},
            problems=job.result.problems,
            json_address=addresses.iq_arrivals_json(opened.head.id, job_id),
        ),
    )
