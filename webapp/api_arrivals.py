"""Arrivals in recordings of I and Q for scripts, ``/api/networks/ID/arrivals``: part of `webapp.api`."""

from typing import Any

from fastapi import APIRouter, Response

from sfn.answer.arrivals import Arrivals, document
from webapp import addresses
from webapp.arrivals import looking_for_arrivals
from webapp.dependencies import FormDep, JobsDep, MapsDep, ReadableDep, SettingsDep, UploadsDep
from webapp.jobs import ENDED
from webapp.pages.jobs import as_json
from webapp.problems import RefusedError

router = APIRouter(tags=["answers"])
_FIELDS = {
    "recording": "I and Q: one file of two channels, or both files of SigMF.",
    "reference": "The composite that was on air.",
    "deviation_khz": "Deviation that its full scale makes. [kHz]",
    "reference_channel": "Counted from 1.",
    "search_us": "How far the beginnings may lie apart. [us]",
    "spread_us": "How far paths lie from what is heard best. [us]",
    "at": "Where it was recorded: arrivals are given to sites.",
    "launch_uncertainty_us": "How far launches may be off the plan. [us]",
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


@router.post("/networks/{network_id}/arrivals/upload", status_code=202, openapi_extra=_BODY)
def look_for_arrivals(
    opened: ReadableDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> dict[str, Any]:
    """Start looking for every site's arrival in a recording of I and Q; `answer` is where it will be."""
    job = looking_for_arrivals(
        jobs, files, form, opened.network, ground=maps.ground(opened.network),
        folder=settings.data_folder / "recordings",
    )  # fmt: skip
    job.result_url = addresses.iq_arrivals(opened.head.id, job.id)
    return as_json(job.view()) | {"answer": addresses.iq_arrivals_json(opened.head.id, job.id)}


@router.get("/networks/{network_id}/arrivals/{job_id}")
def answer_arrivals(opened: ReadableDep, jobs: JobsDep, job_id: str, response: Response) -> dict[str, Any]:
    """Every arrival, as ``python -m sfn arrivals --json`` answers; 202 while it is looked for, 422 where refused."""
    job = jobs.find(job_id)
    if job is None or job.result_url != addresses.iq_arrivals(opened.head.id, job_id):
        raise RefusedError(404)
    if isinstance(job.result, Arrivals):
        return document(job.result)
    view = job.view()
    response.status_code = 422 if view.state in ENDED else 202
    return as_json(view)
