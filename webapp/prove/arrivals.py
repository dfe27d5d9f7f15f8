"""A recording of I and Q in which several sites arrive."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.arrivals import document
from sfn.errors import Problem
from sfn.study.arrivals import Arrivals
from webapp.config.addresses import Room, to
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, ReadableDep, SettingsDep, UploadsDep
from webapp.shell.following import as_json, found as followed, not_yet
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.work.arrivals import looking_for_arrivals

router = Room("arrivals")


@dataclass(frozen=True, slots=True)
class ArrivalsPage(Context):
    """Several sites' arrivals in one recording, and the measurements they make."""

    TEMPLATE: ClassVar[str] = "prove/arrivals.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    answer: dict[str, Any]
    """As ``python -m sfn arrivals --json`` answers."""
    names: dict[str, str]
    """Site names by id."""
    problems: tuple[Problem, ...]
    """What is doubtful about the recording."""
    json_address: str
    """The same for scripts."""


@router.post("/networks/{network_id}/measurements/arrivals/upload")
def take(
    opened: ReadableDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Keep recording and reference, and start looking."""
    job = looking_for_arrivals(
        jobs, files, form, opened.network, ground=maps.ground(opened.network),
        folder=settings.data_folder / "recordings", workers=maps.workers,
    )  # fmt: skip
    job.result_url = to("arrivals.show", opened.head.id, job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/measurements/arrivals/{job_id}")
def show(request: Request, opened: ReadableDep, jobs: JobsDep, job_id: str) -> Response:
    """What a job found."""
    job = followed(jobs, job_id)
    if not isinstance(job.result, Arrivals):
        raise RefusedError(404)
    return page(
        request,
        ArrivalsPage(
            network=opened.head,
            answer=document(job.result),
            names={site.id: site.name for site in opened.network.sites},
            problems=job.result.problems,
            json_address=to("api.answer_arrivals", opened.head.id, job_id),
        ),
    )


for_scripts = Room("api", under="/api", tags=["answers"], include_in_schema=True)


_FIELDS = {
    "recording": "I and Q: one file of two channels, or both files of SigMF.",
    "reference": "The composite that was on air.",
    "deviation_khz": "Deviation that its full scale makes. [kHz]",
    "reference_channel": "Counted from 1.",
    "search_us": "How far the beginnings may lie apart. [us]",
    "spread_us": "How far paths lie from what is heard best. [us]",
    "at": "Where it was recorded: arrivals are given to sites.",
    "launch_uncertainty_us": "Uncertainty of the launches against the plan. [us]",
    "as_set": "`yes`: launches with what is set now.",
    "when": "When it was recorded, for the rows.",
    "recorded_by": "Who recorded it, for the rows.",
}


_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["recording", "reference", "deviation_khz"],
                    "properties": {
                        name: {"type": "string", "description": told}
                        | ({"format": "binary"} if name in ("recording", "reference") else {})
                        for name, told in _FIELDS.items()
                    },
                }
            }
        },
    }
}


@for_scripts.post("/networks/{network_id}/arrivals/upload", status_code=202, openapi_extra=_BODY)
def look_for_arrivals(
    opened: ReadableDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> dict[str, Any]:
    """Start looking for every site's arrival in a recording of I and Q; `answer` is where it will be."""
    job = looking_for_arrivals(
        jobs, files, form, opened.network, ground=maps.ground(opened.network),
        folder=settings.data_folder / "recordings", workers=maps.workers,
    )  # fmt: skip
    job.result_url = to("arrivals.show", opened.head.id, job.id)
    return as_json(job.view()) | {"answer": to("api.answer_arrivals", opened.head.id, job.id)}


@for_scripts.get("/networks/{network_id}/arrivals/{job_id}")
def answer_arrivals(opened: ReadableDep, jobs: JobsDep, job_id: str, response: Response) -> dict[str, Any]:
    """Every arrival, as ``python -m sfn arrivals --json`` answers; 202 while it is looked for, 422 where refused."""
    job = followed(jobs, job_id)
    if job.result_url != to("arrivals.show", opened.head.id, job_id):
        raise RefusedError(404)
    if isinstance(job.result, Arrivals):
        return document(job.result)
    return not_yet(job, response)
