"""Reception along a road: a line is sent or drawn, its levels are computed once, everything tried follows at once."""

import secrets
from collections.abc import Mapping
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import UploadFile

from sfn.answer.road_files import MEDIA, road_file
from sfn.answer.road_plan import Line, PlannedRoad, line, on_line
from sfn.answer.what_if import WhatIf
from sfn.errors import PlanError, Problem
from sfn.field.around import bounds_of
from sfn.survey.drive_log import DriveLog
from sfn.survey.track import (
    EXPECTED,
    GREATEST_SPACING_M,
    LEAST_SPACING_M,
    USUAL_SPACING_M,
    Track,
    samples,
    track_of,
    track_of_bytes,
    typed_track,
)
from webapp import addresses
from webapp.contexts.road import RoadPage, RoadTyped
from webapp.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, UploadsDep
from webapp.jobs import Jobs, Progress
from webapp.logs import chosen_logs, reading_of
from webapp.maps import Maps
from webapp.measurements import number_of, safe_name
from webapp.pages.map_files import named, stamp_of
from webapp.problems import RefusedError
from webapp.render import notice, page
from webapp.site_marks import site_marks
from webapp.tries import TriesDep, by_form, height_of, query_of, site_tries, window_tries

router = APIRouter(include_in_schema=False)
GONE = "That road is no longer kept here. Send the line again."


@router.get("/networks/{network_id}/road")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, tries: TriesDep,
    job: str = "",
) -> Response:  # fmt: skip
    """The form; and the road, once its levels are there."""
    most = settings.limits.grid_points
    if not job:
        return page(request, _page(opened, maps, most))
    kept = _kept(jobs, job)
    if kept is None:
        notice(request, GONE)
        return RedirectResponse(addresses.road(opened.head.id), 303)
    if by_form(request):  # a shorter way to say the same
        trying = query_of(tries.against(opened.network))
        return RedirectResponse(addresses.road(opened.head.id, job, trying), 303)
    if not kept.holds(opened.network, maps.ground(opened.network)):
        return page(request, _page(opened, maps, most, job=job, kept=kept))
    try:
        made = on_line(opened.network, kept, tries)
    except PlanError as error:
        plan = on_line(opened.network, kept, WhatIf())
        context = _page(opened, maps, most, job=job, kept=kept, made=plan, problems=error.problems)
        return page(request, context, status=422)
    return page(request, _page(opened, maps, most, job=job, kept=kept, made=made, tries=tries))


@router.post("/networks/{network_id}/road/upload")
def send(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep,
    files: UploadsDep,
) -> Response:  # fmt: skip
    """Start computing levels along a line that was sent, drawn or typed."""
    typed = RoadTyped(form.get("line", ""), form.get("spacing_m", ""), form.get("rx_height_m", ""))
    try:
        of, how = reading_of(form, files, opened.network)
        log = chosen_logs(files["log"], of=of, how=how)[0] if files.get("log") else None
        track = _track(files, typed, log)
        spacing_m = number_of(
            form, "spacing_m", usual=USUAL_SPACING_M, least=LEAST_SPACING_M, greatest=GREATEST_SPACING_M, unit="m"
        )
        samples(track, spacing_m=spacing_m)
        height_m = height_of(typed.rx_height_m)
    except PlanError as error:
        context = _page(opened, maps, settings.limits.grid_points, typed=typed, log_typed=form, problems=error.problems)
        return page(request, context, status=422)
    return _started(opened, maps, jobs, track, log, spacing_m, height_m)


@router.post("/networks/{network_id}/road/again")
def again(request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep) -> Response:
    """Compute levels along a line that was sent before, with sites and terrain as they are now."""
    kept = _kept(jobs, form.get("job", ""))
    if kept is None:
        notice(request, GONE)
        return RedirectResponse(addresses.road(opened.head.id), 303)
    return _started(opened, maps, jobs, kept.track, kept.log, kept.spacing_m, kept.rx_height_m)


@router.get("/networks/{network_id}/road/{job}/road.{form}")
def file(
    opened: ReadableDep,
    maps: MapsDep,
    jobs: JobsDep,
    tries: TriesDep,
    job: str,
    form: Literal["csv", "geojson", "kml", "svg", "png"],
    show: bool = False,
) -> Response:
    """The road as a file; `show`: for the page."""
    kept = _kept(jobs, job)
    if kept is None or not kept.holds(opened.network, maps.ground(opened.network)):
        raise RefusedError(404)
    made = on_line(opened.network, kept, tries)
    by = stamp_of(opened, made.found.says)
    headers = {} if show else named(by, "road", form)
    return Response(road_file(made, form, by), media_type=MEDIA[form], headers=headers)


