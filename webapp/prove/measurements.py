"""Measurements: delay differences reconciled, recordings correlated, impulse responses given to sites."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import ClassVar, Literal

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.map_files import MEDIA
from sfn.answer.reconciled import residual_places
from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.plan import Site
from sfn.plan.sheets import read_sheet
from sfn.report.delay_course import DelayCourse, delay_course
from sfn.report.over import Over
from sfn.report.residual_map import ResidualMap, residuals_drawn
from sfn.study.corrected import correctable_stages, corrected, missed
from sfn.study.echoes import Echoes, echoes
from sfn.study.measurement_table import template, understood_measurements
from sfn.study.reconciled import Reconciled, reconciled
from sfn.study.recordings import Measured
from sfn.survey.as_planned import said
from sfn.survey.impulse import response_of
from sfn.survey.measurements import Measurement, MeasurementTable
from webapp.config.addresses import Room, to
from webapp.prove.measured_rows import Row, exclude, keep_rows, rows_of, together
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import (
    FormDep,
    JobsDep,
    ListsDep,
    MapsDep,
    Opened,
    ReadableDep,
    SettingsDep,
    StoreDep,
    UploadsDep,
)
from webapp.shell.following import found as followed
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.shell.stamped import as_file, stamp_of
from webapp.standing.overlaid import laid_over
from webapp.store.documents import network_of
from webapp.store.store import Store
from webapp.work.maps import Maps
from webapp.work.measurements import EchoForm, MeasurementForm, echo_form, measurement_form, measuring, number_of

router = Room("measurements")


@dataclass(frozen=True, slots=True)
class MeasurementsPage(Context):
    """Delay differences to reconcile, recordings and impulse responses to measure."""

    TEMPLATE: ClassVar[str] = "prove/measurements.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, one of which may be held."""
    typed: MeasurementForm
    """What was typed or taken from a file."""
    table: MeasurementTable | None
    """The same line by line as it was understood, once there is any."""
    answer: Reconciled | None
    """Launch errors, once measurements are there."""
    drawing: ResidualMap | None
    """Where the residuals lie."""
    stages: dict[str, tuple[str, ...]]
    """Stages of each site that may take up its launch error."""
    names: dict[str, str]
    """Site names by id."""
    echo: EchoForm
    """What was typed about an impulse response."""
    echoes: Echoes | None
    """Echoes given to sites, once a response is there."""
    problems: tuple[Problem, ...]
    """What cannot be used."""
    rows: tuple[Row, ...]
    """What the network keeps, the newest first."""


@dataclass(frozen=True, slots=True)
class RecordingPage(Context):
    """The delay of one or two recordings."""

    TEMPLATE: ClassVar[str] = "prove/recording.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    measured: Measured
    """The delay, or why there is none."""
    course: DelayCourse | None
    """The delay over the time of the recording."""


@router.get("/networks/{network_id}/measurements")
def show(request: Request, opened: ReadableDep, store: StoreDep) -> Response:
    """The three ways to measure, and what the network keeps."""
    return page(request, _page(opened, store))


