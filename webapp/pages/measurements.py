"""Measurements: delay differences reconciled, recordings correlated, impulse responses given to sites."""

from datetime import UTC, datetime
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.corrected import correctable_stages, corrected
from sfn.answer.echoes import Echoes, echoes
from sfn.answer.map_files import MEDIA
from sfn.answer.measurement_table import template, understood_measurements
from sfn.answer.reconciled import Reconciled, reconciled, residual_places
from sfn.answer.recordings import Measured
from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.plan.sheets import read_sheet
from sfn.report.delay_course import delay_course
from sfn.report.residual_map import residuals_drawn
from sfn.survey.as_planned import said
from sfn.survey.impulse import response_of
from sfn.survey.measurements import MeasurementTable
from webapp import addresses
from webapp.contexts.measurements import MeasurementsPage, RecordingPage
from webapp.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep, UploadsDep
from webapp.maps import Maps
from webapp.measurements import (
    EchoForm,
    MeasurementForm,
    echo_form,
    measurement_form,
    measuring,
    number_of,
)
from webapp.pages.map_files import as_file, stamp_of
from webapp.problems import RefusedError
from webapp.render import notice, page
from webapp.saving import author_of, save

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/measurements")
def show(request: Request, opened: ReadableDep) -> Response:
    """The three ways to measure."""
    return page(request, _page(opened))


@router.post("/networks/{network_id}/measurements")
def reconcile_typed(request: Request, opened: ReadableDep, maps: MapsDep, form: FormDep, files: UploadsDep) -> Response:
    """Delay differences, typed or out of a file: what is understood of them, or the launch errors."""
    sites = [site.id for site in opened.network.sites]
    typed, table = MeasurementForm(csv=form.get("csv", "")), None
    try:
        typed = measurement_form(form, files.get("file", ()), sites=sites)
        table = _understood(opened, typed)
        answer = None if form.get("do") == "look" else _reconciled(opened, maps, typed, table)
        return page(request, _page(opened, typed=typed, table=table, answer=answer))
    except PlanError as error:
        return page(request, _page(opened, typed=typed, table=table, problems=error.problems), status=422)


@router.get("/networks/{network_id}/measurements-template.csv")
def template_file(opened: ReadableDep) -> Response:
    """A table to be filled in."""
    headers = {"Content-Disposition": 'attachment; filename="measurements-template.csv"'}
    return Response(template(opened.network), media_type=MEDIA["csv"], headers=headers)


@router.post("/networks/{network_id}/measurements/residuals.{form}")
def residuals(opened: ReadableDep, maps: MapsDep, sent: FormDep, form: Literal["geojson", "kml"]) -> Response:
    """Every measurement where it was taken, with what is left over, as a file."""
    typed = measurement_form(sent, (), sites=[site.id for site in opened.network.sites])
    answer = _reconciled(opened, maps, typed, _understood(opened, typed))
    return as_file(residual_places(answer), "residuals", form, stamp_of(opened))


@router.post("/networks/{network_id}/measurements/keep")
def keep(request: Request, opened: ReadableDep, maps: MapsDep, store: StoreDep, form: FormDep) -> Response:
    """Save the plan with chosen launch errors taken up by a stage."""
    sites = [site.id for site in opened.network.sites]
    typed = measurement_form(form, (), sites=sites)
    chosen = {site: form[f"stage-{site}"] for site in sites if form.get(f"stage-{site}")}
    try:
        answer = _reconciled(opened, maps, typed, _understood(opened, typed))
        author = author_of(form)
        if not chosen:
            raise PlanError(
                [
                    Problem(
                        "stage",
                        "no site was chosen to be corrected",
                        "at least one",
                        code="no-site-chosen",
                        fields=("stage",),
                    )
                ]
            )
        document = corrected(opened.document, answer, stages=chosen, taken_at=datetime.now(UTC))
    except PlanError as error:
        return page(request, _page(opened, typed=typed, problems=error.problems), status=422)
    reason = f"reconciled with {typed.source}: {', '.join(chosen)}"
    save(request, store, opened, document, form, author=author, reason=reason)
    parents = {site.id: site.fed_off_air_from for site in opened.network.sites}
    notice(request, f"Saved as a new revision. {said(answer.found, tuple(chosen), parents=parents)}")
    return RedirectResponse(addresses.delays(opened.head.id), 303)


