"""Drive tests: logged levels beside the prediction, and runs of one route at several settings."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.calibrated import document as levels_document
from sfn.answer.driven import document as runs_document
from sfn.errors import PlanError, Problem
from sfn.plan import Site
from sfn.report.run_strips import RunStrips, run_strips
from sfn.study.calibrated import Calibrated, shifts_of, with_shifts
from sfn.study.driven import Driven, DrivenRoutes
from sfn.survey.drive_log import Origin
from webapp.config.addresses import Room, to
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, NetworkDep, Opened, ReadableDep, StoreDep, UploadsDep
from webapp.shell.following import as_json, found as followed, not_yet
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.work.jobs import Jobs, Work
from webapp.work.logs import RUNS, levels_work, runs_work

router = Room("drives")


@dataclass(frozen=True, slots=True)
class DrivesPage(Context):
    """Drive-test logs beside the prediction, and runs of one route at several settings."""

    TEMPLATE: ClassVar[str] = "prove/drives.html"
    TAB: ClassVar[str] = "drives"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, one of which may have been on air alone."""
    names: dict[str, str]
    """Site names by id."""
    job: str
    """Of the comparison that is shown; empty without one."""
    offered: dict[str, tuple[float, ...]]
    """Shifts that it offers, by site. [dB]"""
    calibrated: Calibrated | None
    """Prediction minus measurement, once a log is there."""
    sides: tuple[tuple[Driven, RunStrips], ...]
    """Runs side by side and their drawing, a pair for each road, once they are there."""
    side_problems: tuple[Problem, ...]
    """What must be said of the runs together."""
    run_origins: tuple[tuple[Origin, int], ...]
    """How the log of each run was read, and how many of its lines were used."""
    frequency_mhz: float
    """Of the network."""
    run_numbers: tuple[int, ...]
    """Runs that the form takes."""
    typed: Mapping[str, str]
    """What was typed and could not be used."""
    problems: tuple[Problem, ...]
    """What cannot be used."""

    def moved_keys(self, made: Mapping[str, Any]) -> Mapping[str, Any]:
        """One road's runs, from the time when there was only one: the first of `sides`."""
        driven, strips = next(iter(made["sides"]), (None, None))
        return {"driven": driven, "strips": strips}


@router.get("/networks/{network_id}/drives")
def show(request: Request, opened: ReadableDep, jobs: JobsDep, job: str = "") -> Response:
    """Both forms, and what a job made of files that were sent."""
    ended = jobs.find(job) if job else None
    result = None if ended is None else ended.result
    return page(
        request,
        _page(
            opened,
            job=job,
            found=result if isinstance(result, Calibrated) else None,
            side=result if isinstance(result, DrivenRoutes) else None,
        ),
    )