@router.post("/networks/{network_id}/measurements")
def reconcile_typed(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Delay differences, typed or out of a file: what is understood of them, or the launch errors."""
    sites = [site.id for site in opened.network.sites]
    typed, table = MeasurementForm(csv=form.get("csv", "")), None
    try:
        typed = measurement_form(form, files.get("file", ()), sites=sites)
        table = _understood(opened, typed)
        answer = None if form.get("do") == "look" else _reconciled(opened, store, maps, typed, table)
        over = () if answer is None else laid_over(request, opened.head.id, opened.network)
        return page(request, _page(opened, store, typed=typed, table=table, answer=answer, over=over))
    except PlanError as error:
        return page(request, _page(opened, store, typed=typed, table=table, problems=error.problems), status=422)


@router.post("/networks/{network_id}/measurements/rows")
def change_rows(
    request: Request, opened: ReadableDep, store: StoreDep, form: FormDep, lists: ListsDep, files: UploadsDep
) -> Response:
    """Keep measurements as records; exclude some that are kept by name, with a reason, or restore them."""
    sites = [site.id for site in opened.network.sites]
    typed, table, verb = MeasurementForm(csv=form.get("csv", "")), None, form.get("do", "keep")
    try:
        author = author_of(form)
        if verb in ("exclude", "restore"):
            names, reason = lists.get("row", []), form.get("reason", "")
            exclude(opened, store, names, excluded=verb == "exclude", reason=reason, by=author)
            said = f"{len(names)} {'excluded' if verb == 'exclude' else 'restored'}."
        else:
            typed = measurement_form(form, files.get("file", ()), sites=sites)
            table = _understood(opened, typed)
            rows = _usable(typed, table)
            added_n, there_n = keep_rows(opened, store, rows, by=author, source=typed.source)
            said = f"{added_n} kept." + (f" {there_n} stood there already." if there_n else "")
    except PlanError as error:
        return page(request, _page(opened, store, typed=typed, table=table, problems=error.problems), status=422)
    request.session["author"] = author
    notice(request, said)
    return RedirectResponse(to("measurements.show", opened.head.id, fragment="kept"), 303)


@router.get("/networks/{network_id}/measurements-template.csv")
def template_file(opened: ReadableDep) -> Response:
    """A table to be filled in."""
    headers = {"Content-Disposition": 'attachment; filename="measurements-template.csv"'}
    return Response(template(opened.network), media_type=MEDIA["csv"], headers=headers)


@router.post("/networks/{network_id}/measurements/residuals.{form}")
def residuals(
    opened: ReadableDep, store: StoreDep, maps: MapsDep, sent: FormDep, form: Literal["geojson", "kml"]
) -> Response:
    """Every measurement where it was taken, with what is left over, as a file."""
    typed = measurement_form(sent, (), sites=[site.id for site in opened.network.sites])
    answer = _reconciled(opened, store, maps, typed, _understood(opened, typed))
    return as_file(residual_places(answer), "residuals", form, stamp_of(opened))


@router.post("/networks/{network_id}/measurements/keep")
def keep(request: Request, opened: ReadableDep, maps: MapsDep, store: StoreDep, form: FormDep) -> Response:
    """Save the plan with chosen launch errors taken up by a stage."""
    sites = [site.id for site in opened.network.sites]
    typed = measurement_form(form, (), sites=sites)
    chosen = {site: form[f"stage-{site}"] for site in sites if form.get(f"stage-{site}")}
    try:
        table = _understood(opened, typed)
        answer = _reconciled(opened, store, maps, typed, table, asks=True)
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
        return page(request, _page(opened, store, typed=typed, problems=error.problems), status=422)
    reason = f"reconciled with {'the kept measurements' if typed.kept else typed.source}: {', '.join(chosen)}"
    save(request, store, opened, document, form, author=author, reason=reason)
    if not typed.kept:
        # What a correction rests on is a record: with what was set then, by the plan before the correction.
        keep_rows(opened, store, _usable(typed, table), by=author, source=typed.source)
    parents = {site.id: site.fed_off_air_from for site in opened.network.sites}
    short = missed(network_of(document, opened.network.own_services), tuple(chosen))
    told = said(answer.found, tuple(chosen), parents=parents, missed_us=short)
    notice(request, f"Saved as a new revision. {told}")
    return RedirectResponse(to("delays.show", opened.head.id), 303)


@router.post("/networks/{network_id}/measurements/echoes")
def give_echoes(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, form: FormDep, files: UploadsDep
) -> Response:
    """Echoes of an impulse response given to sites."""
    typed = EchoForm()
    try:
        typed = echo_form(form, files.get("file", ()))
        found = _echoes(opened, maps, typed, form)
        return page(request, _page(opened, store, echo=typed, echoes=found))
    except PlanError as error:
        return page(request, _page(opened, store, echo=typed, problems=error.problems), status=422)


@router.post("/networks/{network_id}/measurements/recordings/upload")
def take_recordings(
    opened: ReadableDep,
    settings: SettingsDep,
    jobs: JobsDep,
    maps: MapsDep,
    form: FormDep,
    files: UploadsDep,
) -> Response:
    """Keep the recordings and start measuring."""
    chosen = [*files.get("first", ()), *files.get("second", ())]
    job = measuring(jobs, chosen, form, folder=settings.data_folder / "recordings", workers=maps.workers)
    job.result_url = to("measurements.show_recording", opened.head.id, job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/measurements/recordings/{job_id}")
def show_recording(request: Request, opened: ReadableDep, jobs: JobsDep, job_id: str) -> Response:
    """The delay that a job found."""
    job = followed(jobs, job_id)
    if not isinstance(job.result, Measured):
        raise RefusedError(404)
    found = job.result.found
    course = delay_course(found.sections_s, found.sections_us)
    return page(request, RecordingPage(network=opened.head, measured=job.result, course=course))


def _understood(opened: Opened, typed: MeasurementForm) -> MeasurementTable | None:
    """What was typed, line by line; None where nothing is: what is kept is adjusted."""
    if typed.kept:
        return None
    return understood_measurements(read_sheet(typed.csv.encode(), source=typed.source), opened.network)


def _usable(typed: MeasurementForm, table: MeasurementTable | None) -> tuple[Measurement, ...]:
    """Lines that can be used; the others must have been seen to be left out."""
    if table is None:
        return ()
    if table.refused and not (typed.leave_out and table.measurements):
        raise PlanError(table.refused)
    return table.measurements


def _reconciled(
    opened: Opened,
    store: Store,
    maps: Maps,
    typed: MeasurementForm,
    table: MeasurementTable | None,
    *,
    asks: bool = False,
) -> Reconciled:
    """Launch errors from lines that can be used, together with all measurements that the network keeps."""
    found = together(opened, store, _usable(typed, table), asks=asks)
    network, terrain = opened.network, maps.ground(opened.network).terrain
    return reconciled(
        network,
        found.measurements,
        held=typed.held,
        way=typed.way,
        as_set=typed.as_set,
        terrain=terrain,
        doubts=(*(() if table is None else table.left_out), *found.doubts),
        excluded=found.excluded,
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
    store: Store,
    *,
    typed: MeasurementForm | None = None,
    table: MeasurementTable | None = None,
    answer: Reconciled | None = None,
    over: tuple[Over, ...] = (),
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
        drawing=None if answer is None else residuals_drawn(answer.network, answer.found, over=over),
        stages={site.id: correctable_stages(opened.network, site.id) for site in sites},
        names={site.id: site.name for site in sites},
        echo=echo or EchoForm(),
        echoes=echoes,
        problems=problems,
        rows=tuple(reversed(rows_of(opened, store))),
    )
