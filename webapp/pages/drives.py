"""Drive tests: logged levels beside the prediction, and runs of one route at several settings."""

import secrets
from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.calibrated import Calibrated, shifts_of, with_shifts
from sfn.answer.driven import Driven, DrivenRoutes
from sfn.errors import PlanError, Problem
from sfn.report.run_strips import RunStrips, run_strips
from webapp import addresses
from webapp.contexts.drives import DrivesPage
from webapp.dependencies import FormDep, JobsDep, MapsDep, NetworkDep, Opened, ReadableDep, StoreDep, UploadsDep
from webapp.jobs import Jobs, Work
from webapp.logs import RUNS, levels_work, runs_work
from webapp.render import notice, page
from webapp.saving import author_of, save

router = APIRouter(include_in_schema=False)


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
    return RedirectResponse(addresses.drives(opened.head.id), 303)


def _started(opened: Opened, jobs: Jobs, work: Work, *, title: str) -> Response:
    """A job whose end is the page with its result."""
    job = jobs.start(work, title=title, key=secrets.token_urlsafe(9))
    job.result_url = addresses.drives(opened.head.id, job.id)
    return RedirectResponse(addresses.job(job.id), 303)


def _drawn(one: Driven, names: Mapping[str, str]) -> RunStrips:
    """The drawing of one road's runs."""
    return run_strips(
        one.found,
        level_dbuvm=one.level_dbuvm,
        delay_difference_us=one.delay_difference_us,
        pairs=one.pairs(names),
        predicted_class=None if one.moved is None else one.quality_class,
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