@router.post("/networks/{network_id}/measurements/echoes")
def give_echoes(request: Request, opened: ReadableDep, maps: MapsDep, form: FormDep, files: UploadsDep) -> Response:
    """Echoes of an impulse response given to sites."""
    typed = EchoForm()
    try:
        typed = echo_form(form, files.get("file", ()))
        found = _echoes(opened, maps, typed, form)
        return page(request, _page(opened, echo=typed, echoes=found))
    except PlanError as error:
        return page(request, _page(opened, echo=typed, problems=error.problems), status=422)


@router.post("/networks/{network_id}/measurements/recordings/upload")
def take_recordings(
    opened: ReadableDep,
    settings: SettingsDep,
    jobs: JobsDep,
    form: FormDep,
    files: UploadsDep,
) -> Response:
    """Keep the recordings and start measuring."""
    chosen = [*files.get("first", ()), *files.get("second", ())]
    job = measuring(jobs, chosen, form, folder=settings.data_folder / "recordings")
    job.result_url = addresses.recording(opened.head.id, job.id)
    return RedirectResponse(addresses.job(job.id), 303)


@router.get("/networks/{network_id}/measurements/recordings/{job_id}")
def show_recording(request: Request, opened: ReadableDep, jobs: JobsDep, job_id: str) -> Response:
    """The delay that a job found."""
    job = jobs.find(job_id)
    if job is None or not isinstance(job.result, Measured):
        raise RefusedError(404)
    found = job.result.found
    course = delay_course(found.sections_s, found.sections_us)
    return page(request, RecordingPage(network=opened.head, measured=job.result, course=course))


def _understood(opened: Opened, typed: MeasurementForm) -> MeasurementTable:
    """What was typed, line by line."""
    return understood_measurements(read_sheet(typed.csv.encode(), source=typed.source), opened.network)


def _reconciled(opened: Opened, maps: Maps, typed: MeasurementForm, table: MeasurementTable) -> Reconciled:
    """Launch errors from lines that can be used; the others must have been seen to be left out."""
    if table.refused and not (typed.leave_out and table.measurements):
        raise PlanError(table.refused)
    network, terrain = opened.network, maps.ground(opened.network).terrain
    return reconciled(
        network,
        table.measurements,
        held=typed.held,
        way=typed.way,
        as_set=typed.as_set,
        terrain=terrain,
        doubts=table.left_out,
    )


def _echoes(opened: Opened, maps: Maps, typed: EchoForm, form: dict[str, str]) -> Echoes:
    """Echoes from what was typed."""
    delay_us, level_db = response_of(typed.response, source="response")
    at = locate(text=typed.at, where="at")
    launch_us = number_of(form, "launch_uncertainty_us", usual=2.0, least=0.01, greatest=1e4, unit="us")
    claimed_us = number_of(form, "uncertainty_us", usual=0.5, least=0.001, greatest=1e4, unit="us")
    return echoes(
        opened.network,
        delay_us,
        level_db,
        lat_deg=at.lat_deg,
        lon_deg=at.lon_deg,
        launch_uncertainty_us=launch_us,
        uncertainty_us=claimed_us,
        ground=maps.ground(opened.network),
    )


def _page(
    opened: Opened,
    *,
    typed: MeasurementForm | None = None,
    table: MeasurementTable | None = None,
    answer: Reconciled | None = None,
    echo: EchoForm | None = None,
    echoes: Echoes | None = None,
    problems: tuple[Problem, ...] = (),
) -> MeasurementsPage:
    """The page with whatever is there to show."""
    sites = opened.network.sites
    return MeasurementsPage(
        network=opened.head,
        sites=sites,
        typed=typed or MeasurementForm(),
        table=table,
        answer=answer,
        drawing=None if answer is None else residuals_drawn(answer.network, answer.found),
        stages={site.id: correctable_stages(opened.network, site.id) for site in sites},
        names={site.id: site.name for site in sites},
        echo=echo or EchoForm(),
        echoes=echoes,
        problems=problems,
    )
