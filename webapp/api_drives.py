"""Logs and runs of the road for scripts, ``/api/networks/ID/drives``: part of `webapp.api`."""

import secrets
from typing import Any

from fastapi import APIRouter, Response

from sfn.answer.calibrated import Calibrated, document as levels_document
from sfn.answer.driven import DrivenRoutes, document as runs_document
from webapp import addresses
from webapp.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, UploadsDep
from webapp.jobs import ENDED, Jobs, Work
from webapp.logs import levels_work, runs_work
from webapp.pages.jobs import as_json
from webapp.problems import RefusedError

router = APIRouter(tags=["answers"])
_READING = {
    "level_unit": "dBuV/m, dBuV or dBm, where a log does not say.",
    "antenna_factor_db": "For logs in dBuV or dBm. [dB/m]",
    "antenna_gain_dbi": "In place of the factor. [dBi]",
    "cable_loss_db": "Between antenna and receiver. [dB]",
    "impedance_ohm": "Of the receiver. [ohm]",
    "channel": "Which, where a log holds several.",
    "coordinates": "`ask`, `as-written` or `exchanged`.",
    "positions": "GPX, CSV or NMEA, joined by time.",
    "clock_ahead_s": "The log's clock before that of the positions. [s]",
    "stretch_m": "Road taken together. [m]",
}
_LEVELS = {"logs": "One or more logs.", "alone": "The site on air alone.", "sectors": "Round each site."}
_RUNS = {
    "run-1": "A log; `run-2` to `run-6` likewise.",
    "setting-1": "Its setting; `setting-2` to `setting-6` likewise. [us]",
    "moved": "The site that was set later than planned by each setting.",
}
_FILES = ("logs", "run-1", "positions")


def _body(fields: dict[str, str]) -> dict[str, Any]:
    """The form for the schema."""
    properties = {
        name: {"type": "string", "description": told} | ({"format": "binary"} if name in _FILES else {})
        for name, told in {**fields, **_READING}.items()
    }
    schema = {"type": "object", "properties": properties}
    return {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": schema}}}}


@router.post("/networks/{network_id}/drives/levels/upload", status_code=202, openapi_extra=_body(_LEVELS))
def compare_levels(
    opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> dict[str, Any]:
    """Start holding logs against the prediction; `answer` is where it will be."""
    return _started(opened, jobs, levels_work(form, files, opened.network, maps), title="Levels beside the prediction")


@router.post("/networks/{network_id}/drives/runs/upload", status_code=202, openapi_extra=_body(_RUNS))
def compare_runs(opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep) -> dict[str, Any]:
    """Start laying runs side by side; `answer` is where it will be."""
    return _started(opened, jobs, runs_work(form, files, opened.network, maps), title="Runs side by side")


@router.get("/networks/{network_id}/drives/{job_id}")
def answer_drives(opened: ReadableDep, jobs: JobsDep, job_id: str, response: Response) -> dict[str, Any]:
    """As the commands `calibrate` and `runs` answer; 202 while it is worked on, 422 where refused."""
    job = jobs.find(job_id)
    if job is None or job.result_url != addresses.drives(opened.head.id, job_id):
        raise RefusedError(404)
    if isinstance(job.result, Calibrated):
        return levels_document(job.result)
    if isinstance(job.result, DrivenRoutes):
        return runs_document(job.result, opened.network)
    view = job.view()
    response.status_code = 422 if view.state in ENDED else 202
    return as_json(view)


def _started(opened: Opened, jobs: Jobs, work: Work, *, title: str) -> dict[str, Any]:
    """A job and where its answer will be."""
    job = jobs.start(work, title=title, key=secrets.token_urlsafe(9))
    job.result_url = addresses.drives(opened.head.id, job.id)
    return as_json(job.view()) | {"answer": addresses.drives_json(opened.head.id, job.id)}