def _track(files: dict[str, list[UploadFile]], typed: RoadTyped, log: DriveLog | None) -> Track:
    """The line: out of a file, or typed, or else where the log was taken."""
    for chosen in files.get("track", ()):
        return track_of_bytes(chosen.file.read(), source=safe_name(chosen.filename or "line"))
    if log is not None and not typed.line.strip():
        return track_of(
            list(zip(log.lat_deg.tolist(), log.lon_deg.tolist(), strict=True)), source=log.origin.name, recorded=True
        )
    if not typed.line.strip():
        raise PlanError(
            [
                Problem(
                    "line",
                    "there is none",
                    f"draw or type one, or choose a file: {EXPECTED}",
                    code="no-line-given",
                    fields=("line",),
                )
            ]
        )
    return typed_track(typed.line)


def _kept(jobs: Jobs, job: str) -> Line | None:
    """The line of a job that has ended well."""
    ended = jobs.find(job)
    return ended.result if ended is not None and isinstance(ended.result, Line) else None


def _started(
    opened: Opened, maps: Maps, jobs: Jobs, track: Track, log: DriveLog | None, spacing_m: float, height_m: float | None
) -> Response:
    """A job whose end is the page with its road."""
    network = opened.network

    def work(progress: Progress) -> Line:
        def tell(site: str, done: int, total: int) -> None:
            progress.tell(f"levels of {site} along the road", done=done, total=total)

        return line(
            network, track, spacing_m=spacing_m, rx_height_m=height_m, log=log, ground=maps.ground(network),
            folder=maps.terrain_folder, tell=tell,
        )  # fmt: skip

    job = jobs.start(work, title="Levels along the road", key=secrets.token_urlsafe(9))
    job.result_url = addresses.road(opened.head.id, job.id)
    job.ended.wait(1.5)  # most roads are there at once
    return RedirectResponse(job.result_url if job.state == "finished" else addresses.job(job.id), 303)


def _line_problems(kept: Line | None) -> tuple[Problem, ...]:
    """What is doubtful about the line, and about the log laid on it."""
    if kept is None:
        return ()
    return (*kept.track.problems, *(() if kept.log is None else kept.log.origin.problems))


def _page(
    opened: Opened,
    maps: Maps,
    most: int,
    *,
    typed: RoadTyped | None = None,
    job: str = "",
    kept: Line | None = None,
    made: PlannedRoad | None = None,
    tries: WhatIf | None = None,
    log_typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> RoadPage:
    """The page with whatever is there to show."""
    network = opened.network
    tried_now = (tries or WhatIf()).against(network)
    wanted = maps.wanted(network, bounds=None, pixel_m=None, most=most)
    south, west, north, east = wanted.grid.bounds_deg
    area, shade = [[south, west], [north, east]], ""
    if (computed := maps.find(wanted.key)) is not None and not computed.smooth:
        shade = f"{addresses.map_part(opened.head.id, wanted.key)}/shade.png"
    drawn = {"sites": site_marks(network), "area": area, "bounds": area}
    if kept is not None:
        a, b, c, d = bounds_of(kept.samples.lat_deg, kept.samples.lon_deg)
        drawn["bounds"] = [[a, b], [c, d]]
    if typed is None:
        typed = RoadTyped()
        if kept is not None:
            height = "" if kept.rx_height_m is None else f"{kept.rx_height_m:g}"
            typed = RoadTyped("", f"{kept.spacing_m:g}", height)
    return RoadPage(
        network=opened.head,
        typed=typed,
        job=job,
        source="" if kept is None else kept.track.name,
        made=made,
        window=window_tries(network, tries or WhatIf()) if made is not None else None,
        sites=() if made is None else site_tries(network, tried_now, made.table),
        names={site.id: site.name for site in network.sites},
        query=tuple(query_of(tried_now)),
        doubts=() if made is None else made.doubts,
        drawn=drawn,
        shade=shade,
        problems=(*problems, *_line_problems(kept)),
        usual_spacing_m=USUAL_SPACING_M,
        rx_height_m=network.receiver.height_m,
        log_typed=log_typed or {},
        frequency_mhz=network.frequency_mhz,
    )