@router.post("/networks/{network_id}/drives/levels/upload")
def compare_levels(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Start comparing prediction and measurement per site and sector."""
    try:
        work = levels_work(form, files, opened.network, maps)
    except PlanError as error:
        return page(request, _page(opened, typed=form, problems=error.problems), status=422)
    return _started(opened, jobs, work, title="Levels beside the prediction")


@router.post("/networks/{network_id}/drives/runs/upload")
def compare_runs(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Start laying runs of one route side by side."""
    try:
        work = runs_work(form, files, opened.network, maps)
    except PlanError as error:
        return page(request, _page(opened, typed=form, problems=error.problems), status=422)
    return _started(opened, jobs, work, title="Runs side by side")


@router.post("/networks/{network_id}/drives/shifts")
def change_shifts(request: Request, opened: NetworkDep, jobs: JobsDep, store: StoreDep, form: FormDep) -> Response:
    """Accept the shifts of a comparison, or withdraw accepted ones, as a new revision."""
    job = form.get("job", "")
    ended = jobs.find(job) if job else None
    found = ended.result if ended is not None and isinstance(ended.result, Calibrated) else None
    offered = {} if found is None else shifts_of(found)
    accepted = {site: shifts for site, shifts in offered.items() if form.get(f"accept-{site}")}
    withdrawn = [site.id for site in opened.network.sites if site.level_shift and form.get(f"withdraw-{site.id}")]
    try:
        author = author_of(form)
        if not accepted and not withdrawn:
            raise PlanError(
                [
                    Problem(
                        "shifts",
                        "no site was chosen",
                        "at least one to accept or to withdraw",
                        code="no-site-chosen",
                        fields=("shifts",),
                    )
                ]
            )
        why = form.get("reason", "").strip() or "drive test"
        day = f"{datetime.now(UTC):%Y-%m-%d}"
        made = with_shifts(opened.document, accepted, withdrawn=withdrawn, source=f"{why}, {author}", day=day)
    except PlanError as error:
        return page(request, _page(opened, job=job, found=found, problems=error.problems), status=422)
    said = [f"level shifts accepted: {', '.join(accepted)}" if accepted else ""]
    said.append(f"level shifts withdrawn: {', '.join(withdrawn)}" if withdrawn else "")
    reason = f"{'; '.join(filter(None, said))} ({why})"
    save(request, store, opened, made, form, author=author, reason=reason[:500])
    notice(request, "Saved as a new revision. Maps, points and roads count levels like that from now on.")
    return RedirectResponse(to("drives.show", opened.head.id), 303)


def _started(opened: Opened, jobs: Jobs, work: Work, *, title: str) -> Response:
    """A job whose end is the page with its result."""
    job = jobs.start(work, title=title, key=secrets.token_urlsafe(9))
    job.result_url = to("drives.show", opened.head.id, job=job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


def _drawn(one: Driven, names: Mapping[str, str]) -> RunStrips:
    """The drawing of one road's runs."""
    return run_strips(
        one.found,
        level_dbuvm=one.level_dbuvm,
        delay_difference_us=one.delay_difference_us,
        pairs=one.pairs(names),
        predicted_class=None if one.moved is None else one.quality_class,
        words=one.words,
    )


def _page(
    opened: Opened,
    *,
    job: str = "",
    found: Calibrated | None = None,
    side: DrivenRoutes | None = None,
    typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> DrivesPage:
    """The page with whatever is there to show."""
    sites = opened.network.sites
    names = {site.id: site.name for site in sites}
    each = () if side is None else side.routes
    return DrivesPage(
        network=opened.head,
        sites=sites,
        names=names,
        job=job if found else "",
        offered=shifts_of(found) if found else {},
        calibrated=found,
        sides=tuple((one, _drawn(one, names)) for one in each),
        side_problems=() if side is None else side.problems,
        run_origins=tuple((run.origin, len(run.lat_deg)) for one in each for run in one.runs),
        frequency_mhz=opened.network.frequency_mhz,
        run_numbers=RUNS,
        typed=typed or {},
        problems=problems,
    )


for_scripts = Room("api", under="/api", tags=["answers"], include_in_schema=True)


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


@for_scripts.post(
    "/networks/{network_id}/drives/levels/upload", status_code=202, openapi_extra=_body(_LEVELS), name="compare_levels"
)
def levels_for_scripts(
    opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> dict[str, Any]:
    """Start holding logs against the prediction; `answer` is where it will be."""
    return _following(
        opened, jobs, levels_work(form, files, opened.network, maps), title="Levels beside the prediction"
    )


@for_scripts.post(
    "/networks/{network_id}/drives/runs/upload", status_code=202, openapi_extra=_body(_RUNS), name="compare_runs"
)
def runs_for_scripts(
    opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, files: UploadsDep
) -> dict[str, Any]:
    """Start laying runs side by side; `answer` is where it will be."""
    return _following(opened, jobs, runs_work(form, files, opened.network, maps), title="Runs side by side")


@for_scripts.get("/networks/{network_id}/drives/{job_id}")
def answer_drives(opened: ReadableDep, jobs: JobsDep, job_id: str, response: Response) -> dict[str, Any]:
    """As the commands `calibrate` and `runs` answer; 202 while it is worked on, 422 where refused."""
    job = followed(jobs, job_id)
    if job.result_url != to("drives.show", opened.head.id, job=job_id):
        raise RefusedError(404)
    if isinstance(job.result, Calibrated):
        return levels_document(job.result)
    if isinstance(job.result, DrivenRoutes):
        return runs_document(job.result, opened.network)
    return not_yet(job, response)


def _following(opened: Opened, jobs: Jobs, work: Work, *, title: str) -> dict[str, Any]:
    """A job and where its answer will be."""
    job = jobs.start(work, title=title, key=secrets.token_urlsafe(9))
    job.result_url = to("drives.show", opened.head.id, job=job.id)
    return as_json(job.view()) | {"answer": to("api.answer_drives", opened.head.id, job.id)}
